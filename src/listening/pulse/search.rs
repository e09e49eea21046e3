//! The search for the beats: the best path through beats, tempo and subdivision, given odds and constraints.
//!
//! A semi-Markov Viterbi search. A state is a beat on a step (20 ms) at a tempo and with a persistent subdivision in
//! two or three. The tempo is a state apart from the interval that was played: single beats may come early or late,
//! while the tempo drifts slowly or, for a price, jumps. A beat where nothing is heard costs, so that neither the
//! double nor the half of the tempo is free.

use super::before::Searched;
use super::prices::{Interval, LANES, Levels, intervals};
use super::settings::Settings;
use pulp::Arch;
use std::ops::Range;

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
/// Drift of tempo between beats: at most so many bins.
const DRIFT: usize = 4;
/// Farthest jump: a ratio of 1.59, so that no jump changes the metrical level by an octave.
const JUMP: usize = 24;
/// Price of any change at all, where the teacher's own beats call for it.
const FORCED: f32 = 60.0;
/// How much more leaving out sound costs where the teacher has said what she hears.
const TOLD: f32 = 20.0;
/// What cannot be.
pub(crate) const NEVER: f32 = -1e9;
/// Rows searched at once (5 minutes 28) and how much of it is looked at again with what follows: bounds memory.
const WINDOW: usize = 16_384;
const OVERLAP: usize = 1_500;
/// A path that goes on ends, for now, within so many steps of the cut: more than the longest beat.
const TAIL: usize = 110;

/// Evidence in the form that the search reads: one value a step, in units of (tempered) log-odds.
#[derive(Debug, Clone, Default)]
pub(crate) struct Scores {
    /// For a beat.
    pub(crate) beat: Vec<f32>,
    /// For a subdivision.
    pub(crate) sub: Vec<f32>,
    /// For a beat and for a subdivision, where it has turned out that one was taken for the other.
    pub(crate) either: Either,
    /// Price of a jump of tempo.
    pub(crate) jump: Vec<f32>,
    /// First and last step with sound.
    pub(crate) sounding: Range<usize>,
    /// By how many tempo bins the music has slowed down since the beginning.
    pub(crate) slowing: Vec<i16>,
    /// How well one tempo, or a clear jump, explains the rhythm across each step, about 0 to 1.
    pub(crate) steadiness: Vec<f32>,
    /// Jumps of tempo that were heard: over which steps, by how many bins (slower is positive), at what price.
    pub(crate) heard_jumps: Vec<HeardJump>,
}

/// What there is for an event of the metre, be it a beat or a subdivision.
#[derive(Debug, Clone, Default)]
pub(crate) struct Either {
    /// In the units of [`Scores::beat`].
    pub(crate) beat: Vec<f32>,
    /// In the units of [`Scores::sub`].
    pub(crate) sub: Vec<f32>,
}

/// A jump of tempo that the search is offered.
#[derive(Debug, Clone)]
pub(crate) struct HeardJump {
    /// Where.
    pub(crate) steps: Range<usize>,
    /// By how many bins, slower being positive.
    pub(crate) bins: i16,
    /// Its price.
    pub(crate) price: f32,
    /// Whether it is heard clearly.
    pub(crate) clear: bool,
}

/// What the path must obey, one entry a step.
#[derive(Debug, Clone)]
pub(crate) struct Constraints {
    /// Whether a beat may be here.
    pub(crate) allowed: Vec<bool>,
    /// The earliest step at which the beat before one here may be: none may leap over a place that needs a beat.
    pub(crate) earliest: Vec<u32>,
    /// Whether a path may begin here (nothing before it needs a beat), and end here.
    pub(crate) begin: Range<usize>,
    /// From where on a path may end.
    pub(crate) end_from: usize,
    /// Tempo bins allowed here, one bit each.
    pub(crate) bins: Vec<u128>,
    /// Whether the teacher has said which level it is: then little is left out to escape.
    pub(crate) told: bool,
    /// Tempo bins of the level that was tapped, one bit each; others cost.
    pub(crate) level: Vec<u128>,
    /// How many times the usual price others cost.
    pub(crate) level_price: Vec<f32>,
    /// The tempo bin in which the taps count what is heard without them; empty, or `None`, where they do not say.
    pub(crate) counted: Vec<Option<isize>>,
    /// Whether any change of tempo may be bought here.
    pub(crate) loose: Vec<bool>,
    /// Beats that are held, however long: from which step until which, ascending.
    pub(crate) holds: Vec<(usize, usize)>,
}

