//! Turns of tempo: accelerando, ritardando, sudden steps, a tempo, fermatas. They need a grid.

use super::super::segments::{Segment, Slope, slopes};
use super::super::tempo::{Hold, Pace};
use super::super::types::TurnKind;
use super::rests::Quiet;
use super::{Found, sure};
use crate::grid::Grid;
use crate::units::{Beat, Seconds};

/// Least gradual change, as a share of the tempo, and least length in beats.
const GRADUAL: f64 = 0.08;
const GRADUAL_LENGTH: usize = 4;
/// Least change per beat, as a share: what is slower than this nobody follows ...
const STEEP: f64 = 0.002;
/// ... unless it comes to this much in the end.
const LARGE: f64 = 0.15;
/// How near an earlier tempo is the same again, as a share.
const SAME: f64 = 0.06;
/// How many beats a return to the earlier tempo may take.
const RETURN: f64 = 5.0;

/// All turns of tempo, in no order.
pub(super) fn turns(grid: &Grid, pace: &Pace, quiet: &Quiet) -> Vec<Found> {
    let least = (1.0 + GRADUAL).ln().max(2.0 * pace.noise);
    let rule = Slope {
        moving: 0.5 * least,
        slack: 0.5 * pace.least_leap(),
        leap: pace.least_leap(),
        part: 0.25,
        plateau: 2 * GRADUAL_LENGTH,
    };
    let gradual: Vec<Segment> = slopes(&pace.pieces, &rule)
        .into_iter()
        .filter(|slope| {
            let size = slope.rise().abs();
            let each = size / (slope.len() - 1) as f64;
            size >= least && slope.len() >= GRADUAL_LENGTH && (each >= STEEP || size >= LARGE)
        })
        .collect();
    let bpm = |log: f64| log.exp();
    let mut found: Vec<Found> = gradual
        .iter()
        .map(|slope| Found {
            kind: if slope.rise() > 0.0 { TurnKind::Accelerando } else { TurnKind::Ritardando },
            start: grid.seconds_at(Beat::from(slope.from)),
            end: grid.seconds_at(Beat::from(slope.to)),
            from: bpm(slope.first),
            to: bpm(slope.last),
            sureness: sure(slope.rise().abs(), least),
        })
        .collect();
    for leap in pace.leaps() {
        let (before, after) = (&pace.pieces[leap - 1], &pace.pieces[leap]);
        if gradual.iter().any(|slope| slope.from < after.from && after.from < slope.to) {
            continue;
        }
        let size = pace.leap(leap);
        let kind = if size > 0.0 { TurnKind::SuddenlyFaster } else { TurnKind::SuddenlySlower };
        let at = grid.seconds_at(Beat::from(after.from));
        // A leap of exactly two is as likely a change of what is counted as of the music.
        let counted_otherwise = (size.abs() - 2f64.ln()).abs() < 0.05;
        let sureness = sure(size.abs(), pace.least_leap()) * if counted_otherwise { 0.5 } else { 1.0 };
        found.push(Found {
            kind,
            start: at,
            end: at,
            from: bpm(before.last),
            to: bpm(after.first),
            sureness,
        });
    }
    name_returns(&mut found, grid);
    found.extend(pace.holds.iter().filter_map(|hold| fermata(hold, grid, quiet)));
    found
}

/// A change back to the tempo that held before the gradual change that ends just there is called `a tempo`.
fn name_returns(found: &mut [Found], grid: &Grid) {
    let gradual: Vec<Found> = found
        .iter()
        .filter(|turn| matches!(turn.kind, TurnKind::Accelerando | TurnKind::Ritardando))
        .copied()
        .collect();
    for here in found.iter_mut() {
        let beats = |from: Seconds, to: Seconds| grid.beat_at(to).since(grid.beat_at(from)).0;
        let returns = gradual.iter().any(|before| {
            let follows = (-0.1..=1.1).contains(&beats(before.end, here.start));
            let back = (before.to - before.from) * (here.to - here.from) < 0.0;
            follows && back && (here.to / before.from - 1.0).abs() <= SAME
        });
        if returns && beats(here.start, here.end) <= RETURN {
            here.kind = TurnKind::ATempo;
            here.end = here.start;
        }
    }
}

/// A held beat that sounds; one that is mostly silent is a rest, told elsewhere.
fn fermata(hold: &Hold, grid: &Grid, quiet: &Quiet) -> Option<Found> {
    let (start, end) = (grid.seconds_at(Beat::from(hold.beat)), grid.seconds_at(Beat::from(hold.beat + 1)));
    let length = end.since(start).0;
    let block = |at: Seconds| (at.0 * super::BLOCKS) as usize;
    let silent: usize = quiet
        .rests
        .iter()
        .map(|rest| rest.end.min(block(end)).saturating_sub(rest.start.max(block(start))))
        .sum();
    if silent as f64 / super::BLOCKS > 0.5 * length {
        return None;
    }
    // Exactly two or three beats long: perhaps beats that were not found.
    let whole = hold.times > 1.9 && (hold.times - hold.times.round()).abs() < 0.08;
    let sureness = sure(hold.times - 1.0, 0.7) * if whole { 0.6 } else { 1.0 };
    Some(Found { kind: TurnKind::Fermata, start, end, from: 0.0, to: length, sureness })
}
