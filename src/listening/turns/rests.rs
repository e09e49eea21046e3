//! Silences inside the music, and where the music starts and stops.

use super::super::loudness::{BLOCKS, Envelope, loudness, quantile};
use crate::units::Seconds;
use std::ops::Range;

/// Blocks over which a level is read: 50 ms, shorter than any note that is danced to.
const WINDOW: usize = 5;
/// This far under the music around it (in LU) a moment is silent, whatever the recording's floor.
const FAR_BELOW: f64 = 25.0;
/// This far under the music around it a moment is silent if it is also near the recording's floor: on old discs
/// the hiss is not far below the music.
const BELOW: f64 = 12.0;
/// How near the floor, in LU.
const NEAR_FLOOR: f64 = 3.0;
/// Half seconds before and after a moment that are the music around it.
const BESIDE: usize = 6;
/// A sound dies away; the rest begins where it has fallen by this much (in LU), at most [`DECAY`] blocks earlier.
const FALLEN: f64 = 6.0;
/// Longest stretch of dying away that counts to the rest: 0.6 s, a hall of two seconds' reverberation.
const DECAY: usize = 60;
/// Least length of a rest where there is no beat to measure it by.
const LEAST: f64 = 0.6;
/// However fast the beat, a shorter silence is not felt as a stop.
const SHORTEST: f64 = 0.45;
/// Gaps between short notes are no rests: a rest is at least this many times their usual length ...
const UNUSUAL: f64 = 1.5;
/// ... where there are at least this many.
const MANY: usize = 8;

/// Where there is sound: the music's first and last block, and the silences between.
#[derive(Debug, Clone, PartialEq, Default)]
pub(in crate::listening) struct Quiet {
    /// Blocks from the first sound to the end of the last.
    pub music: Range<usize>,
    /// Rests, ascending, inside `music`.
    pub rests: Vec<Range<usize>>,
}

impl Quiet {
    /// Start and end of each rest.
    pub(in crate::listening) fn spans(&self) -> Vec<(Seconds, Seconds)> {
        let at = |block: usize| Seconds(block as f64 / BLOCKS);
        self.rests.iter().map(|rest| (at(rest.start), at(rest.end))).collect()
    }
}

/// Finds them. `beat` gives the length of a beat at an instant, or `None` where there is no grid.
pub(in crate::listening) fn quiet(envelope: &Envelope, beat: &dyn Fn(Seconds) -> Option<Seconds>) -> Quiet {
    let levels = short_levels(envelope);
    let cells: Vec<f64> = levels
        .chunks(50)
        .map(|cell| {
            let mut cell = cell.to_vec();
            cell.sort_by(f64::total_cmp);
            quantile(&cell, 0.9).unwrap_or_default()
        })
        .collect();
    // The softer of what came before and what comes after: soft music after loud music is no rest.
    let upper = |cells: &[f64]| {
        let mut near = cells.to_vec();
        near.sort_by(f64::total_cmp);
        quantile(&near, 0.8).unwrap_or_default()
    };
    let around: Vec<f64> = (0..cells.len())
        .map(|i| {
            let before = upper(&cells[i.saturating_sub(BESIDE)..=i]);
            let after = upper(&cells[i..(i + BESIDE + 1).min(cells.len())]);
            before.min(after)
        })
        .collect();
    let mut sorted = cells.clone();
    sorted.sort_by(f64::total_cmp);
    // In a long pause there is no music around; the recording's own middle bounds it.
    let usual = quantile(&sorted, 0.5).unwrap_or_default();
    let mut all = levels.clone();
    all.sort_by(f64::total_cmp);
    let floor = quantile(&all, 0.01).unwrap_or_default();
    let reference = |block: usize| around[block / 50].max(usual - FAR_BELOW);
    let silent = |block: usize| {
        let reference = reference(block);
        levels[block] < (reference - FAR_BELOW).max((reference - BELOW).min(floor + NEAR_FLOOR))
    };
    let gaps = runs(levels.len(), silent);
    let Some(first) = (0..levels.len()).find(|&block| !silent(block)) else { return Quiet::default() };
    let last = (0..levels.len()).rev().find(|&block| !silent(block)).unwrap_or(first);
    let inner: Vec<Range<usize>> =
        gaps.into_iter().filter(|gap| gap.start > first && gap.end <= last && gap.len() >= 5).collect();
    let mut lengths: Vec<f64> = inner.iter().map(|gap| gap.len() as f64).collect();
    lengths.sort_by(f64::total_cmp);
    let usual_gap = if lengths.len() >= MANY { quantile(&lengths, 0.8).unwrap_or_default() } else { 0.0 };
    let mut rests: Vec<Range<usize>> = Vec::new();
    for gap in inner.into_iter().filter(|gap| gap.len() as f64 >= UNUSUAL * usual_gap) {
        let above = reference(gap.start) - FALLEN;
        let falling = |block: usize| levels[block] < above && levels[block] >= levels[block + 1] - 0.5;
        let begin = (gap.start.saturating_sub(DECAY).max(first + 1)..gap.start)
            .rev()
            .take_while(|&block| falling(block))
            .last()
            .unwrap_or(gap.start);
        match rests.last_mut() {
            // Nothing was struck between: a last sound died away in two steps, or the coder left a trace of it.
            Some(before) if begin <= before.end => before.end = gap.end,
            _ => rests.push(begin..gap.end),
        }
    }
    // A beat of silence loses its edges to the reading window and to what still rings.
    let least = |at: Seconds| beat(at).map_or(LEAST, |beat| (0.8 * beat.0).max(SHORTEST)) * BLOCKS;
    rests.retain(|rest| rest.len() as f64 >= least(Seconds(rest.start as f64 / BLOCKS)));
    Quiet { music: first..last + 1, rests }
}

/// Loudness over 50 ms around every block.
fn short_levels(envelope: &Envelope) -> Vec<f64> {
    let energies = envelope.energies();
    (0..energies.len())
        .map(|i| {
            let near = &energies[i.saturating_sub(WINDOW / 2)..(i + WINDOW / 2 + 1).min(energies.len())];
            loudness(near.iter().map(|e| f64::from(*e)).sum::<f64>() / near.len() as f64)
        })
        .collect()
}

/// The longest stretches over which `holds`.
fn runs(len: usize, holds: impl Fn(usize) -> bool) -> Vec<Range<usize>> {
    let mut found: Vec<Range<usize>> = Vec::new();
    for i in (0..len).filter(|&i| holds(i)) {
        match found.last_mut() {
            Some(run) if run.end == i => run.end = i + 1,
            _ => found.push(i..i + 1),
        }
    }
    found
}
