//! Turns: the points and stretches where the music changes, each with its place, size and sureness.
//!
//! Thresholds are gathered from published just-noticeable differences where there are any; `docs/turns.md` gives
//! the sources and the trials. Everything is relative to the recording: gain changes nothing.

mod climbs;
mod held;
mod level;
mod pace;
mod rests;

pub(super) use held::{Still, stills};
pub(super) use rests::{Quiet, quiet};

use super::loudness::{BLOCKS, Envelope};
use super::tempo::Pace;
use super::types::{Sureness, TempoPoint, Turn, TurnKind};
use crate::grid::Grid;
use crate::units::{Beat, Seconds};

/// A sudden change this near a beat (in seconds) is said to be on it; sounds are felt as together within this.
const ON_THE_BEAT: f64 = 0.12;
/// A fermata's ends are attacks that were heard, and the beats there may be bent: only one as near as this is it.
const AT_THE_ATTACK: f64 = 0.05;

/// A turn before it has its place in the grid.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Found {
    kind: TurnKind,
    start: Seconds,
    end: Seconds,
    from: f64,
    to: f64,
    sureness: f64,
}

/// How sure a change of some size is, when `least` is the smallest that counts: a half there, nearing 1 above.
fn sure(size: f64, least: f64) -> f64 {
    (size / (size + least)).clamp(0.0, 1.0)
}

/// All turns, by ascending start. Without a grid those of loudness, and rests.
///
/// `tempo` is the curve of the grid; `bars` tells how sure each bar is (turns of tempo are no surer than the beats
/// they are read from); `stills` are where the beat stands still.
pub(super) fn turns(
    envelope: &Envelope,
    quiet: &Quiet,
    grid: &Grid,
    pace: &Pace,
    tempo: &[TempoPoint],
    bars: &[Sureness],
    stills: &[Still],
) -> Vec<Turn> {
    let beat = super::tempo::median(tempo).map(|bpm| bpm.beat_length());
    let mut found = level::turns(envelope, quiet, beat);
    let from_grid = pace::turns(grid, pace, quiet).into_iter().map(|turn| Found {
        sureness: turn.sureness * (0.5 + 0.5 * grid_sureness(grid, bars, turn.start, turn.end)),
        ..turn
    });
    found.extend(from_grid);
    found.extend(held::fermatas(stills, envelope, quiet));
    found.extend(quiet.spans().into_iter().map(|(start, end)| {
        let least = super::tempo::beat_length(tempo, start).map_or(0.6, |beat| 0.8 * beat.0);
        Found {
            kind: TurnKind::Rest,
            start,
            end,
            from: 0.0,
            to: end.0 - start.0,
            sureness: sure(end.0 - start.0, 0.5 * least),
        }
    }));
    found.sort_by(|a, b| a.start.total_cmp(&b.start).then(a.end.total_cmp(&b.end)));
    found.into_iter().map(|turn| place(turn, grid)).collect()
}

/// Gives a turn its place in the grid.
fn place(turn: Found, grid: &Grid) -> Turn {
    let near = if turn.kind == TurnKind::Fermata { AT_THE_ATTACK } else { ON_THE_BEAT };
    let on_beat = |at: Seconds| -> (Seconds, Beat) {
        if grid.is_empty() {
            return (at, Beat(0.0));
        }
        let exact = Beat((grid.beat_at(at).0.max(0.0) * 1e3).round() / 1e3);
        let nearest = Beat(exact.0.round().min(grid.len() as f64));
        let there = grid.seconds_at(nearest);
        if (there.0 - at.0).abs() <= near { (there, nearest) } else { (at, exact) }
    };
    let (start, start_beat) = on_beat(turn.start);
    let (end, end_beat) = if turn.end == turn.start { (start, start_beat) } else { on_beat(turn.end) };
    let tenths = |x: f64| (x * 100.0).round() / 100.0;
    Turn {
        kind: turn.kind,
        start,
        // Both ends of a short turn may be drawn to one beat; it never ends before it starts.
        end: if end.0 < start.0 { start } else { end },
        start_beat,
        end_beat: if end_beat.0 < start_beat.0 { start_beat } else { end_beat },
        from: tenths(turn.from),
        to: tenths(turn.to),
        sureness: Sureness(((turn.sureness * 100.0).round() / 100.0) as f32),
    }
}

/// Mean sureness of the bars from one instant to another; 1 when nothing is known of them.
fn grid_sureness(grid: &Grid, bars: &[Sureness], start: Seconds, end: Seconds) -> f64 {
    let bar = |at: Seconds| grid.bar_at(grid.beat_at(at)).bar.saturating_sub(1);
    let (first, last) = (bar(start), bar(end));
    let span = bars.get(first.min(bars.len())..(last + 1).min(bars.len())).unwrap_or_default();
    if span.is_empty() { 1.0 } else { span.iter().map(|s| f64::from(s.0)).sum::<f64>() / span.len() as f64 }
}
