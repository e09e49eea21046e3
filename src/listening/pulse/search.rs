//! The search for the beats: the best path through beats, tempo and subdivision, given odds and constraints.
//!
//! A semi-Markov Viterbi search. A state is a beat on a step (20 ms) at a tempo and with a persistent subdivision in
//! two or three. The tempo is a state apart from the interval that was played: single beats may come early or late,
//! while the tempo drifts slowly or, for a price, jumps. A beat where nothing is heard costs, so that neither the
//! double nor the half of the tempo is free.

use super::arrivals::{self, BATCH, Lookup, MARGIN, Ways};
use super::before::Searched;
use super::constraints::Constraints;
use super::leaving::{DRIFT, FORCED, JUMP, Leaving, drifts, larger};
use super::prices::{Intervals, Levels};
use super::scores::Scores;
use super::settings::Settings;
use pulp::{Arch, NullaryFnOnce};
use std::ops::Range;

#[cfg(test)]
mod tests;

/// Frames (10 ms) in a step.
pub(crate) const STEP: usize = 2;
/// Steps a second.
pub(crate) const STEPS_PER_SECOND: f32 = 50.0;
/// Tempo bins an octave: 2 % apart.
pub(crate) const BINS_PER_OCTAVE: f32 = 36.0;
/// The shortest beat: 250 BPM.
const SHORTEST: f32 = 12.0;
/// How many tempo bins there are: down to 34 BPM. Whole lanes of them.
pub(crate) const BINS: usize = 104;
/// All of them, one bit each.
pub(crate) const ANY_TEMPO: u128 = (1 << BINS) - 1;
/// Both subdivisions, side by side.
pub(crate) const ROW: usize = 2 * BINS;
/// How much more leaving out sound costs where the teacher has said what she hears.
const TOLD: f32 = 20.0;
/// What cannot be.
pub(crate) const NEVER: f32 = -1e9;
/// Rows searched at once (5 minutes 28) and how much of it is looked at again with what follows: bounds memory.
const WINDOW: usize = 16_384;
const OVERLAP: usize = 1_500;
/// A path that goes on ends, for now, within so many steps of the cut: more than the longest beat.
const TAIL: usize = 110;

/// One beat of a path.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Step {
    /// On which step.
    pub(crate) at: usize,
    /// Tempo bin.
    pub(crate) bin: usize,
    /// Whether it divides in three.
    pub(crate) ternary: bool,
}

/// Beat length of a tempo bin, in steps.
pub(crate) fn period(bin: usize) -> f32 {
    SHORTEST * (bin as f32 / BINS_PER_OCTAVE).exp2()
}

/// The bin nearest to a beat length in steps.
pub(crate) fn bin_of(period: f32) -> usize {
    ((period / SHORTEST).log2() * BINS_PER_OCTAVE).round().clamp(0.0, (BINS - 1) as f32) as usize
}

/// The bits of the bins within `room` of a bin, which may itself lie outside the range.
pub(crate) fn bins_near(bin: isize, room: usize) -> u128 {
    let room = room as isize;
    let (low, high) = ((bin - room).max(0), (bin + room).min(BINS as isize - 1));
    if low > high { 0 } else { ((1u128 << (high - low + 1)) - 1) << low }
}

/// The search, with its tables.
pub(crate) struct Search<'a> {
    settings: &'a Settings,
    scores: &'a Scores,
    constraints: &'a Constraints,
    intervals: Intervals,
    levels: Levels,
    leaving: Leaving<'a>,
    left_out: f32,
    /// What a subdivision on each step is worth.
    sub: Vec<f32>,
}

impl<'a> Search<'a> {
    pub(crate) fn new(settings: &'a Settings, scores: &'a Scores, constraints: &'a Constraints) -> Self {
        let left_out = settings.left_out * if constraints.told { TOLD } else { 1.0 };
        let intervals = Intervals::new(settings);
        let levels = Levels::new(settings, constraints);
        let leaving = Leaving::new(settings, scores);
        let sub = scores.sub.iter().map(|sub| sub.max(settings.sub_least)).collect();
        Self { settings, scores, constraints, intervals, levels, leaving, left_out, sub }
    }

