//! The search against its own definition: every score of every state, worked out one by one from all it may come from.

use super::*;
use crate::listening::pulse::scores::{Either, HeardJump};

/// A linear congruential generator (Numerical Recipes).
struct Chance(u32);

impl Chance {
    fn below(&mut self, n: usize) -> usize {
        self.0 = self.0.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (self.0 >> 8) as usize % n
    }

    fn between(&mut self, low: f32, high: f32) -> f32 {
        low + (high - low) * self.below(10_000) as f32 / 10_000.0
    }

    fn once_in(&mut self, n: usize) -> bool {
        self.below(n) == 0
    }
}

/// Odds of anything, with paces and jumps that no music has.
fn any_scores(steps: usize, chance: &mut Chance) -> Scores {
    let mut curve = |low: f32, high: f32| -> Vec<f32> {
        (0..steps).map(|_| chance.between(low, high).max(-1.75)).collect()
    };
    let (beat, sub, jump) = (curve(-4.0, 1.75), curve(-0.6, 0.3), curve(4.0, 35.0));
    let mut slowed = 0i16;
    let slowing = (0..steps)
        .map(|_| {
            slowed += match chance.below(200) {
                0..=9 => 1,
                10..=19 => -1,
                20 => 40,
                21 => -40,
                22 => 130,
                23 => -130,
                _ => 0,
            };
            slowed
        })
        .collect();
    let heard_jumps = (0..4)
        .map(|_| {
            let from = chance.below(steps - 60);
            let bins = chance.below(60) as i16 - 30;
            HeardJump { steps: from..from + 60, bins, price: chance.between(1.0, 20.0), clear: true }
        })
        .collect();
    Scores {
        beat,
        sub,
        either: Either::default(),
        jump,
        sounding: 7..steps - 9,
        slowing,
        steadiness: vec![0.0; steps],
        heard_jumps,
    }
}

/// Anything that may be asked.
fn any_constraints(steps: usize, chance: &mut Chance) -> Constraints {
    let mut asked = Constraints::none(steps);
    asked.told = chance.once_in(2);
    asked.begin = chance.below(4)..chance.below(steps);
    let mut level = ANY_TEMPO;
    for t in 0..steps {
        asked.allowed[t] = t % 2 == 0 || chance.once_in(3);
        asked.loose[t] = chance.once_in(20);
        if chance.once_in(40) {
            level = bins_near(chance.below(BINS) as isize, 10) | bins_near(chance.below(BINS) as isize, 10);
        }
        asked.level[t] = if chance.once_in(9) { ANY_TEMPO } else { level };
        asked.level_price[t] = chance.between(1.0, 4.0);
        asked.bins[t] = match chance.below(12) {
            0 => bins_near(chance.below(BINS) as isize, 9),
            1 => bins_near(chance.below(BINS) as isize, 2) | bins_near(chance.below(BINS) as isize, 30),
            2 if chance.once_in(10) => 0,
            _ => ANY_TEMPO,
        };
    }
    let needed = chance.below(steps);
    asked.earliest[needed..].fill(needed.saturating_sub(30) as u32);
    let (from, to) = (needed / 2, needed / 2 + 1 + chance.below(200.min(steps - needed / 2 - 1)));
    asked.allowed[from + 1..to].fill(false);
    (asked.allowed[from], asked.allowed[to]) = (true, true);
    asked.holds.push((from, to));
    asked
}

/// What it costs to leave step `t` from a tempo towards another.
fn change(search: &Search<'_>, t: usize, from: usize, to: usize) -> f32 {
    let far = from.abs_diff(to);
    let drift = drifts(search.settings).get(far).copied().unwrap_or(f32::INFINITY);
    let jump = if far <= JUMP { search.scores.jump[t] } else { f32::INFINITY };
    let heard = search.scores.heard_jumps.iter().filter(|heard| {
        heard.steps.contains(&t) && (to as isize - from as isize).abs_diff(isize::from(heard.bins)) <= 1
    });
    heard.map(|heard| heard.price).fold(drift.min(jump), f32::min)
}

