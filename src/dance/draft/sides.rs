//! Left and right: one-sided moves go to both sides, by eights or sixteens.

use super::spans::Span;
use crate::dance::reading::{SHORTEST_SHOWN, time_needed};
use crate::dance::{Profile, Side};
use crate::grid::Grid;
use crate::units::Beat;

/// About how many counts a one-sided move stays on one side. Alternating sides is common practice, no source; eights are
/// how dances are counted.
const EIGHT: f64 = 8.0;

/// The fewest counts to one side.
const FEWEST: usize = 4;

/// What comes after a part must be readable while it is danced: hardly any call is longer than this.
const NEXT_CALL: &str = "three short words";

/// A part of a span that goes to one side, or to none.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Part {
    /// Its first beat.
    pub(super) start: usize,
    /// The beat after its last.
    pub(super) end: usize,
    /// Which side.
    pub(super) side: Option<Side>,
}

impl Part {
    /// All of a span, to one side or none.
    pub(super) fn whole(span: &Span, side: Option<Side>) -> Self {
        Self { start: span.start, end: span.end, side }
    }
}

/// A span cut where the sides change, `first` before the other: every sixteen counts where that comes out even, else
/// every eight, or as many whole bars as come near it; in halves where that leaves one side behind. In one piece where a
/// part would be too short to read `words`, or the next call, in.
pub(super) fn both_sides(grid: &Grid, profile: Profile, span: &Span, first: Side, words: &str) -> Vec<Part> {
    let counts = span.end - span.start;
    let eight = eight(grid, span.start);
    let long_first = counts.is_multiple_of(4 * eight);
    let choices = if long_first { [2 * eight, eight] } else { [eight, 2 * eight] };
    let half = (counts / 2).max(1);
    let ways = choices.map(|each| cut(grid, profile, span, each, words));
    let halves = cut(grid, profile, span, half, words);
    let even = |cuts: &Vec<usize>| cuts.len() > 2 && left_behind(cuts) <= EIGHT as usize;
    let best = ways.iter().chain([&halves]).find(|cuts| even(cuts));
    let cuts = best.or_else(|| ways.iter().find(|cuts| cuts.len() > 2));
    let Some(cuts) = cuts else { return vec![Part::whole(span, Some(first))] };
    let side = |index: usize| if index.is_multiple_of(2) { first } else { opposite(first) };
    let part =
        |(index, pair): (usize, &[usize])| Part { start: pair[0], end: pair[1], side: Some(side(index)) };
    cuts.windows(2).enumerate().map(part).collect()
}

/// Where parts of about `each` counts begin, with the span's end: bar starts, far enough apart.
fn cut(grid: &Grid, profile: Profile, span: &Span, each: usize, words: &str) -> Vec<usize> {
    let needed = [words, NEXT_CALL].map(|words| time_needed(words, profile.age).0);
    let needed = needed.into_iter().fold(SHORTEST_SHOWN.0, f64::max);
    let at = |beat: usize| grid.seconds_at(Beat::from(beat)).0;
    let fits = |from: usize, to: usize| to >= from + FEWEST && at(to) - at(from) >= needed - 1e-6;
    let mut cuts = vec![span.start];
    for next in (span.start + each..span.end).step_by(each).map(|cut| on_one(grid, cut)) {
        if next < span.end && cuts.last().is_some_and(|&last| fits(last, next)) {
            cuts.push(next);
        }
    }
    // What is left over and too short belongs to the part before it.
    if cuts.len() > 1 && cuts.last().is_some_and(|&last| !fits(last, span.end)) {
        cuts.pop();
    }
    cuts.push(span.end);
    cuts
}

/// How many more counts one side has than the other.
fn left_behind(cuts: &[usize]) -> usize {
    let side =
        |side: usize| -> usize { cuts.windows(2).skip(side).step_by(2).map(|pair| pair[1] - pair[0]).sum() };
    side(0).abs_diff(side(1))
}

/// The even number of bars nearest to eight counts, in counts; eight where there are no bars.
fn eight(grid: &Grid, from: usize) -> usize {
    let bars = grid.bars();
    let next = bars.partition_point(|&bar| bar <= from);
    let bar = match (bars.get(next), next.checked_sub(1).and_then(|before| bars.get(before))) {
        (Some(after), Some(before)) => after - before,
        _ => 4,
    };
    let pair = 2 * bar;
    pair * ((EIGHT / pair as f64).round() as usize).max(1)
}

/// The bar start nearest to a beat, where one is near.
fn on_one(grid: &Grid, beat: usize) -> usize {
    let bar = grid.bars().iter().copied().min_by_key(|bar| bar.abs_diff(beat));
    bar.filter(|bar| bar.abs_diff(beat) <= 2).unwrap_or(beat)
}

/// The other side.
pub(super) fn opposite(side: Side) -> Side {
    match side {
        Side::Left => Side::Right,
        Side::Right => Side::Left,
    }
}
