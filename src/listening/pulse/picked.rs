//! Picking: which of the beats that were heard she counts, where she counts every second or third.
//!
//! Nothing in a tempo tells every second beat from those between, and a search that has once left out a beat counts the
//! wrong ones from there on. Bars tell them: what she counts is looked for as the starts of bars of two or three.

use super::pins::Pin;
use super::search::{STEPS_PER_SECOND, Step, bin_of};
use super::settings::Settings;
use crate::grid::Anchor;
use crate::listening::evidence::Evidence;
use crate::listening::form::bars;
use crate::units::Seconds;

/// A pin moves the picked beat that is nearest to it if that is no farther than this share of the beat.
const ROOM: f64 = 0.3;

/// Every `each`th of the beats that were `heard`, as a path that has a beat at every pin; `None` where there is none.
pub(super) fn picked(
    evidence: &Evidence,
    heard: &[(Step, Seconds)],
    each: u8,
    pins: &[Pin],
    settings: &Settings,
) -> Option<Vec<Step>> {
    if pins.iter().any(|pin| pin.held) {
        return None;
    }
    let beats: Vec<Seconds> = heard.iter().map(|(_, at)| *at).collect();
    let ternary: Vec<bool> = heard.iter().map(|(step, _)| step.ternary).collect();
    let metre = Anchor::Metre { from: *beats.first()?, beats: each };
    let ones = pins.iter().map(|pin| Anchor::CountOne { at: Seconds(pin.at) });
    let asked: Vec<Anchor> = std::iter::once(metre).chain(ones).collect();
    let (counted, _) = bars::find(evidence, &beats, &ternary, &asked, settings);
    let mut at: Vec<usize> = counted.iter().map(|&beat| heard[beat].0.at).collect();
    for pin in pins {
        let step = pin.at * f64::from(STEPS_PER_SECOND);
        let off = |at: usize| (at as f64 + 0.5 - step).abs();
        let nearest = (0..at.len()).min_by(|&a, &b| off(at[a]).total_cmp(&off(at[b])))?;
        if off(at[nearest]) > ROOM * length(&at, nearest)? as f64 {
            return None;
        }
        if !pin.window.contains(&at[nearest]) {
            at[nearest] = step as usize;
        }
    }
    let step = |n: usize| {
        let bin = bin_of(length(&at, n)? as f32);
        Some(Step { at: at[n], bin, ternary: each == 3 })
    };
    (0..at.len()).map(step).collect()
}

/// From beat `n` to the next, the last from the one before; `None` where that is not later.
fn length(at: &[usize], n: usize) -> Option<usize> {
    let (from, to) = if n + 1 < at.len() { (n, n + 1) } else { (n.checked_sub(1)?, n) };
    at[to].checked_sub(at[from]).filter(|length| *length > 0)
}
