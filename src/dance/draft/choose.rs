//! Which move each span gets: by energy, articulation and tempo, the same for phrases that return.

use super::feel::Feel;
use super::sides::{Part, both_sides, opposite};
use super::spans::{Purpose, SETTLED, Span};
use super::{LONGEST_JUMPING, LONGEST_RUNNING, why};
use crate::dance::reading::{count_words, reaction, time_needed};
use crate::dance::{Entry, Move, MoveBook, MoveId, Profile, Side, StepKind};
use crate::listening::{Articulation, Listening, TurnKind};
use crate::units::{Beat, Counts};
use std::collections::BTreeMap;

/// The move of one span and how it is done.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Choice {
    pub(super) movement: Move,
    pub(super) words: Option<String>,
    /// The span, cut where the sides change; never empty.
    pub(super) parts: Vec<Part>,
    pub(super) why: String,
}

impl Choice {
    /// Which side it goes to first.
    fn side(&self) -> Option<Side> {
        self.parts.first().and_then(|part| part.side)
    }
}

/// How a move that comes back differs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Variation {
    /// Not at all.
    None,
    /// To the other side.
    Side,
    /// Bigger or smaller.
    Size,
    /// In another direction, or lower.
    Way,
}

/// One phrase letter's part: spans with the same key get the same move.
type Key = (String, usize);

/// Moves left to special places, whatever the music is like.
const LISTEN: &str = "listen";
const BOW: &str = "bow";
const LAST_POSE: &str = "final-pose";

/// Different moves that a class of an age keeps apart, besides freezing and the last pose. Common practice, no source.
fn palette(age: u8) -> usize {
    match age {
        0..=6 => 4,
        7 | 8 => 6,
        _ => 8,
    }
}

/// All the different moves that a class of an age can learn in one dance, freezes and the last pose included. Our
/// decision, the check's too.
fn most_moves(age: u8) -> usize {
    match age {
        0..=6 => 6,
        7 | 8 => 8,
        9..=11 => 12,
        _ => 16,
    }
}

/// Counts in a row after which a move is varied, and after which another takes its place: half a dance tune of 64
/// counts, and all of it. Common practice, no source.
const LONG: f64 = 32.0;
const TOO_LONG: f64 = 64.0;

/// Counts a minute beside its range that a move may rather be than have another fault. Our decision.
const FAULT: f64 = 10.0;

/// A choice for every span, in order. The book must not be empty.
///
/// Where the music ends in more moves than the class can learn, fewer are kept apart from the start, so that there is room
/// for what only comes later.
pub(super) fn choose(heard: &Listening, book: &MoveBook, profile: Profile, spans: &[Span]) -> Vec<Choice> {
    let mut best: Option<(usize, Vec<Choice>)> = None;
    for palette in (1..=palette(profile.age)).rev() {
        let made = Drafting::new(heard, book, profile, spans, palette).made();
        let moves = distinct(made.iter().map(|choice| &choice.movement.id));
        if best.as_ref().is_none_or(|&(fewest, _)| moves < fewest) {
            best = Some((moves, made));
        }
        if moves <= most_moves(profile.age) {
            break;
        }
    }
    best.map(|(_, made)| made).unwrap_or_default()
}

/// How many different ones there are.
fn distinct<'a>(ids: impl Iterator<Item = &'a MoveId>) -> usize {
    ids.collect::<std::collections::BTreeSet<_>>().len()
}

/// The letter without its primes, and how many primes it has.
fn letter_of(letter: &str) -> (&str, usize) {
    let base = letter.trim_end_matches(['\'', '\u{2032}']);
    (base, letter.chars().count() - base.chars().count())
}

/// A draft in the making.
struct Drafting<'a> {
    heard: &'a Listening,
    book: &'a MoveBook,
    profile: Profile,
    spans: &'a [Span],
    feels: Vec<Feel>,
    made: Vec<Choice>,
    /// For each key the moves it was given so far, with the span that had each first.
    keys: BTreeMap<Key, Vec<(usize, Move)>>,
    /// Counts of gentler movement still due after jumping or running.
    rest_due: f64,
    /// Different moves to keep apart, besides freezing and the last pose.
    palette: usize,
}

