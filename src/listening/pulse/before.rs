//! What an earlier search left: up to the first step at which anything else is asked of it, a new one finds the same.

use super::arrivals::MARGIN;
use super::constraints::Constraints;
use super::scores::Scores;
use super::search::{NEVER, ROW};
use super::settings::Settings;

/// The table of an earlier search of the same evidence, with what it obeyed. An empty one helps nobody.
#[derive(Debug, Clone, Default)]
pub(crate) struct Searched {
    settings: Settings,
    constraints: Option<Constraints>,
    beat: Vec<f32>,
    sub: Vec<f32>,
    /// After their margin, packed where that pays.
    rows: Vec<f32>,
    best: Vec<f32>,
}

impl Searched {
    /// Takes out the rows after their margin, and the best score of each step, as far as they hold under other settings,
    /// constraints and odds.
    pub(crate) fn take(
        &mut self,
        settings: &Settings,
        constraints: &Constraints,
        scores: &Scores,
    ) -> (Vec<f32>, Vec<f32>) {
        let (mut rows, mut best) = (std::mem::take(&mut self.rows), std::mem::take(&mut self.best));
        let known = match &self.constraints {
            Some(before) if self.settings == *settings => alike(before, constraints)
                .min(same(&self.beat, &scores.beat))
                .min(same(&self.sub, &scores.sub))
                .min(best.len()),
            _ => 0,
        };
        let packed = rows.len() < MARGIN + best.len() * ROW;
        best.truncate(known);
        if packed {
            unpack(&mut rows, &best);
        }
        rows.resize(MARGIN + known * ROW, NEVER);
        (rows, best)
    }

    /// Keeps what was found for the next search.
    pub(crate) fn keep(
        &mut self,
        settings: &Settings,
        constraints: &Constraints,
        scores: &Scores,
        mut rows: Vec<f32>,
        best: Vec<f32>,
    ) {
        pack(&mut rows, &best);
        (self.rows, self.best) = (rows, best);
        self.settings = settings.clone();
        self.constraints = Some(constraints.clone());
        self.beat.clone_from(&scores.beat);
        self.sub.clone_from(&scores.sub);
    }
}

/// Leaves out the rows of steps that no beat can be on, which say nothing but that, where most of them are such: few others
/// remain of a search that keeps near what was laid out, while moving those of any other would cost more than it spares.
fn pack(rows: &mut Vec<f32>, best: &[f32]) {
    if 2 * possible(best).count() > best.len() {
        return;
    }
    let mut end = MARGIN;
    for step in possible(best) {
        let row = MARGIN + step * ROW;
        rows.copy_within(row..row + ROW, end);
        end += ROW;
    }
    rows.truncate(end);
    rows.shrink_to_fit();
}

/// Puts the rows back that [`pack`] left out, as far as `best` reaches.
fn unpack(rows: &mut Vec<f32>, best: &[f32]) {
    let mut end = MARGIN + ROW * possible(best).count();
    rows.truncate(end);
    rows.resize(MARGIN + best.len() * ROW, NEVER);
    // From the end, so that none is written over before it is moved.
    for step in (0..best.len()).rev() {
        let row = MARGIN + step * ROW;
        if best[step] > NEVER {
            end -= ROW;
            rows.copy_within(end..end + ROW, row);
        } else {
            rows[row..row + ROW].fill(NEVER);
        }
    }
}

/// The steps that a beat can be on, by the best score of one on each.
fn possible(best: &[f32]) -> impl DoubleEndedIterator<Item = usize> {
    best.iter().enumerate().filter(|(_, best)| **best > NEVER).map(|(step, _)| step)
}

/// How many entries are the same from the start.
fn same<T: PartialEq>(a: &[T], b: &[T]) -> usize {
    a.iter().zip(b).take_while(|(a, b)| a == b).count()
}

/// The first step that depends on where two constraints differ. Where a path may end bears on no step's score.
fn alike(a: &Constraints, b: &Constraints) -> usize {
    if a.told != b.told {
        return 0;
    }
    let edge = |x: usize, y: usize| if x == y { usize::MAX } else { x.min(y) };
    // A hold bears on the step at which it ends, and on nothing before it.
    let holds = |one: &Constraints, other: &Constraints| {
        let only = one.holds.iter().filter(|hold| !other.holds.contains(hold));
        only.map(|&(_, to)| to).min().unwrap_or(usize::MAX)
    };
    [
        same(&a.allowed, &b.allowed),
        same(&a.earliest, &b.earliest),
        same(&a.bins, &b.bins),
        same(&a.level, &b.level),
        same(&a.level_price, &b.level_price),
        same(&a.loose, &b.loose),
        edge(a.begin.start, b.begin.start),
        edge(a.begin.end, b.begin.end),
        holds(a, b),
        holds(b, a),
    ]
    .into_iter()
    .min()
    .unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_packed_is_unpacked_as_far_as_it_is_wanted() {
        let best = [NEVER, 1.0, NEVER, NEVER, 2.0, NEVER, 3.0, NEVER];
        let row = |best: &f32| vec![*best; ROW];
        let rows: Vec<f32> = vec![NEVER; MARGIN].into_iter().chain(best.iter().flat_map(row)).collect();
        let mut packed = rows.clone();
        pack(&mut packed, &best);
        assert_eq!(packed.len(), MARGIN + 3 * ROW);
        for known in 0..=best.len() {
            let mut again = packed.clone();
            unpack(&mut again, &best[..known]);
            assert!(again == rows[..MARGIN + known * ROW], "{known}");
        }
        let mut dense = vec![1.0; MARGIN + 3 * ROW];
        pack(&mut dense, &[1.0, NEVER, 1.0]);
        assert_eq!(dense.len(), MARGIN + 3 * ROW);
    }
}