impl Constraints {
    pub(crate) fn none(steps: usize) -> Self {
        Self {
            allowed: vec![true; steps],
            earliest: vec![0; steps],
            begin: 0..steps,
            end_from: 0,
            bins: vec![ANY_TEMPO; steps],
            told: false,
            level: vec![ANY_TEMPO; steps],
            level_price: vec![1.0; steps],
            counted: Vec::new(),
            loose: vec![false; steps],
            holds: Vec::new(),
        }
    }
}

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
    intervals: Vec<Interval>,
    first_interval: usize,
    levels: Levels,
    left_out: f32,
}

impl<'a> Search<'a> {
    pub(crate) fn new(settings: &'a Settings, scores: &'a Scores, constraints: &'a Constraints) -> Self {
        let left_out = settings.left_out * if constraints.told { TOLD } else { 1.0 };
        let (first_interval, intervals) = intervals(settings);
        let levels = Levels::new(settings, constraints);
        Self { settings, scores, constraints, left_out, intervals, first_interval, levels }
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
                None => before.take(self.constraints, self.scores),
                Some(_) => (Vec::new(), Vec::new()),
            };
            rows.truncate((until - origin) * ROW);
            best.truncate(until - origin);
            rows.reserve_exact((until - origin) * ROW - rows.len());
            let mut table = Table { origin, rows, best, start, end: None };
            // The same loops over the widest vectors that the machine has.
            let last = until == steps;
            let tail = if last { self.constraints.end_from.max(origin) } else { until.saturating_sub(TAIL) };
            let known = table.best.len();
            Arch::new().dispatch(|| self.fill(&mut table, origin + known..until));
            self.end(&mut table, tail..until, last);
            let mut found = self.trace(&table);
            if table.start.is_none() {
                before.keep(self.constraints, self.scores, table.rows, table.best);
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
        let mut row = [NEVER; ROW];
        for t in steps {
            self.arrive(table, t, &mut row);
            table.best.push(row.iter().copied().fold(NEVER, f32::max));
            self.leave(t, &row, &mut table.rows);
        }
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
        let mut row = [NEVER; ROW];
        self.arrive(table, t, &mut row);
        let best = table.best[t - table.origin];
        table.end = row.iter().position(|score| *score == best).map(|state| (t, state));
    }

    fn drift(&self, bins: usize) -> f32 {
        self.settings.drift * bins as f32
            + self.settings.drift_square * (bins.saturating_sub(1) as f32).powi(2)
    }

    /// Best scores of a beat at step `t` in every state.
    #[inline(always)]
    fn arrive(&self, table: &Table, t: usize, row: &mut [f32; ROW]) {
        row.fill(NEVER);
        if let Some(start) = table.start.filter(|start| start.at == t) {
            row[usize::from(start.ternary) * BINS + start.bin] = 0.0;
            return;
        }
        if !self.constraints.allowed[t] {
            return;
        }
        let earliest = (self.constraints.earliest[t] as usize).max(table.origin);
        let bins = self.constraints.bins[t];
        if bins == 0 {
            return;
        }
        let (low, high) = (bins.trailing_zeros() as usize, bins.ilog2() as usize);
        if let Some(from) = self.held_from(t).filter(|from| *from >= table.origin) {
            self.resume(table, from, t, row);
            return;
        }
        let (binary, ternary) = row.split_at_mut(BINS);
        // A margin for what the tempo may have changed by since the beat before.
        let shortest = self.intervals.partition_point(|interval| interval.bins.end + 8 <= low);
        for (n, interval) in self.intervals.iter().enumerate().skip(shortest) {
            if interval.bins.start > high + 8 {
                break;
            }
            let length = self.first_interval + n;
            if length > t || t - length < earliest {
                break;
            }
            let from = t - length;
            let (two, three) = self.subdivisions(from, length);
            let source = &table.rows[(from - table.origin) * ROW..][..ROW];
            // The tempo goes on as the music does: a bin left at `from` is another one here.
            let slowing = isize::from(self.scores.slowing[t]) - isize::from(self.scores.slowing[from]);
            let Some((bins, here)) = moved(&interval.bins, slowing) else { continue };
            let price = &interval.price[bins.start - interval.bins.start..];
            best_of(&mut binary[here.clone()], &source[bins.clone()], price, two);
            best_of(&mut ternary[here], &source[BINS..][bins], price, three);
        }
        if let Some(begin) = self.beginning(table, t) {
            row.iter_mut().for_each(|score| *score = score.max(begin));
        }
        let here = self.scores.beat[t];
        for half in row.chunks_exact_mut(BINS) {
            half.iter_mut().for_each(|score| *score += here);
            if bins != ANY_TEMPO {
                let never = half.iter_mut().enumerate().filter(|(bin, _)| bins >> bin & 1 == 0);
                never.for_each(|(_, score)| *score = NEVER);
            }
            if let Some(prices) = self.levels.at(t) {
                let times = self.constraints.level_price[t];
                half.iter_mut().zip(prices).for_each(|(score, price)| *score -= times * price);
            }
        }
    }