    /// The best path; empty when there are too few steps for one beat or nothing is allowed. What an earlier search left
    /// spares work and changes nothing; this one leaves the same for the next.
    pub(crate) fn run(&self, before: &mut Searched) -> Vec<Step> {
        let steps = self.scores.beat.len();
        let mut path: Vec<Step> = Vec::new();
        loop {
            let origin = path.last().map_or(0, |step| step.at);
            let until = if steps - origin > WINDOW + OVERLAP { self.cut(origin + WINDOW) } else { steps };
            let start = path.pop();
            // Later windows begin where the path of the one before is, so only the first is ever the same.
            let (mut rows, mut best) = match start {
                None => before.take(self.settings, self.constraints, self.scores),
                Some(_) => (vec![NEVER; MARGIN], Vec::new()),
            };
            rows.truncate(MARGIN + (until - origin) * ROW);
            best.truncate(until - origin);
            rows.reserve_exact(MARGIN + (until - origin) * ROW - rows.len());
            let mut table = Table { origin, rows, best, start, end: None };
            let last = until == steps;
            let tail = if last { self.constraints.end_from.max(origin) } else { until.saturating_sub(TAIL) };
            let known = table.best.len();
            Arch::new().dispatch(Filling { search: self, table: &mut table, steps: origin + known..until });
            self.end(&mut table, tail..until, last);
            let mut found = self.trace(&table);
            if table.start.is_none() {
                before.keep(self.settings, self.constraints, self.scores, table.rows, table.best);
            }
            if !last {
                // What lies close to the cut is decided with what follows; so is at least the beat that is begun from.
                let keep = found.partition_point(|step| step.at + OVERLAP < until);
                if keep >= 2 {
                    found.truncate(keep);
                } else if found.len() < 2 {
                    return path;
                }
            }
            path.extend(found);
            if last {
                return path;
            }
        }
    }

    /// A place to cut near `at` where no beat is held.
    fn cut(&self, at: usize) -> usize {
        let holds = self.constraints.holds.iter();
        // Ascending, so that a hold right after another is seen too.
        let cut = holds.fold(
            at,
            |cut, &(from, to)| {
                if from < cut && cut < to + 2 * TAIL { to + 2 * TAIL } else { cut }
            },
        );
        cut.min(self.scores.beat.len())
    }

    /// From which step a beat is held until `t`.
    fn held_from(&self, t: usize) -> Option<usize> {
        let holds = &self.constraints.holds;
        let (from, _) = holds[holds.binary_search_by_key(&t, |&(_, to)| to).ok()?];
        Some(from)
    }

    #[inline(always)]
    fn fill(&self, table: &mut Table, steps: Range<usize>) {
        let mut rows = [[NEVER; ROW]; BATCH];
        let mut ways: [Ways; BATCH] = Default::default();
        for first in steps.clone().step_by(BATCH) {
            let batch = first..(first + BATCH).min(steps.end);
            let rows = &mut rows[..batch.len()];
            self.arrive(table, batch.clone(), &mut ways[..batch.len()], rows);
            for (t, row) in batch.zip(rows) {
                let best = largest(row);
                table.best.push(best);
                self.leaving.leave(t, row, best, self.constraints.loose[t], &mut table.rows);
            }
        }
    }

    /// The scores of a beat at one step.
    fn arrive_at(&self, table: &Table, t: usize) -> [f32; ROW] {
        let mut row = [[NEVER; ROW]];
        self.arrive(table, t..t + 1, &mut [Ways::default()], &mut row);
        let [row] = row;
        row
    }

    /// Finds where the best path ends, among these steps.
    fn end(&self, table: &mut Table, steps: Range<usize>, last: bool) {
        let mut highest = (0.5 * NEVER, None);
        for t in steps {
            let price = if last { self.ending(t) } else { 0.0 };
            let best = table.best[t - table.origin] - price;
            if best > highest.0 {
                highest = (best, Some(t));
            }
        }
        let Some(t) = highest.1 else { return };
        let row = self.arrive_at(table, t);
        let best = table.best[t - table.origin];
        table.end = row.iter().position(|score| *score == best).map(|state| (t, state));
    }

