//! Arriving: the best scores of a beat in every tempo, over all steps that the beat before may have been on.
//!
//! Most of the time of the whole search goes here. The shortest interval is longer than a batch of steps, so that no step
//! of a batch depends on another, and the batch is looked at tempo by tempo: what eight tempi are compared with stays in
//! the nearest cache for all of its steps, and their best scores in registers.

use super::leaving::larger;
use super::prices::{Intervals, WIDTH};
use super::search::{BINS, NEVER, ROW};
use std::ops::Range;

/// Tempo bins that are looked at together, so that they fill the vectors of any common machine.
const LANES: usize = 8;
/// Steps that are looked at together: no more than the shortest interval.
pub(super) const BATCH: usize = 8;
/// Entries of a table before its first row: what lies `BINS` before any entry may be read.
pub(super) const MARGIN: usize = BINS;

/// The beat before was one interval ago.
struct Way {
    /// Where in the table the bin lies that has become bin 0 here; its price likewise.
    source: usize,
    price: usize,
    /// Gains of what is heard between, in two and in three.
    gains: [f32; 2],
}

/// All ways to one step that are worth a look.
#[derive(Default)]
pub(super) struct Ways {
    ways: Vec<Way>,
    /// How many of them are of intervals before the one, counted from `first`.
    until: Vec<u32>,
    first: usize,
    /// By how many bins the music has slowed down over them: least and most.
    slower: (isize, isize),
    /// The bins that are asked for.
    low: usize,
    high: usize,
}

/// What the ways of a step are found from.
pub(super) struct Lookup<'a> {
    pub(super) intervals: &'a Intervals,
    /// By how many tempo bins the music has slowed down since the beginning, by step.
    pub(super) slowing: &'a [i16],
    /// What a subdivision on a step is worth.
    pub(super) sub: &'a [f32],
    /// First step of the table, and the best score of a beat at each from there.
    pub(super) origin: usize,
    pub(super) best: &'a [f32],
}

impl Ways {
    /// Forgets all ways: nothing leads here.
    pub(super) fn clear(&mut self) {
        self.ways.clear();
        (self.low, self.high) = (1, 0);
    }

    /// Finds the ways to step `t` from no earlier than `earliest` that lead to a bin of `low..=high`.
    #[inline(always)]
    pub(super) fn find(
        &mut self,
        lookup: &Lookup<'_>,
        t: usize,
        earliest: usize,
        (low, high): (usize, usize),
    ) {
        self.clear();
        self.until.clear();
        (self.low, self.high) = (low, high);
        let Lookup { intervals, slowing, sub, origin, best } = *lookup;
        let longest = (intervals.shortest + intervals.parts.len() - 1).min(t.saturating_sub(earliest));
        if longest < intervals.shortest {
            return;
        }
        let here = isize::from(slowing[t]);
        let before = &slowing[t - longest..=t - intervals.shortest];
        let least = before.iter().copied().fold(i16::MAX, i16::min);
        let most = before.iter().copied().fold(i16::MIN, i16::max);
        self.slower = (here - isize::from(most), here - isize::from(least));
        let block = (low / LANES * LANES, high / LANES * LANES + LANES - 1);
        let all = self.sources(intervals, block);
        let all = all.start..all.end.min(longest + 1 - intervals.shortest);
        self.first = all.start;
        for n in all {
            self.until.push(self.ways.len() as u32);
            let from = t - (intervals.shortest + n);
            let slower = here - isize::from(slowing[from]);
            // Nothing comes from where no beat may be, nor from beyond all tempi.
            if best[from - origin] <= NEVER || slower.unsigned_abs() > BINS {
                continue;
            }
            self.ways.push(Way {
                source: (MARGIN + (from - origin) * ROW).saturating_add_signed(-slower),
                price: (n * WIDTH + BINS).saturating_add_signed(-slower),
                gains: intervals.parts[n].gains(&sub[from..]),
            });
        }
        self.until.push(self.ways.len() as u32);
    }

    /// The intervals that may lead into a block of bins.
    #[inline(always)]
    fn sources(&self, intervals: &Intervals, (low, high): (usize, usize)) -> Range<usize> {
        intervals.fitting(low as isize - self.slower.1, high as isize - self.slower.0)
    }

    /// Those of them that may lead into the block of bins from `low` on.
    #[inline(always)]
    fn into(&self, intervals: &Intervals, low: usize) -> &[Way] {
        if low > self.high || low + LANES <= self.low || self.ways.is_empty() {
            return &[];
        }
        let all = self.sources(intervals, (low, low + LANES - 1));
        let index = |n: usize| {
            let at = n.saturating_sub(self.first).min(self.until.len() - 1);
            self.until[at] as usize
        };
        let (from, to) = (index(all.start), index(all.end));
        self.ways.get(from..to).unwrap_or_default()
    }
}

/// Raises `rows`, one for each of `ways`, to the best scores that lead there from the rows of a table.
#[inline(always)]
pub(super) fn arrive(intervals: &Intervals, table: &[f32], ways: &[Ways], rows: &mut [[f32; ROW]]) {
    let prices = intervals.prices();
    for low in (0..BINS).step_by(LANES) {
        for (ways, row) in ways.iter().zip(rows.iter_mut()) {
            let ways = ways.into(intervals, low);
            if ways.is_empty() {
                continue;
            }
            let (mut two, mut three) = ([NEVER; LANES], [NEVER; LANES]);
            for way in ways {
                // A row lies within the table, its margin and the row after it, whatever the change of pace.
                let (Some(source), Some(price)) = (
                    part::<{ BINS + LANES }>(table, way.source + low),
                    part::<LANES>(prices, way.price + low),
                ) else {
                    continue;
                };
                raise(&mut two, &source[..LANES], price, way.gains[0]);
                raise(&mut three, &source[BINS..], price, way.gains[1]);
            }
            keep(&mut row[low..], &two);
            keep(&mut row[BINS + low..], &three);
        }
    }
}

/// `N` entries from one on: looked up at once, so that nothing is asked twice.
#[inline(always)]
fn part<const N: usize>(all: &[f32], at: usize) -> Option<&[f32; N]> {
    all.get(at..)?.first_chunk()
}

#[inline(always)]
fn raise(best: &mut [f32; LANES], source: &[f32], price: &[f32; LANES], gain: f32) {
    for lane in 0..LANES {
        best[lane] = larger(source[lane] - price[lane] + gain, best[lane]);
    }
}

#[inline(always)]
fn keep(row: &mut [f32], best: &[f32; LANES]) {
    for (to, from) in row.iter_mut().zip(best) {
        *to = *from;
    }
}
