//! What an earlier search left: up to the first step at which anything else is asked of it, a new one finds the same.

use super::arrivals::MARGIN;
use super::constraints::Constraints;
use super::scores::Scores;
use super::search::{NEVER, ROW};

/// The table of an earlier search of the same evidence, with what it obeyed. An empty one helps nobody.
#[derive(Debug, Clone, Default)]
pub(crate) struct Searched {
    constraints: Option<Constraints>,
    beat: Vec<f32>,
    sub: Vec<f32>,
    rows: Vec<f32>,
    best: Vec<f32>,
}

impl Searched {
    /// Takes out the rows after their margin, and the best score of each step, as far as they hold under other constraints
    /// and odds.
    pub(crate) fn take(&mut self, constraints: &Constraints, scores: &Scores) -> (Vec<f32>, Vec<f32>) {
        let (mut rows, mut best) = (std::mem::take(&mut self.rows), std::mem::take(&mut self.best));
        let known = match &self.constraints {
            Some(before) => alike(before, constraints)
                .min(same(&self.beat, &scores.beat))
                .min(same(&self.sub, &scores.sub))
                .min(best.len()),
            None => 0,
        };
        rows.truncate(MARGIN + known * ROW);
        rows.resize(MARGIN + known * ROW, NEVER);
        best.truncate(known);
        (rows, best)
    }

    /// Keeps what was found for the next search.
    pub(crate) fn keep(
        &mut self,
        constraints: &Constraints,
        scores: &Scores,
        rows: Vec<f32>,
        best: Vec<f32>,
    ) {
        (self.rows, self.best) = (rows, best);
        self.constraints = Some(constraints.clone());
        self.beat.clone_from(&scores.beat);
        self.sub.clone_from(&scores.sub);
    }
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
