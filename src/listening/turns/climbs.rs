//! Long swells that come in several steps and slopes: an orchestra grows by adding instruments.

use super::super::segments::Segment;

/// Share of a long swell that one step in it may have; a larger one is a sudden change of its own.
pub(super) const LARGEST_PART: f64 = 0.5;
/// Share of what it has risen by that it may fall back on the way.
const FALLS_BACK: f64 = 0.3;
/// How many rises it takes.
const RISES: usize = 3;
/// How many times the least change that is told it must come to.
const LARGE: f64 = 2.5;

/// The swells in `pieces`, up and down, ascending; `least` is the least change that is told at all.
pub(super) fn climbs(pieces: &[Segment], least: f64) -> Vec<Segment> {
    let mut found = Vec::new();
    let mut from = 0;
    while from < pieces.len() {
        match farthest(&pieces[from..], 1.0, least).or_else(|| farthest(&pieces[from..], -1.0, least)) {
            Some(steps) => {
                found.push(whole(&pieces[from], &pieces[from + steps], least));
                from += steps;
            }
            None => from += 1,
        }
    }
    found.retain(|climb| climb.to > climb.from + 1);
    found
}

/// The level in the middle of a piece.
fn middle(piece: &Segment) -> f64 {
    0.5 * (piece.first + piece.last)
}

/// How many pieces on the highest of an ascent (`way` 1; the lowest of a descent, -1) lies that starts at the first
/// piece; `None` when there is none worth the name.
fn farthest(pieces: &[Segment], way: f64, least: f64) -> Option<usize> {
    let height = |piece: &Segment| way * (middle(piece) - middle(&pieces[0]));
    let (mut top, mut end, mut largest, mut rises) = (0.0f64, 0, 0.0f64, 0);
    for (index, piece) in pieces.iter().enumerate().skip(1) {
        let gain = height(piece) - top;
        if -gain > (FALLS_BACK * top).max(0.5 * least) {
            break;
        }
        if gain > 0.0 {
            rises += usize::from(gain >= 0.5 * least);
            largest = largest.max(gain);
            (top, end) = (height(piece), index);
        }
    }
    (rises >= RISES && top >= LARGE * least && largest <= LARGEST_PART * top).then_some(end)
}

/// From the first piece to the last. A piece at either end belongs to the swell only if it moves with it; a level one
/// is where it comes from, or leads to.
fn whole(first: &Segment, last: &Segment, least: f64) -> Segment {
    let way = (middle(last) - middle(first)).signum();
    let moves = |piece: &Segment| way * piece.rise() >= 0.5 * least;
    let (from, low) = if moves(first) { (first.from, first.first) } else { (first.to, first.last) };
    let (to, high) = if moves(last) { (last.to, last.last) } else { (last.from, last.first) };
    Segment { from, to, first: low, last: high }
}