    /// Scores of the beat at `t` that ends a hold: the music goes on as it was.
    fn resume(&self, table: &Table, from: usize, t: usize, row: &mut [f32; ROW]) {
        let source = &table.rows[(from - table.origin) * ROW..][..ROW];
        let slowing = isize::from(self.scores.slowing[t]) - isize::from(self.scores.slowing[from]);
        let Some((bins, here)) = moved(&(0..BINS), slowing) else { return };
        for (half, source) in row.chunks_exact_mut(BINS).zip(source.chunks_exact(BINS)) {
            best_of(&mut half[here.clone()], &source[bins.clone()], &[0.0; BINS], self.scores.beat[t]);
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

    #[inline(always)]
    fn subdivisions(&self, from: usize, length: usize) -> (f32, f32) {
        let sub = |step: usize| self.scores.sub[step].max(self.settings.sub_least);
        let half = from + length / 2;
        let two = if length.is_multiple_of(2) { sub(half) } else { sub(half).max(sub(half + 1)) };
        let three = sub(from + (length + 1) / 3) + sub(from + (2 * length + 1) / 3);
        (two, three)
    }

    /// Appends the scores with which a beat at `t` can be left towards each tempo.
    #[inline(always)]
    fn leave(&self, t: usize, row: &[f32; ROW], rows: &mut Vec<f32>) {
        let from = rows.len();
        rows.extend_from_slice(row);
        let out = &mut rows[from..];
        let best = row.iter().copied().fold(NEVER, f32::max);
        if best <= NEVER {
            return;
        }
        let jump = self.scores.jump[t];
        for (half, out) in row.chunks_exact(BINS).zip(out.chunks_exact_mut(BINS)) {
            for d in 1..=DRIFT {
                let price = self.drift(d);
                for (o, s) in out[d..].iter_mut().zip(half) {
                    *o = o.max(*s - price);
                }
                for (o, s) in out.iter_mut().zip(&half[d..]) {
                    *o = o.max(*s - price);
                }
            }
            let widest = widened(half);
            for (o, s) in out.iter_mut().zip(&widest) {
                *o = o.max(*s - jump);
            }
            for heard in self.scores.heard_jumps.iter().filter(|heard| heard.steps.contains(&t)) {
                // One bin to either side, since the jump is not heard more finely.
                for bins in heard.bins - 1..=heard.bins + 1 {
                    if let Some((from, to)) = moved(&(0..BINS), isize::from(bins)) {
                        best_of(&mut out[to], &half[from], &[heard.price; BINS], 0.0);
                    }
                }
            }
        }
        let (two, three) = out.split_at_mut(BINS);
        for (a, b) in two.iter_mut().zip(three) {
            let (x, y) = (*a, *b);
            *a = x.max(y - self.settings.resubdivide);
            *b = y.max(x - self.settings.resubdivide);
        }
        if self.constraints.loose[t] {
            out.iter_mut().for_each(|o| *o = o.max(best - FORCED));
        }
    }

    /// Follows the best path back from its end.
    fn trace(&self, table: &Table) -> Vec<Step> {
        let Some((mut t, mut state)) = table.end else { return table.start.into_iter().collect() };
        let mut row = [NEVER; ROW];
        let mut path = Vec::new();
        loop {
            let (ternary, bin) = (state >= BINS, state % BINS);
            path.push(Step { at: t, bin, ternary });
            if table.start.is_some_and(|start| start.at == t) {
                break;
            }
            let Some((from, bin)) = self.before(table, t, ternary, bin) else { break };
            self.arrive(table, from, &mut row);
            state = self.source(from, &row, ternary, bin);
            t = from;
        }
        path.reverse();
        path
    }

    /// The step, and the bin it was left towards, from which the best path to this state came; `None` where it begins.
    fn before(&self, table: &Table, t: usize, ternary: bool, bin: usize) -> Option<(usize, usize)> {
        if let Some(from) = self.held_from(t).filter(|from| *from >= table.origin) {
            let slowing = isize::from(self.scores.slowing[t]) - isize::from(self.scores.slowing[from]);
            return bin.checked_add_signed(-slowing).filter(|bin| *bin < BINS).map(|bin| (from, bin));
        }
        let earliest = (self.constraints.earliest[t] as usize).max(table.origin);
        let mut best = (self.beginning(table, t).unwrap_or(NEVER), None);
        for (n, interval) in self.intervals.iter().enumerate() {
            let length = self.first_interval + n;
            if length > t || t - length < earliest {
                break;
            }
            let from = t - length;
            let slowing = isize::from(self.scores.slowing[t]) - isize::from(self.scores.slowing[from]);
            let Some(bin) = bin.checked_add_signed(-slowing) else { continue };
            if interval.bins.contains(&bin) {
                let (two, three) = self.subdivisions(from, length);
                let state = if ternary { BINS + bin } else { bin };
                let score = table.rows[(from - table.origin) * ROW + state]
                    - interval.price[bin - interval.bins.start]
                    + if ternary { three } else { two };
                if score > best.0 {
                    best = (score, Some((from, bin)));
                }
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
        let mut price = if far <= DRIFT { self.drift(far) } else { f32::INFINITY };
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

/// Scores for leaving each step since `origin`.
struct Table {
    origin: usize,
    rows: Vec<f32>,
    /// The best score of a beat at each step since `origin`.
    best: Vec<f32>,
    /// The beat that the path must go on from.
    start: Option<Step>,
    /// Step and state of the best end.
    end: Option<(usize, usize)>,
}

/// The part of `bins` that stays within the tempo range when it is moved by `by`, and where it then lies.
#[inline(always)]
fn moved(bins: &Range<usize>, by: isize) -> Option<(Range<usize>, Range<usize>)> {
    let low = bins.start.max(0usize.saturating_add_signed(-by));
    let high = bins.end.min(BINS.saturating_add_signed(-by));
    (low < high).then(|| (low..high, low.saturating_add_signed(by)..high.saturating_add_signed(by)))
}

/// Raises `out` to what comes from `source`, at a price each and with a gain for all; as many of each.
#[inline(always)]
fn best_of(out: &mut [f32], source: &[f32], price: &[f32], gain: f32) {
    let better = |o: &mut f32, s: f32, p: f32| {
        let score = s - p + gain;
        *o = if score > *o { score } else { *o };
    };
    let whole = out.len() / LANES * LANES;
    let lanes = out.chunks_exact_mut(LANES).zip(source.chunks_exact(LANES)).zip(price.chunks_exact(LANES));
    for ((out, source), price) in lanes {
        for lane in 0..LANES {
            better(&mut out[lane], source[lane], price[lane]);
        }
    }
    for ((o, s), p) in out[whole..].iter_mut().zip(&source[whole..]).zip(&price[whole..]) {
        better(o, *s, *p);
    }
}

/// The largest value within `JUMP` bins of each.
#[inline(always)]
fn widened(half: &[f32]) -> [f32; BINS] {
    let mut wide = [NEVER; BINS];
    wide.copy_from_slice(half);
    // Each pass widens the window by as much as it already reaches: 1, 2, 4, 8, then the rest.
    let mut reach = 0;
    for step in [1, 2, 4, 8, 9] {
        let before = wide;
        for (o, s) in wide[step..].iter_mut().zip(&before) {
            *o = o.max(*s);
        }
        for (o, s) in wide.iter_mut().zip(&before[step..]) {
            *o = o.max(*s);
        }
        reach += step;
    }
    debug_assert_eq!(reach, JUMP);
    wide
}
