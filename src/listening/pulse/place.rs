//! Placing: from a step of 20 ms to the instant of the attack that is heard there.

use super::pins::Pin;
use super::search::{STEP, Step};
use crate::listening::evidence::{Evidence, FPS};
use crate::units::Seconds;

/// How far from its step an attack is looked for, in frames.
const REACH: usize = 4;
/// Odds under which the network does not place a beat.
const UNLIKELY: f32 = -3.0;
/// Strength under which an attack does not move a beat.
const WEAK: f32 = 0.4;
/// Added to the peak of the onset curve, in frames. Measured: the curve peaks 6.5 ms before a click, but 5 ms after a
/// piano's key and 15 ms after a string section's bow; this lies between, within 5 ms of a click.
const EARLY: f64 = 0.4;

/// Beat times, strictly ascending, within the recording; exact pins lie exactly where they were given.
pub(crate) fn placed(evidence: &Evidence, path: &[Step], pins: &[Pin]) -> Vec<(Step, Seconds)> {
    let mut out: Vec<(Step, Seconds)> = Vec::with_capacity(path.len());
    for &step in path {
        let pin = pins.iter().find(|pin| pin.exact && pin.window.contains(&step.at));
        let at = pin.map_or_else(|| instant(evidence, step.at), |pin| pin.at);
        let at = at.clamp(0.0, evidence.length.0);
        if out.last().is_none_or(|(_, before)| at > before.0 + 0.02) {
            out.push((step, Seconds(at)));
        }
    }
    out
}

/// Where the beat of a step is: where the network's odds peak or at the attack that is heard there, whichever is
/// earlier. A click is heard more exactly than the network tells, a bow's beginning less.
pub(super) fn instant(evidence: &Evidence, step: usize) -> f64 {
    let odds = &evidence.likelihood.beat;
    let from = (STEP * step).saturating_sub(REACH).max(1);
    let to = (STEP * step + STEP + REACH).min(odds.len().saturating_sub(1));
    let middle = (STEP * step) as f32 + 0.5 * (STEP - 1) as f32;
    let best = (from..to)
        .filter(|&f| odds[f] > odds[f - 1] && odds[f] >= odds[f + 1] && odds[f] > UNLIKELY)
        .max_by(|&a, &b| {
            let worth = |f: usize| odds[f] - 0.5 * ((f as f32 - middle) / 3.0).powi(2);
            worth(a).total_cmp(&worth(b))
        });
    let attack = attack_near(&evidence.onset, step);
    match best {
        Some(f) => attack.min((f as f64 + vertex(odds[f - 1], odds[f], odds[f + 1])) / FPS as f64),
        None => attack,
    }
}

/// The instant of the strongest attack near a step, or the step's own middle.
fn attack_near(onset: &[f32], step: usize) -> f64 {
    let middle = (STEP * step) as f64 + 0.5 * (STEP - 1) as f64;
    let from = (STEP * step).saturating_sub(REACH).max(1);
    let to = (STEP * step + STEP + REACH).min(onset.len().saturating_sub(1));
    let closeness = |frame: usize| (-0.5 * ((frame as f64 - middle) / 3.0).powi(2)).exp() as f32;
    let best = (from..to)
        .filter(|&f| onset[f] >= onset[f - 1] && onset[f] >= onset[f + 1] && onset[f] >= WEAK)
        .max_by(|&a, &b| (onset[a] * closeness(a)).total_cmp(&(onset[b] * closeness(b))));
    let frame = match best {
        Some(frame) => frame as f64 + vertex(onset[frame - 1], onset[frame], onset[frame + 1]),
        None => middle,
    };
    (frame + EARLY) / FPS as f64
}

/// Where the parabola through three neighbouring values peaks, relative to the middle one.
fn vertex(left: f32, middle: f32, right: f32) -> f64 {
    let curve = left - 2.0 * middle + right;
    if curve >= 0.0 { 0.0 } else { f64::from((0.5 * (left - right) / curve).clamp(-0.5, 0.5)) }
}