impl<'a> Drafting<'a> {
    fn new(
        heard: &'a Listening,
        book: &'a MoveBook,
        profile: Profile,
        spans: &'a [Span],
        palette: usize,
    ) -> Self {
        let feels = spans.iter().map(|span| Feel::of(heard, span)).collect();
        Self {
            heard,
            book,
            profile,
            spans,
            feels,
            made: Vec::new(),
            keys: BTreeMap::new(),
            rest_due: 0.0,
            palette,
        }
    }

    /// A choice for every span, in order.
    fn made(mut self) -> Vec<Choice> {
        for index in 0..self.spans.len() {
            let choice = self.choice(index);
            self.tire(index, choice.movement.step);
            self.made.push(choice);
        }
        self.made
    }

    fn choice(&mut self, index: usize) -> Choice {
        let span = &self.spans[index];
        match span.purpose {
            Purpose::Hold(turn) => {
                let movement = self.freeze();
                self.plain(index, movement, why::hold(&turn))
            }
            Purpose::Ending => {
                let movement = self.named(LAST_POSE).unwrap_or_else(|| self.freeze());
                self.plain(index, movement, why::ending())
            }
            Purpose::Pickup => {
                let movement = self.named(LISTEN).unwrap_or_else(|| self.freeze());
                self.plain(index, movement, why::pickup(span))
            }
            Purpose::Dance => self.dance(index),
        }
    }

    /// A move as it stands in the book, to no side.
    fn plain(&self, index: usize, movement: Move, why: String) -> Choice {
        Choice { movement, words: None, parts: vec![Part::whole(&self.spans[index], None)], why }
    }

    /// A move to both sides where it has sides, `first` before the other.
    fn sided(&self, index: usize, movement: Move, words: Option<String>, first: Side, why: String) -> Choice {
        let span = &self.spans[index];
        let parts = if movement.one_sided {
            let called = words.as_deref().unwrap_or(&movement.words);
            both_sides(&self.heard.grid, self.profile, span, first, called)
        } else {
            vec![Part::whole(span, None)]
        };
        Choice { movement, words, parts, why }
    }

    /// A move for a span of dancing: the one its music had before, else the best of the book.
    fn dance(&mut self, index: usize) -> Choice {
        let span = &self.spans[index];
        if let Some(shown) = self.showing(index) {
            let why = why::shown(self.heard, span, &shown);
            let side = self.due_side(&shown).unwrap_or(Side::Left);
            return self.sided(index, shown, None, side, why);
        }
        if let Some(grown) = self.growing(index) {
            return grown;
        }
        if self.is_quiet_opening(index)
            && let Some(movement) = self.named(LISTEN)
        {
            return self.plain(index, movement, why::opening(self.heard, span));
        }
        let key = self.key(span);
        let known = key
            .as_ref()
            .and_then(|key| self.keys.get(key))
            .and_then(|known| known.iter().find(|(_, movement)| self.can_do(index, movement)).cloned());
        if let Some((first, movement)) = known {
            return self.again(index, first, movement);
        }
        let movement = self.best(index);
        if let Some(key) = key {
            self.keys.entry(key).or_default().push((index, movement.clone()));
        }
        let side = self
            .due_side(&movement)
            .unwrap_or_else(|| self.last_side(&movement).map_or(Side::Left, opposite));
        let why = why::chosen(self.heard, span, &self.feels[index], &movement, self.made.last());
        self.sided(index, movement, None, side, why)
    }

    /// The same music again: its move, varied as the music is, or because it has gone on for long.
    fn again(&self, index: usize, first: usize, movement: Move) -> Choice {
        let span = &self.spans[index];
        let primes = |span: usize| self.letter(&self.spans[span]).map_or(0, |letter| letter_of(letter).1);
        let varied = primes(index) != primes(first);
        let before = self.made.get(first).and_then(Choice::side).unwrap_or(Side::Left);
        let mut side = before;
        let mut words = None;
        let mut variation = Variation::None;
        if movement.one_sided {
            let turned = varied || movement.step == StepKind::Turn;
            side = self.due_side(&movement).unwrap_or(if turned { opposite(before) } else { before });
            if side != before {
                variation = Variation::Side;
            }
        } else if varied {
            let size = if self.feels[index].energy < self.feels[first].energy { "smaller" } else { "bigger" };
            words = self.resaid(index, &movement, size);
            if words.is_some() {
                variation = Variation::Size;
            }
        }
        let last_words = self.made.last().and_then(|last| last.words.clone());
        if !movement.one_sided
            && self.in_a_row(&movement.id) + span.counts().0 > LONG
            && self.made.last().is_some_and(|last| last.movement.id == movement.id)
            && last_words == words
        {
            let way = if is_travelling(movement.step) { "other way" } else { "low" };
            // Back to the plain move after the other way, so that the two take turns.
            let other = if words.is_some() { None } else { self.resaid(index, &movement, way) };
            if other != last_words {
                words = other;
                variation = Variation::Way;
            }
        }
        let why = why::again(self.heard, span, &self.spans[first], varied, variation);
        self.sided(index, movement, words, side, why)
    }

