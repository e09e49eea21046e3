//! Scores: the evidence in the form that the search for the beats reads.

use super::search::{BINS_PER_OCTAVE, STEP, STEPS_PER_SECOND};
use super::settings::Settings;
use crate::listening::evidence::{Evidence, Pace, peak};
use std::ops::Range;

/// Evidence in the form that the search reads: one value a step, in units of (tempered) log-odds.
#[derive(Debug, Clone, Default)]
pub(crate) struct Scores {
    /// For a beat.
    pub(crate) beat: Vec<f32>,
    /// For a subdivision.
    pub(crate) sub: Vec<f32>,
    /// For a beat and for a subdivision, where it has turned out that one was taken for the other.
    pub(crate) either: Either,
    /// Price of a jump of tempo.
    pub(crate) jump: Vec<f32>,
    /// First and last step with sound.
    pub(crate) sounding: Range<usize>,
    /// By how many tempo bins the music has slowed down since the beginning.
    pub(crate) slowing: Vec<i16>,
    /// How well one tempo, or a clear jump, explains the rhythm across each step, about 0 to 1.
    pub(crate) steadiness: Vec<f32>,
    /// Jumps of tempo that were heard: over which steps, by how many bins (slower is positive), at what price.
    pub(crate) heard_jumps: Vec<HeardJump>,
}

/// What there is for an event of the metre, be it a beat or a subdivision.
#[derive(Debug, Clone, Default)]
pub(crate) struct Either {
    /// In the units of [`Scores::beat`].
    pub(crate) beat: Vec<f32>,
    /// In the units of [`Scores::sub`].
    pub(crate) sub: Vec<f32>,
}

/// A jump of tempo that the search is offered.
#[derive(Debug, Clone)]
pub(crate) struct HeardJump {
    /// Where.
    pub(crate) steps: Range<usize>,
    /// By how many bins, slower being positive.
    pub(crate) bins: i16,
    /// Its price.
    pub(crate) price: f32,
    /// Whether it is heard clearly.
    pub(crate) clear: bool,
}

/// The evidence as the search reads it.
pub(super) fn scores(evidence: &Evidence, settings: &Settings) -> Scores {
    let likelihood = &evidence.likelihood;
    let tempered = |odds: f32| {
        settings.temper * (odds + settings.beat_bias).clamp(settings.beat_least, settings.beat_most)
    };
    let mixed = |network: &[f32], plain: &[f32], bias: f32| -> Vec<f32> {
        network.iter().zip(plain).map(|(n, p)| settings.network * (n + bias) + settings.plain * p).collect()
    };
    let plain = &evidence.plain;
    let beats = |network: &[f32]| -> Vec<f32> {
        stepped(&mixed(network, &plain.beat, settings.network_bias)).map(tempered).collect()
    };
    let subs = |network: &[f32]| -> Vec<f32> {
        stepped(&mixed(network, &plain.sub, settings.half_bias))
            .map(|odds| (settings.temper * odds).min(settings.sub_most))
            .collect()
    };
    let (beat, sub) = (beats(&likelihood.beat), subs(&likelihood.sub));
    let event: Vec<f32> = likelihood.beat.iter().zip(&likelihood.sub).map(|(b, s)| b.max(*s)).collect();
    let either = Either { beat: beats(&event), sub: subs(&event) };
    let mut jump: Vec<f32> = stepped(&peak(&evidence.novelty, 30))
        .map(|novelty| {
            let share = (novelty - settings.novelty_from) / (settings.novelty_to - settings.novelty_from);
            settings.jump + (settings.jump_marked - settings.jump) * share.clamp(0.0, 1.0)
        })
        .enumerate()
        .map(|(step, price)| {
            let steady = interpolated(&evidence.pace.steadiness, (step * STEP) as f32 / Pace::HOP as f32);
            price + settings.jump_against * steady.max(0.0)
        })
        .collect();
    let heard = |o: &&f32| **o > 0.2;
    let first = evidence.onset.iter().take_while(|o| !heard(o)).count() / STEP;
    let last = evidence.onset.iter().rev().take_while(|o| !heard(o)).count() / STEP;
    let steps = beat.len();
    let pace = &evidence.pace;
    let slowing = (0..steps)
        .map(|step| {
            let octaves = interpolated(&pace.octaves, (step * STEP) as f32 / Pace::HOP as f32);
            (-settings.pace * octaves * BINS_PER_OCTAVE).round() as i16
        })
        .collect();
    let heard_jumps = heard_jumps(pace, settings, steps);
    for heard in &heard_jumps {
        // Where a jump is heard, it is that one: a change of colour is no excuse for another.
        for price in &mut jump[heard.steps.clone()] {
            *price = price.max(settings.jump);
        }
    }
    let mut steadiness: Vec<f32> = (0..steps)
        .map(|step| interpolated(&pace.steadiness, (step * STEP) as f32 / Pace::HOP as f32))
        .collect();
    for heard in heard_jumps.iter().filter(|heard| heard.clear) {
        // The stretches on either side of a jump are five seconds long.
        let (from, to) = (heard.steps.start.saturating_sub(150), (heard.steps.end + 150).min(steps));
        steadiness[from..to].fill(1.0);
    }
    let sounding = first.min(steps)..steps.saturating_sub(last);
    Scores { beat, sub, either, jump, sounding, slowing, steadiness, heard_jumps }
}

/// The jumps of tempo that the search is offered; the more clearly heard, and the clearer than others nearby, the cheaper.
fn heard_jumps(pace: &Pace, settings: &Settings, steps: usize) -> Vec<HeardJump> {
    /// Seconds over which jumps are rivals, and strength that leaves no doubt.
    const RIVALS: f32 = 2.5;
    const CERTAIN: f32 = 0.5;
    let step = |at: f32| ((at * STEPS_PER_SECOND).max(0.0) as usize).min(steps);
    pace.jumps
        .iter()
        .map(|heard| {
            let rivals = pace.jumps.iter().filter(|other| (other.at - heard.at).abs() <= RIVALS);
            let best = rivals.map(|other| other.strength).fold(0.0, f32::max);
            let clear = (heard.strength / CERTAIN).min(1.0);
            let price = settings.jump * (1.0 - (1.0 - settings.jump_heard) * clear);
            HeardJump {
                steps: step(heard.at - 1.0)..step(heard.at + 1.0),
                bins: (-heard.octaves * BINS_PER_OCTAVE).round() as i16,
                clear: heard.strength >= 0.4 * CERTAIN,
                price: price + settings.jump_rival * (1.0 - heard.strength / best.max(1e-6)),
            }
        })
        .collect()
}

/// The curve's value at a place between its entries, the ends held; 0 for an empty curve.
fn interpolated(curve: &[f32], at: f32) -> f32 {
    let Some(last) = curve.len().checked_sub(1) else { return 0.0 };
    let (before, rest) = (at as usize, at.fract());
    let value = |index: usize| curve[index.min(last)];
    value(before) + (value(before + 1) - value(before)) * rest
}

/// The larger of each two frames.
fn stepped(x: &[f32]) -> impl Iterator<Item = f32> + '_ {
    x.chunks(STEP).map(|frames| frames.iter().copied().fold(f32::MIN, f32::max))
}
