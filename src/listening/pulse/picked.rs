//! Picking: which of the beats that were heard she counts, where she counts every second or third.
//!
//! Nothing in a tempo tells every second beat from those between, and a search that has once left out a beat counts the
//! wrong ones from there on. Bars tell them: what she counts is looked for as the starts of bars of two or three.

use super::pins::Pin;
use super::search::{STEPS_PER_SECOND, Step, bin_of};
use super::settings::Settings;
use super::tapped::{Every, parts_of};
use crate::grid::Anchor;
use crate::listening::evidence::Evidence;
use crate::listening::form::bars;
use crate::units::Seconds;

/// A pin moves the picked beat that is nearest to it if that is no farther than this share of the beat.
const ROOM: f64 = 0.3;
/// What is tapped lies at one place between strong beats if this share of it does.
const MOST: f64 = 0.75;
/// Counting that slips within so many counts of the last tap.
const SOON: usize = 4;

/// What she counts of the beats that were `heard`, as a path that has a beat at every pin; `None` where there is none.
pub(super) fn picked(
    evidence: &Evidence,
    heard: &[(Step, Seconds)],
    Every { each, parts }: Every,
    pins: &[Pin],
    settings: &Settings,
) -> Option<Vec<Step>> {
    if pins.iter().any(|pin| pin.held) {
        return None;
    }
    let beats: Vec<f64> = heard.iter().map(|(_, at)| at.0).collect();
    let beats: Vec<Seconds> = parts_of(&beats, parts).into_iter().map(Seconds).collect();
    // A beat that is put elsewhere is one of those that she counts already: it says nothing of which they are.
    let taps = pins.iter().filter(|pin| !pin.exact);
    let tapped: Vec<Seconds> = taps.map(|pin| Seconds(pin.at)).collect();
    let counted = every(evidence, &beats, each, &tapped, settings);
    let parts = usize::from(parts);
    let step_of = |part: usize| match part % parts {
        0 => heard[part / parts].0.at,
        _ => (beats[part].0 * f64::from(STEPS_PER_SECOND)) as usize,
    };
    let mut at: Vec<usize> = counted.into_iter().map(step_of).collect();
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

/// Which of some `beats` to count, `each` being from one to the next, if those nearest to `tapped` are counted.
///
/// What is heard of bars tells where counting slips. Whether she counts the strong beats or others is hers to say: bars that
/// would have her slip as soon as she stops tapping are not the ones she means.
pub(super) fn every(
    evidence: &Evidence,
    beats: &[Seconds],
    each: u8,
    tapped: &[Seconds],
    settings: &Settings,
) -> Vec<usize> {
    let bars = |ones: &[Seconds]| {
        let metre = beats.first().map(|&from| Anchor::Metre { from, beats: each });
        let ones = ones.iter().map(|&at| Anchor::CountOne { at });
        let asked: Vec<Anchor> = metre.into_iter().chain(ones).collect();
        // Bars of two or three have no inside whose division would matter.
        bars::find(evidence, beats, &vec![false; beats.len()], &asked, settings).0
    };
    let each = usize::from(each);
    let counted = bars(tapped);
    let last = tapped.last().and_then(|at| bars::nearest(beats, *at)).unwrap_or(0);
    let slips = counted
        .windows(2)
        .any(|pair| pair[1] - pair[0] != each && pair[1] > last && pair[0] <= last + SOON * each);
    let between = slips.then(|| at_one_place(&bars(&[]), beats, each, tapped)).flatten();
    between.unwrap_or(counted)
}

/// The beats at the place after `strong` ones at which most of what is `tapped` lies; `None` if it lies all over.
fn at_one_place(strong: &[usize], beats: &[Seconds], each: usize, tapped: &[Seconds]) -> Option<Vec<usize>> {
    let first = *strong.first()?;
    let place_of = |at: &Seconds| {
        let beat = bars::nearest(beats, *at)?;
        let before = strong[..strong.partition_point(|strong| *strong <= beat)].last();
        Some(before.map_or(each + beat - first % each, |before| beat - before) % each)
    };
    let places: Vec<usize> = tapped.iter().filter_map(place_of).collect();
    let so_many = |place: &usize| places.iter().filter(|other| *other == place).count();
    let place =
        (0..each).max_by_key(so_many).filter(|it| so_many(it) as f64 >= MOST * places.len() as f64)?;
    let ahead = (first + place).checked_sub(each);
    let after = strong.iter().map(|strong| strong + place).filter(|beat| *beat < beats.len());
    Some(ahead.into_iter().chain(after).collect())
}

/// From beat `n` to the next, the last from the one before; `None` where that is not later.
fn length(at: &[usize], n: usize) -> Option<usize> {
    let (from, to) = if n + 1 < at.len() { (n, n + 1) } else { (n.checked_sub(1)?, n) };
    at[to].checked_sub(at[from]).filter(|length| *length > 0)
}