    /// Best scores of a beat at each of some steps, in every state; `ways` is room to work in.
    #[inline(always)]
    fn arrive(&self, table: &Table, steps: Range<usize>, ways: &mut [Ways], rows: &mut [[f32; ROW]]) {
        let lookup = Lookup {
            intervals: &self.intervals,
            slowing: &self.scores.slowing,
            sub: &self.sub,
            origin: table.origin,
            best: &table.best,
        };
        for ((t, ways), row) in steps.clone().zip(ways.iter_mut()).zip(rows.iter_mut()) {
            row.fill(NEVER);
            let bins = self.constraints.bins[t];
            if !self.reached(table, t) || self.held_since(table, t).is_some() {
                ways.clear();
            } else {
                let earliest = (self.constraints.earliest[t] as usize).max(table.origin);
                let bounds = (bins.trailing_zeros() as usize, bins.ilog2() as usize);
                ways.find(&lookup, t, earliest, bounds);
            }
        }
        arrivals::arrive(&self.intervals, &table.rows, ways, rows);
        for (t, row) in steps.zip(rows) {
            if let Some(start) = table.start.filter(|start| start.at == t) {
                row[usize::from(start.ternary) * BINS + start.bin] = 0.0;
            } else if self.reached(table, t) {
                match self.held_since(table, t) {
                    Some(from) => self.resume(table, from, t, row),
                    None => self.judge(table, t, row),
                }
            }
        }
    }

    /// Whether a beat may be at step `t` that comes from another.
    fn reached(&self, table: &Table, t: usize) -> bool {
        let start = table.start.is_some_and(|start| start.at == t);
        !start && self.constraints.allowed[t] && self.constraints.bins[t] != 0
    }

    /// From which step in the table a beat is held until `t`.
    fn held_since(&self, table: &Table, t: usize) -> Option<usize> {
        self.held_from(t).filter(|from| *from >= table.origin)
    }

    /// Adds to the scores that lead to step `t` what speaks for a beat there.
    #[inline(always)]
    fn judge(&self, table: &Table, t: usize, row: &mut [f32; ROW]) {
        if let Some(begin) = self.beginning(table, t) {
            row.iter_mut().for_each(|score| *score = larger(*score, begin));
        }
        let here = self.scores.beat[t];
        let prices = self.levels.at(t);
        let times = self.constraints.level_price[t];
        for half in row.chunks_exact_mut(BINS) {
            half.iter_mut().for_each(|score| *score += here);
            forbid(half, self.constraints.bins[t]);
            if let Some(prices) = prices {
                half.iter_mut().zip(prices).for_each(|(score, price)| *score -= times * price);
            }
        }
    }

    /// Scores of the beat at `t` that ends a hold: the music goes on as it was.
    fn resume(&self, table: &Table, from: usize, t: usize, row: &mut [f32; ROW]) {
        let slowing = isize::from(self.scores.slowing[t]) - isize::from(self.scores.slowing[from]);
        for (half, source) in row.chunks_exact_mut(BINS).zip(table.row(from).chunks_exact(BINS)) {
            for (bin, score) in half.iter_mut().enumerate() {
                let before = bin.checked_add_signed(-slowing).and_then(|bin| source.get(bin));
                *score = before.map_or(NEVER, |before| larger(before + self.scores.beat[t], NEVER));
            }
        }
    }

    /// What a path that begins at `t` starts with, if one may.
    fn beginning(&self, table: &Table, t: usize) -> Option<f32> {
        if table.start.is_some() || !self.constraints.begin.contains(&t) {
            return None;
        }
        let heard = self.scores.sounding.start;
        // Beats before the first sound are nobody's; the first may come up to a beat late at no price.
        let late = t.abs_diff(heard) as f32 / STEPS_PER_SECOND;
        Some(-self.left_out * late)
    }

    /// Follows the best path back from its end.
    fn trace(&self, table: &Table) -> Vec<Step> {
        let Some((mut t, mut state)) = table.end else { return table.start.into_iter().collect() };
        let mut path = Vec::new();
        loop {
            let (ternary, bin) = (state >= BINS, state % BINS);
            path.push(Step { at: t, bin, ternary });
            if table.start.is_some_and(|start| start.at == t) {
                break;
            }
            let Some((from, bin)) = self.before(table, t, ternary, bin) else { break };
            state = self.source(from, &self.arrive_at(table, from), ternary, bin);
            t = from;
        }
        path.reverse();
        path
    }

