//! Which moves can be done in a span at all, and which of them suits it best.

use super::choose::{Choice, Drafting, LAST_POSE, LISTEN};
use super::feel::miss;
use super::sides::both_sides;
use super::spans::Purpose;
use super::{LONGEST_JUMPING, LONGEST_RUNNING};
use crate::dance::reading::{count_words, reaction, time_needed};
use crate::dance::{Entry, Move, MoveId, Side, StepKind};
use crate::listening::{Articulation, TurnKind};
use crate::units::{Beat, Counts};

/// All the different moves that a class of an age can learn in one dance, freezes and the last pose included. Our
/// decision, the check's too.
pub(super) fn most_moves(age: u8) -> usize {
    match age {
        0..=6 => 6,
        7 | 8 => 8,
        9..=11 => 12,
        _ => 16,
    }
}

/// Counts in a row after which a move is varied, and after which another takes its place: half a dance tune of 64
/// counts, and all of it. Common practice, no source.
pub(super) const LONG: f64 = 32.0;
const TOO_LONG: f64 = 64.0;

/// How many different ones there are.
pub(super) fn distinct<'a>(ids: impl Iterator<Item = &'a MoveId>) -> usize {
    ids.collect::<std::collections::BTreeSet<_>>().len()
}

impl Drafting<'_> {
    /// The best move of the book for a span.
    pub(super) fn best(&self, index: usize) -> Move {
        let feel = &self.feels[index];
        let usual = |entry: &&Entry| entry.is_everyday() && self.can_rest_after(index, &entry.movement);
        let candidates: Vec<&Entry> = self.book.entries().iter().filter(usual).collect();
        let fitting = || candidates.iter().copied().filter(|entry| self.can_do(index, &entry.movement)).rev();
        // The first of equals in the book's order: `max_by_key` would give the last.
        let best = fitting()
            .filter(|entry| self.is_affordable(&entry.movement.id))
            .max_by_key(|entry| self.score(index, &entry.movement));
        // Rather one move more than one that cannot be done; rather a tempo beside the range than one far from it.
        let another = || fitting().max_by_key(|entry| self.score(index, &entry.movement));
        let nearest = || {
            let calm = candidates.iter().copied().filter(|entry| limit(entry.movement.step).is_none());
            let miss = |movement: &Move| {
                let long = self.goes_on_too_long(index, movement);
                let faults = [long, feel.contradicts(movement), self.reads_too_long(index, &movement.words)];
                (feel.tempo_miss(movement), faults.iter().filter(|&&fault| fault).count())
            };
            calm.min_by(|a, b| {
                let (a, b) = (miss(&a.movement), miss(&b.movement));
                a.0.total_cmp(&b.0).then(a.1.cmp(&b.1))
            })
        };
        best.or_else(another).or_else(nearest).map_or_else(|| self.freeze(), |entry| entry.movement.clone())
    }

    /// How well a move suits a span; higher is better. The weights are our judgement, the tests hold their consequences.
    fn score(&self, index: usize, movement: &Move) -> i32 {
        let (span, feel) = (&self.spans[index], &self.feels[index]);
        let mut score = -5 * i32::from(movement.energy.level().abs_diff(feel.energy));
        score += match (feel.articulation, movement.suits.contains(&feel.articulation)) {
            (Articulation::Unclear, suits) => i32::from(suits),
            (_, true) => 3,
            (_, false) if movement.suits.is_empty() => 1,
            (_, false) => -4,
        };
        // The best move for a returning phrase is one that can return with it.
        let key = self.key(span);
        let later: Vec<usize> = (index + 1..self.spans.len())
            .filter(|&later| key.is_some() && self.key(&self.spans[later]) == key)
            .collect();
        if !later.is_empty() {
            let fits = later.iter().filter(|&&later| self.feels[later].tempo_miss(movement) == 0.0).count();
            score += (6 * fits / later.len()) as i32;
        }
        // Each music its own move, as long as the class can keep them apart.
        if self.danced().any(|choice| choice.movement.id == movement.id) {
            score -= if self.is_palette_full() { 2 } else { 7 };
        } else if self.is_palette_full() {
            score -= 8;
        }
        if let Some(last) = self.made.last() {
            score -= 6 * i32::from(last.movement.id == movement.id);
            let contrast = last.movement.energy.level().abs_diff(movement.energy.level()) >= 2;
            score += 3 * i32::from(contrast && span.sudden.is_some());
        }
        score += self.ladder(index, movement);
        score += i32::from(span.counts().0 % movement.counts.0 == 0.0);
        // Teaching by movement: rather the whole body in steps than the hands alone.
        score += 2 * i32::from(is_travelling(movement.step));
        // ... and a step to every count, where the legs can do it: that is the beat.
        score += i32::from(is_travelling(movement.step) && movement.steps_per_count == 1.0);
        score -= 4 * i32::from(movement.one_sided && self.goes_one_way(index, movement));
        score - 3 * i32::from(self.is_hard_to_follow(index, movement))
    }

    /// Whether a span is too short for both sides of a one-sided move, and long enough to matter.
    fn goes_one_way(&self, index: usize, movement: &Move) -> bool {
        let span = &self.spans[index];
        let parts = both_sides(&self.heard.grid, self.profile, span, Side::Left, &movement.words);
        parts.len() < 2 && span.counts().0 > movement.counts.0
    }

    /// While the music gets faster or slower, steps that follow it: walk, march, run.
    fn ladder(&self, index: usize, movement: &Move) -> i32 {
        let faster = match self.spans[index].gradual.map(|turn| turn.kind) {
            Some(TurnKind::Accelerando) => true,
            Some(TurnKind::Ritardando) => false,
            _ => return 0,
        };
        if !is_travelling(movement.step) {
            return 0;
        }
        let rate = |index: usize, movement: &Move| self.feels[index].tempo.1 * movement.steps_per_count;
        let last = (0..index).rev().find(|&before| is_travelling(self.made[before].movement.step));
        let follows = last.is_none_or(|before| {
            let (from, to) = (rate(before, &self.made[before].movement), rate(index, movement));
            if faster { to > from } else { to < from }
        });
        if follows { 7 } else { 2 }
    }

    /// Whether a move may be done in a span at all: its tempo and energy fit, its call can be read in time, it has not
    /// gone on for too long, and nobody owes their legs a rest.
    pub(super) fn can_do(&self, index: usize, movement: &Move) -> bool {
        let (span, feel) = (&self.spans[index], &self.feels[index]);
        let turns_long = movement.step == StepKind::Turn && span.counts().0 > 2.0 * movement.counts.0;
        let effort = limit(movement.step);
        feel.tempo_miss(movement) == 0.0
            && !feel.contradicts(movement)
            && !self.reads_too_long(index, &movement.words)
            && !self.goes_on_too_long(index, movement)
            && !turns_long
            && effort.is_none_or(|longest| self.rest_due == 0.0 && span.counts().0 <= longest.0)
            && !self.strays_on_a_side(index, movement)
    }

    /// Whether the counts that may stray from a span's tempo fill half of what goes to one side, which is a cue of its own.
    fn strays_on_a_side(&self, index: usize, movement: &Move) -> bool {
        let grid = &self.heard.grid;
        let strays = |beat: usize| {
            let tempo = grid.tempo_at(Beat::from(beat)).0;
            miss(movement, (tempo, tempo)) > 0.0
        };
        movement.one_sided
            && both_sides(grid, self.profile, &self.spans[index], Side::Left, &movement.words).iter().any(
                |part| {
                    2 * (part.start..part.end).filter(|&beat| strays(beat)).count() >= part.end - part.start
                },
            )
    }

    /// Whether the phrase returns only after as long a rest as a move needs, so that the move can return with it.
    fn can_rest_after(&self, index: usize, movement: &Move) -> bool {
        if limit(movement.step).is_none() {
            return true;
        }
        let Some(key) = self.key(&self.spans[index]) else { return true };
        let mut end: Option<(usize, f64)> = None;
        for span in &self.spans[index..] {
            if self.key(span).as_ref() != Some(&key) {
                continue;
            }
            if let Some((end, counts)) = end
                && ((span.start - end) as f64) < counts
            {
                return false;
            }
            end = Some((span.end, span.counts().0));
        }
        true
    }

    /// Keeps account of jumping and running, and of the rest after it.
    pub(super) fn tire(&mut self, index: usize, step: StepKind) {
        let counts = self.spans[index].counts().0;
        if limit(step).is_some() {
            self.rest_due = counts;
        } else {
            self.rest_due = (self.rest_due - counts).max(0.0);
        }
    }

    /// Whether the call takes longer to read than the cue before it lasts; a call that says the same need not be read.
    pub(super) fn reads_too_long(&self, index: usize, words: &str) -> bool {
        let Some(last) = self.made.last() else { return false };
        let Some(before) = last.parts.last().filter(|_| index > 0) else { return false };
        let at = |beat: usize| self.heard.grid.seconds_at(Beat::from(beat)).0;
        let said = last.words.as_deref().unwrap_or(&last.movement.words);
        let age = self.profile.age;
        let needed = if said == words { reaction(age) } else { time_needed(words, age) };
        at(before.end) - at(before.start) < needed.0
    }

    /// How many counts a move has been going on for, up to the span in hand.
    pub(super) fn in_a_row(&self, id: &MoveId) -> f64 {
        let before = self.spans.iter().zip(&self.made).rev();
        before.take_while(|(_, choice)| choice.movement.id == *id).map(|(span, _)| span.counts().0).sum()
    }

    /// Whether a move would go on for longer than a tune, or than half of one where nothing can be said to vary it.
    fn goes_on_too_long(&self, index: usize, movement: &Move) -> bool {
        let before = self.in_a_row(&movement.id);
        let can_vary = movement.one_sided || count_words(&movement.words) <= 3;
        let longest = if can_vary { TOO_LONG } else { LONG };
        before > 0.0 && before + self.spans[index].counts().0 > longest
    }

    /// Whether the class can learn a move beside the others: known ones always, a new one while there is room.
    pub(super) fn is_affordable(&self, id: &MoveId) -> bool {
        let mut ids: Vec<MoveId> = self.made.iter().map(|choice| choice.movement.id.clone()).collect();
        // What is sure to come later takes its room already.
        if self.spans.iter().any(|span| matches!(span.purpose, Purpose::Hold(_))) {
            ids.push(self.freeze().id);
        }
        ids.push(MoveId(LAST_POSE.into()));
        ids.sort();
        ids.dedup();
        ids.contains(id) || ids.len() < most_moves(self.profile.age)
    }

    /// Whether the youngest are asked for movements slower or faster than they can time.
    ///
    /// Up to 6 years, 80 to 160 a minute (van Noorden and De Bruyn); free movement is always possible, and running steps
    /// are not timed one by one.
    fn is_hard_to_follow(&self, index: usize, movement: &Move) -> bool {
        let (slow, fast) = self.feels[index].tempo;
        let each = movement.steps_per_count;
        let timed = each > 0.0 && !matches!(movement.step, StepKind::Run | StepKind::Still);
        self.profile.age <= 6 && timed && (slow * each < 80.0 || fast * each > 160.0)
    }

    /// Choices for music, without freezes, the opening and the ending.
    fn danced(&self) -> impl Iterator<Item = &Choice> {
        self.spans
            .iter()
            .zip(&self.made)
            .filter(|(span, choice)| span.purpose == Purpose::Dance && choice.movement.id.0 != LISTEN)
            .map(|(_, choice)| choice)
    }

    fn is_palette_full(&self) -> bool {
        distinct(self.danced().map(|choice| &choice.movement.id)) >= self.palette
    }
}

/// How long a kind of step may go on; `None` for kinds that do not tire.
fn limit(step: StepKind) -> Option<Counts> {
    match step {
        StepKind::Jump => Some(LONGEST_JUMPING),
        StepKind::Run => Some(LONGEST_RUNNING),
        _ => None,
    }
}

pub(super) fn is_travelling(step: StepKind) -> bool {
    matches!(step, StepKind::Walk | StepKind::March | StepKind::Run | StepKind::Side)
}