    /// A move's words with how it differs, where that can be read in time.
    fn resaid(&self, index: usize, movement: &Move, how: &str) -> Option<String> {
        let words = format!("{}, {how}", movement.words);
        (count_words(&words) <= 4 && !self.reads_too_long(index, &words)).then_some(words)
    }

    /// The move that makes a span's turn visible, when the span is short enough for it.
    fn showing(&self, index: usize) -> Option<Move> {
        let span = &self.spans[index];
        let (kind, longest) = match (span.gradual, span.sudden) {
            // Growing over more than two natural lengths is too slow to be seen as growing.
            (Some(turn), _) => (turn.kind, 2.0),
            (None, Some(turn)) => (turn.kind, 2.0),
            (None, None) => return None,
        };
        let fits = |entry: &&Entry| {
            entry.shows.contains(&kind)
                && entry.needs.is_empty()
                && span.counts().0 <= longest * entry.movement.counts.0
                && self.can_do(index, &entry.movement)
                && self.is_affordable(&entry.movement.id)
        };
        let candidates: Vec<&Entry> = self.book.entries().iter().filter(fits).collect();
        let used = |entry: &Entry| self.made.iter().any(|choice| choice.movement.id == entry.movement.id);
        // One move for each kind of turn, so that the class learns to recognise it.
        candidates.iter().find(|entry| used(entry)).or(candidates.first()).map(|entry| entry.movement.clone())
    }

    /// The move before, growing or shrinking with the music, when a gradual change begins too shortly before the next
    /// change for a move of its own.
    fn growing(&self, index: usize) -> Option<Choice> {
        let span = &self.spans[index];
        let turn = span.begins.filter(|_| span.counts().0 < SETTLED as f64)?;
        let last = self.made.last().filter(|last| self.can_do(index, &last.movement))?;
        if last.movement.step == StepKind::Freeze || last.movement.id.0 == LISTEN {
            return None;
        }
        let words = self.resaid(index, &last.movement, how(turn.kind)?)?;
        let why = why::grown(self.heard, span, &turn, &last.movement);
        let side = last.parts.last().and_then(|part| part.side).map_or(Side::Left, opposite);
        Some(self.sided(index, last.movement.clone(), Some(words), side, why))
    }

    /// Whether the piece opens with something to listen to: an introduction that does not return, or hardly a sound.
    fn is_quiet_opening(&self, index: usize) -> bool {
        let span = &self.spans[index];
        let first = self.spans.iter().position(|span| span.purpose == Purpose::Dance) == Some(index);
        let returns = self.spans[index + 1..].iter().any(|later| self.key(later) == self.key(span));
        let intro = self.letter(span).is_some_and(|letter| letter.eq_ignore_ascii_case("intro"));
        first && !returns && (intro || self.feels[index].energy == 1) && span.counts().0 <= 16.0
    }