    /// The step, and the bin it was left towards, from which the best path to this state came; `None` where it begins.
    fn before(&self, table: &Table, t: usize, ternary: bool, bin: usize) -> Option<(usize, usize)> {
        if let Some(from) = self.held_since(table, t) {
            let slowing = isize::from(self.scores.slowing[t]) - isize::from(self.scores.slowing[from]);
            return bin.checked_add_signed(-slowing).filter(|bin| *bin < BINS).map(|bin| (from, bin));
        }
        let earliest = (self.constraints.earliest[t] as usize).max(table.origin);
        let mut best = (self.beginning(table, t).unwrap_or(NEVER), None);
        for (n, parts) in self.intervals.parts.iter().enumerate() {
            let length = self.intervals.shortest + n;
            if length > t || t - length < earliest {
                break;
            }
            let from = t - length;
            let slowing = isize::from(self.scores.slowing[t]) - isize::from(self.scores.slowing[from]);
            let Some(bin) = bin.checked_add_signed(-slowing) else { continue };
            let Some(price) = self.intervals.price(n, bin) else { continue };
            let [two, three] = parts.gains(&self.sub[from..]);
            let (state, gain) = if ternary { (BINS + bin, three) } else { (bin, two) };
            let score = table.row(from)[state] - price + gain;
            if score > best.0 {
                best = (score, Some((from, bin)));
            }
        }
        best.1
    }

    /// The state at step `t` from which leaving towards (`ternary`, `bin`) scores best.
    fn source(&self, t: usize, row: &[f32; ROW], ternary: bool, bin: usize) -> usize {
        let best = row.iter().copied().fold(NEVER, f32::max);
        let mut found = (NEVER, usize::from(ternary) * BINS + bin);
        for (state, &score) in row.iter().enumerate().filter(|(_, score)| **score > best - 10.0 * FORCED) {
            let from = Step { at: t, bin: state % BINS, ternary: state >= BINS };
            let score = score - self.change(from, bin, ternary);
            if score > found.0 {
                found = (score, state);
            }
        }
        found.1
    }

    /// Price of leaving a beat towards another tempo or subdivision.
    fn change(&self, from: Step, bin: usize, ternary: bool) -> f32 {
        let far = from.bin.abs_diff(bin);
        let mut price = if far <= DRIFT { drifts(self.settings)[far] } else { f32::INFINITY };
        if far <= JUMP {
            price = price.min(self.scores.jump[from.at]);
        }
        let bins = bin as i16 - from.bin as i16;
        for heard in self.scores.heard_jumps.iter().filter(|heard| heard.steps.contains(&from.at)) {
            if bins.abs_diff(heard.bins) <= 1 {
                price = price.min(heard.price);
            }
        }
        if from.ternary != ternary {
            price += self.settings.resubdivide;
        }
        if self.constraints.loose[from.at] { price.min(FORCED) } else { price }
    }

    /// Price of ending at step `t`.
    fn ending(&self, t: usize) -> f32 {
        let left = self.scores.sounding.end.saturating_sub(t) as f32 / STEPS_PER_SECOND;
        self.left_out * (left - 1.0).max(0.0)
    }
}

/// Filling in the table at some steps, with the widest vectors that the machine has.
///
/// A type of its own, for the compiler makes a function of its own of a closure this large, which then has to do with the
/// vectors that every machine has.
struct Filling<'s, 'a> {
    search: &'s Search<'a>,
    table: &'s mut Table,
    steps: Range<usize>,
}

impl NullaryFnOnce for Filling<'_, '_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        self.search.fill(self.table, self.steps);
    }
}

/// Scores for leaving each step since `origin`.
struct Table {
    origin: usize,
    /// `ROW` each, after a margin.
    rows: Vec<f32>,
    /// The best score of a beat at each step since `origin`.
    best: Vec<f32>,
    /// The beat that the path must go on from.
    start: Option<Step>,
    /// Step and state of the best end.
    end: Option<(usize, usize)>,
}

impl Table {
    /// Scores for leaving step `t`.
    fn row(&self, t: usize) -> &[f32] {
        &self.rows[MARGIN + (t - self.origin) * ROW..][..ROW]
    }
}

/// Forbids all tempi but those of `bins`.
#[inline(always)]
fn forbid(half: &mut [f32], bins: u128) {
    let mut bin = 0;
    while bin < BINS {
        let rest = bins >> bin;
        let end = (bin + rest.trailing_zeros() as usize).min(BINS);
        half[bin..end].fill(NEVER);
        bin = end + (rest >> (end - bin).min(127)).trailing_ones() as usize;
    }
}

/// The best score of a row.
#[inline(always)]
fn largest(row: &[f32; ROW]) -> f32 {
    let mut best = [NEVER; 16];
    for part in row.chunks_exact(16) {
        best.iter_mut().zip(part).for_each(|(best, score)| *best = larger(*best, *score));
    }
    best.into_iter().fold(NEVER, larger)
}