/// Scores of a beat at a step in every state, from the scores for leaving every step before.
fn arrived(search: &Search<'_>, table: &Table, left: &[[f32; ROW]], t: usize) -> [f32; ROW] {
    let mut row = [NEVER; ROW];
    let Constraints { allowed, bins, earliest, holds, level_price, .. } = search.constraints;
    if let Some(start) = table.start.filter(|start| start.at == t) {
        row[usize::from(start.ternary) * BINS + start.bin] = 0.0;
        return row;
    }
    if !allowed[t] || bins[t] == 0 {
        return row;
    }
    let held = holds.iter().find(|(from, to)| *to == t && *from >= table.origin).map(|hold| hold.0);
    for from in (earliest[t] as usize).max(table.origin)..t {
        let slower = isize::from(search.scores.slowing[t]) - isize::from(search.scores.slowing[from]);
        for (state, &leaving) in left[from - table.origin].iter().enumerate() {
            let Some(to) = (state % BINS).checked_add_signed(slower).filter(|to| *to < BINS) else {
                continue;
            };
            let score = match (held, (t - from).checked_sub(search.intervals.shortest)) {
                (None, Some(n)) if n < search.intervals.parts.len() => {
                    let Some(price) = search.intervals.price(n, state % BINS) else { continue };
                    let half = (t - from) / 2;
                    let sub = |at: usize| search.scores.sub[from + at].max(search.settings.sub_least);
                    let odd = (t - from) % 2;
                    let gain = if state < BINS {
                        sub(half).max(sub(half + odd))
                    } else {
                        sub((t - from + 1) / 3) + sub((2 * (t - from) + 1) / 3)
                    };
                    leaving - price + gain
                }
                _ => continue,
            };
            let at = state / BINS * BINS + to;
            row[at] = row[at].max(score);
        }
    }
    if let Some(from) = held {
        let slower = isize::from(search.scores.slowing[t]) - isize::from(search.scores.slowing[from]);
        for state in 0..ROW {
            if let Some(to) = (state % BINS).checked_add_signed(slower).filter(|to| *to < BINS) {
                row[state / BINS * BINS + to] =
                    (left[from - table.origin][state] + search.scores.beat[t]).max(NEVER);
            }
        }
        return row;
    }
    let begin = search.beginning(table, t).unwrap_or(NEVER);
    for (state, score) in row.iter_mut().enumerate() {
        *score = score.max(begin) + search.scores.beat[t];
        if bins[t] >> (state % BINS) & 1 == 0 {
            *score = NEVER;
        }
        if let Some(prices) = search.levels.at(t) {
            *score -= level_price[t] * prices[state % BINS];
        }
    }
    row
}

/// Scores for leaving a step towards every state.
fn left(search: &Search<'_>, t: usize, row: &[f32; ROW]) -> [f32; ROW] {
    let best = row.iter().copied().fold(NEVER, f32::max);
    if best <= NEVER {
        return [NEVER; ROW];
    }
    let towards = |half: usize, to: usize| {
        let from = (0..BINS).map(|from| row[half * BINS + from] - change(search, t, from, to));
        from.fold(NEVER, f32::max)
    };
    std::array::from_fn(|state| {
        let (half, to) = (state / BINS, state % BINS);
        let score = towards(half, to).max(towards(1 - half, to) - search.settings.resubdivide);
        if search.constraints.loose[t] { score.max(best - FORCED) } else { score }
    })
}

#[test]
fn every_score_is_the_best_of_all_it_may_come_from() {
    const STEPS: usize = 420;
    let settings = Settings::default();
    let mut reached = 0;
    for seed in 0..8 {
        let mut chance = Chance(seed);
        let (scores, constraints) = (any_scores(STEPS, &mut chance), any_constraints(STEPS, &mut chance));
        let search = Search::new(&settings, &scores, &constraints);
        // The whole, and what goes on from a beat.
        let going_on = Step { at: 45, bin: chance.below(BINS), ternary: chance.once_in(2) };
        for start in [None, Some(going_on)] {
            let origin = start.map_or(0, |start| start.at);
            let mut table = Table { origin, rows: vec![NEVER; MARGIN], best: Vec::new(), start, end: None };
            Arch::new().dispatch(Filling { search: &search, table: &mut table, steps: origin..STEPS });
            let mut all: Vec<[f32; ROW]> = Vec::new();
            for t in origin..STEPS {
                let row = arrived(&search, &table, &all, t);
                assert_eq!(search.arrive_at(&table, t), row, "seed {seed}, step {t}");
                assert_eq!(table.best[t - origin], row.iter().copied().fold(NEVER, f32::max));
                let leaving = left(&search, t, &row);
                assert_eq!(table.row(t), leaving, "seed {seed}, step {t}");
                reached += usize::from(row.iter().any(|score| *score > 0.5 * NEVER));
                all.push(leaving);
            }
        }
    }
    assert!(reached > 1_000, "hardly any step was reached: {reached}");
}
