//! Notes held past their time, heard from the sound itself: a stretch without a new attack, far longer than the
//! gaps around. The beats found in it say nothing of the tempo, as nothing marks them.

use super::super::loudness::{BLOCKS, Envelope, loudness};
use super::super::types::TurnKind;
use super::rests::Quiet;
use super::{Found, sure};
use crate::grid::Grid;
use crate::units::Seconds;

/// Least length in beats of the tempo before.
const LEAST: f64 = 1.5;
/// Longer than this, in beats, nobody holds a note in a dance: the music itself is without attacks.
const MOST: f64 = 12.0;
/// This many times the usual longest gap around.
const UNUSUAL: f64 = 1.7;
/// Beats on either side that are around.
const AROUND: f64 = 16.0;
/// Fewer gaps than this around tell nothing of what is usual.
const FEWEST: usize = 12;
/// Beats before from which the tempo is read.
const BEFORE: usize = 8;
/// Blocks over which the level of an attack is read: 0.2 s.
const AT_ONCE: usize = 20;
/// An attack this far under the held one, in LU, is not the music going on.
const FAR_BELOW: f64 = 15.0;
/// This near a whole number of beats, a written long note looks the same.
const WHOLE: f64 = 0.12;

/// A stretch from one attack to the next in which the beat stands still, in sound or in silence.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::listening) struct Still {
    /// The attack at its start.
    pub start: Seconds,
    /// The next attack.
    pub end: Seconds,
    /// Its length in beats of the tempo before.
    pub times: f64,
}

impl Still {
    fn whole(times: f64) -> bool {
        (times - times.round()).abs() < WHOLE
    }
}

/// All of them, ascending; none where there is no grid. `attacks` ascend.
pub(in crate::listening) fn stills(attacks: &[Seconds], grid: &Grid) -> Vec<Still> {
    let gap = |pair: &[Seconds]| pair[1].0 - pair[0].0;
    let mut found = Vec::new();
    for (index, pair) in attacks.windows(2).enumerate() {
        let Some(beat) = beat_before(grid, pair[0]) else { continue };
        let times = gap(pair) / beat;
        if !(LEAST..=MOST).contains(&times) {
            continue;
        }
        let near = attacks.partition_point(|at| at.0 < pair[0].0 - AROUND * beat)
            ..attacks.partition_point(|at| at.0 <= pair[1].0 + AROUND * beat);
        let offset = near.start;
        let mut others: Vec<f64> = attacks[near]
            .windows(2)
            .enumerate()
            .filter(|(i, _)| i + offset != index)
            .map(|(_, other)| gap(other))
            .collect();
        if others.len() < FEWEST {
            continue;
        }
        others.sort_by(f64::total_cmp);
        // One other hold nearby hides none, unless both may be long notes as written.
        let usual = if Still::whole(times) { others.len() - 1 } else { (others.len() - 1) * 9 / 10 };
        if gap(pair) > UNUSUAL * others[usual] {
            found.push(Still { start: pair[0], end: pair[1], times });
        }
    }
    found
}

/// Median length of the beats before an instant; of the first ones at the start. `None` without beats.
fn beat_before(grid: &Grid, at: Seconds) -> Option<f64> {
    let beats = grid.beats();
    let until = beats.partition_point(|beat| beat.0 <= at.0 + 0.1).max(BEFORE / 2).min(beats.len());
    let mut lengths: Vec<f64> =
        beats[until.saturating_sub(BEFORE + 1)..until].windows(2).map(|pair| pair[1].0 - pair[0].0).collect();
    lengths.sort_by(f64::total_cmp);
    lengths.get(lengths.len() / 2).copied()
}

/// Those that sound are fermatas; the others are rests, told elsewhere. A last chord that dies away into the murmur of
/// the room is none: what comes after a fermata is music again.
pub(super) fn fermatas(stills: &[Still], envelope: &Envelope, quiet: &Quiet) -> Vec<Found> {
    let level = |at: Seconds| -> f64 {
        let blocks = envelope.energies();
        let from = ((at.0 * BLOCKS) as usize).min(blocks.len());
        let here = &blocks[from..(from + AT_ONCE).min(blocks.len())];
        loudness(here.iter().map(|e| f64::from(*e)).sum::<f64>() / here.len().max(1) as f64)
    };
    let goes_on = |still: &&Still| level(still.end) > level(still.start) - FAR_BELOW;
    let silent = |still: &Still| -> f64 {
        let rests = quiet.spans().into_iter();
        rests.map(|rest| (rest.1.0.min(still.end.0) - rest.0.0.max(still.start.0)).max(0.0)).sum()
    };
    stills
        .iter()
        .filter(goes_on)
        .filter(|still| silent(still) < 0.3 * (still.end.0 - still.start.0))
        .map(|still| Found {
            kind: TurnKind::Fermata,
            start: still.start,
            end: still.end,
            from: 0.0,
            to: still.end.0 - still.start.0,
            sureness: sure(still.times - 1.0, 0.7) * if Still::whole(still.times) { 0.4 } else { 1.0 },
        })
        .collect()
}