    /// The best move of the book for a span.
    fn best(&self, index: usize) -> Move {
        let (span, feel) = (&self.spans[index], &self.feels[index]);
        let usual = |entry: &&Entry| {
            let id = entry.movement.id.0.as_str();
            entry.needs.is_empty()
                && entry.shows.is_empty()
                && entry.movement.step != StepKind::Freeze
                && ![LISTEN, BOW, LAST_POSE].contains(&id)
                && self.can_rest_after(index, &entry.movement)
        };
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
                let long = self.in_a_row(&movement.id) + span.counts().0 > TOO_LONG;
                let faults = [long, feel.contradicts(movement), self.reads_too_long(index, &movement.words)];
                feel.tempo_miss(movement) + FAULT * faults.iter().filter(|&&fault| fault).count() as f64
            };
            calm.min_by(|a, b| miss(&a.movement).total_cmp(&miss(&b.movement)))
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
        score - 3 * i32::from(self.is_hard_to_follow(index, movement))
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
    fn can_do(&self, index: usize, movement: &Move) -> bool {
        let (span, feel) = (&self.spans[index], &self.feels[index]);
        let turns_long = movement.step == StepKind::Turn && span.counts().0 > 2.0 * movement.counts.0;
        let effort = limit(movement.step);
        feel.tempo_miss(movement) == 0.0
            && !feel.contradicts(movement)
            && !self.reads_too_long(index, &movement.words)
            && self.in_a_row(&movement.id) + span.counts().0 <= TOO_LONG.max(span.counts().0)
            && !turns_long
            && effort.is_none_or(|longest| self.rest_due == 0.0 && span.counts().0 <= longest.0)
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
    fn tire(&mut self, index: usize, step: StepKind) {
        let counts = self.spans[index].counts().0;
        if limit(step).is_some() {
            self.rest_due = counts;
        } else {
            self.rest_due = (self.rest_due - counts).max(0.0);
        }
    }

    /// Whether the call takes longer to read than the cue before it lasts; a call that says the same need not be read.
    fn reads_too_long(&self, index: usize, words: &str) -> bool {
        let Some(last) = self.made.last() else { return false };
        let Some(before) = last.parts.last().filter(|_| index > 0) else { return false };
        let at = |beat: usize| self.heard.grid.seconds_at(Beat::from(beat)).0;
        let said = last.words.as_deref().unwrap_or(&last.movement.words);
        let age = self.profile.age;
        let needed = if said == words { reaction(age) } else { time_needed(words, age) };
        at(before.end) - at(before.start) < needed.0
    }

    /// How many counts a move has been going on for, up to the span in hand.
    fn in_a_row(&self, id: &MoveId) -> f64 {
        let before = self.spans.iter().zip(&self.made).rev();
        before.take_while(|(_, choice)| choice.movement.id == *id).map(|(span, _)| span.counts().0).sum()
    }

    /// Whether the class can learn a move beside the others: known ones always, a new one while there is room.
    fn is_affordable(&self, id: &MoveId) -> bool {
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

    fn letter(&self, span: &Span) -> Option<&str> {
        span.phrase.and_then(|index| self.heard.grid.phrases().get(index)).map(|phrase| &*phrase.letter)
    }

    /// What a span's music is known by; `None` where it is not dancing or has no phrase.
    fn key(&self, span: &Span) -> Option<Key> {
        let letter = self.letter(span).filter(|_| span.purpose == Purpose::Dance)?;
        Some((letter_of(letter).0.to_owned(), span.part))
    }

    fn named(&self, id: &str) -> Option<Move> {
        self.book.moves().find(|movement| movement.id.0 == id).cloned()
    }

    /// The move that shows a rest; any that stands still if the book has none.
    fn freeze(&self) -> Move {
        let entries = self.book.entries();
        let shows = entries.iter().find(|entry| entry.shows.contains(&TurnKind::Rest));
        let still = || entries.iter().find(|entry| entry.movement.step == StepKind::Freeze);
        // A book without entries never comes here.
        shows.or_else(still).unwrap_or(&entries[0]).movement.clone()
    }

    /// The side that a one-sided move went to for fewer counts so far; `None` when they are even.
    fn due_side(&self, movement: &Move) -> Option<Side> {
        let parts = self
            .made
            .iter()
            .filter(|choice| choice.movement.id == movement.id)
            .flat_map(|choice| &choice.parts);
        let (mut left, mut right) = (0, 0);
        for part in parts {
            match part.side {
                Some(Side::Left) => left += part.end - part.start,
                Some(Side::Right) => right += part.end - part.start,
                None => {}
            }
        }
        match left.cmp(&right) {
            std::cmp::Ordering::Less => Some(Side::Left),
            std::cmp::Ordering::Equal => None,
            std::cmp::Ordering::Greater => Some(Side::Right),
        }
    }

    /// The side that a move began with when it was last used.
    fn last_side(&self, movement: &Move) -> Option<Side> {
        self.made.iter().rev().find(|choice| choice.movement.id == movement.id).and_then(Choice::side)
    }
}

/// How a move changes with a gradual turn.
fn how(kind: TurnKind) -> Option<&'static str> {
    match kind {
        TurnKind::Crescendo => Some("bigger"),
        TurnKind::Diminuendo => Some("smaller"),
        TurnKind::Accelerando => Some("faster"),
        TurnKind::Ritardando => Some("slower"),
        _ => None,
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

fn is_travelling(step: StepKind) -> bool {
    matches!(step, StepKind::Walk | StepKind::March | StepKind::Run | StepKind::Side)
}
