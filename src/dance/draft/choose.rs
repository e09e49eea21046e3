//! Which move each span gets: by energy, articulation and tempo, the same for phrases that return.

use super::spans::{Purpose, Span};
use super::{LONGEST_JUMPING, LONGEST_RUNNING, why};
use crate::dance::reading::{count_words, time_needed};
use crate::dance::{Entry, Move, MoveBook, Profile, Side, StepKind};
use crate::listening::{Articulation, Listening, TurnKind};
use crate::units::{Beat, Counts};
use std::collections::BTreeMap;

/// The move of one span and how it is done.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Choice {
    pub(super) movement: Move,
    pub(super) words: Option<String>,
    pub(super) side: Option<Side>,
    pub(super) why: String,
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
}

/// What the music is like in a span, as far as moves care.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Feel {
    /// 1 to 5.
    pub(super) energy: u8,
    pub(super) articulation: Articulation,
    /// Slowest and fastest local tempo, counts a minute.
    pub(super) tempo: (f64, f64),
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

/// A choice for every span, in order. The book must not be empty.
pub(super) fn choose(heard: &Listening, book: &MoveBook, profile: Profile, spans: &[Span]) -> Vec<Choice> {
    let feels: Vec<Feel> = spans.iter().map(|span| feel(heard, span)).collect();
    let mut drafting = Drafting {
        heard,
        book,
        profile,
        spans,
        feels,
        made: Vec::new(),
        keys: BTreeMap::new(),
        rest_due: 0.0,
    };
    for index in 0..spans.len() {
        let choice = drafting.choice(index);
        drafting.tire(index, choice.movement.step);
        drafting.made.push(choice);
    }
    drafting.made
}

/// What the music is like in a span.
fn feel(heard: &Listening, span: &Span) -> Feel {
    let character = span.phrase.and_then(|index| heard.phrases.get(index));
    let mut energy = character.map_or(3, |character| character.energy.clamp(1, 5));
    // A phrase's energy is that of its middle; after a sudden turn inside it, one side is stronger than the other.
    if span.part > 0 {
        match span.sudden.map(|turn| turn.kind) {
            Some(TurnKind::SubitoLoud | TurnKind::SuddenlyFaster) => energy = (energy + 1).min(5),
            Some(TurnKind::SubitoSoft | TurnKind::SuddenlySlower) => energy = (energy - 1).max(1),
            _ => {}
        }
    }
    let tempos = || (span.start..span.end).map(|beat| heard.grid.tempo_at(Beat::from(beat)).0);
    Feel {
        energy,
        articulation: character.map_or(Articulation::Unclear, |character| character.articulation),
        tempo: (tempos().fold(f64::INFINITY, f64::min), tempos().fold(0.0, f64::max)),
    }
}

/// How far outside a move's range a span's tempo goes, counts a minute; 0 inside.
fn tempo_miss(movement: &Move, feel: &Feel) -> f64 {
    (movement.tempo.slowest.0 - feel.tempo.0).max(feel.tempo.1 - movement.tempo.fastest.0).max(0.0)
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
}

impl Drafting<'_> {
    fn choice(&mut self, index: usize) -> Choice {
        let span = &self.spans[index];
        match span.purpose {
            Purpose::Hold(turn) => {
                let movement = self.freeze();
                Choice { movement, words: None, side: None, why: why::hold(&turn) }
            }
            Purpose::Ending => {
                let movement = self.named(LAST_POSE).unwrap_or_else(|| self.freeze());
                Choice { movement, words: None, side: None, why: why::ending() }
            }
            Purpose::Pickup => {
                let movement = self.named(LISTEN).unwrap_or_else(|| self.freeze());
                Choice { movement, words: None, side: None, why: why::pickup(span) }
            }
            Purpose::Dance => self.dance(index),
        }
    }

    /// A move for a span of dancing: the one its music had before, else the best of the book.
    fn dance(&mut self, index: usize) -> Choice {
        let span = &self.spans[index];
        if let Some(shown) = self.showing(index) {
            let why = why::shown(self.heard, span, &shown);
            let side = shown.one_sided.then_some(Side::Left);
            return Choice { movement: shown, words: None, side, why };
        }
        if self.is_quiet_opening(index)
            && let Some(movement) = self.named(LISTEN)
        {
            return Choice { movement, words: None, side: None, why: why::opening(self.heard, span) };
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
        let side = movement.one_sided.then(|| self.turned_side(&movement));
        let why = why::chosen(self.heard, span, &self.feels[index], &movement, self.made.last());
        Choice { movement, words: None, side, why }
    }

    /// The same music again: its move, varied as the music is.
    fn again(&self, index: usize, first: usize, movement: Move) -> Choice {
        let span = &self.spans[index];
        let primes = |span: usize| self.letter(&self.spans[span]).map_or(0, |letter| letter_of(letter).1);
        let varied = primes(index) != primes(first);
        let mut side = self.made.get(first).and_then(|choice| choice.side);
        let mut words = None;
        let mut variation = Variation::None;
        if movement.one_sided && (varied || movement.step == StepKind::Turn) {
            side = Some(opposite(self.last_side(&movement).or(side)));
            variation = Variation::Side;
        } else if varied && !movement.one_sided {
            let size = if self.feels[index].energy < self.feels[first].energy { "smaller" } else { "bigger" };
            let resized = format!("{}, {size}", movement.words);
            if count_words(&resized) <= 4 && !self.reads_too_long(index, &resized) {
                words = Some(resized);
                variation = Variation::Size;
            }
        }
        let why = why::again(self.heard, span, &self.spans[first], varied, variation);
        Choice { movement, words, side, why }
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
                && tempo_miss(&entry.movement, &self.feels[index]) == 0.0
        };
        let candidates: Vec<&Entry> = self.book.entries().iter().filter(fits).collect();
        let used = |entry: &Entry| self.made.iter().any(|choice| choice.movement.id == entry.movement.id);
        // One move for each kind of turn, so that the class learns to recognise it.
        candidates.iter().find(|entry| used(entry)).or(candidates.first()).map(|entry| entry.movement.clone())
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
        let feel = &self.feels[index];
        let allowed = |entry: &&Entry| {
            let id = entry.movement.id.0.as_str();
            entry.needs.is_empty()
                && entry.shows.is_empty()
                && entry.movement.step != StepKind::Freeze
                && ![LISTEN, BOW, LAST_POSE].contains(&id)
                && self.can_rest_after(index, &entry.movement)
        };
        let candidates: Vec<&Entry> = self.book.entries().iter().filter(allowed).collect();
        let fitting = candidates.iter().copied().filter(|entry| self.can_do(index, &entry.movement));
        // The first of equals in the book's order: `max_by_key` would give the last.
        let best = fitting.rev().max_by_key(|entry| self.score(index, &entry.movement));
        let nearest = || {
            let calm = candidates.iter().copied().filter(|entry| limit(entry.movement.step).is_none());
            calm.min_by(|a, b| tempo_miss(&a.movement, feel).total_cmp(&tempo_miss(&b.movement, feel)))
        };
        best.or_else(nearest).map_or_else(|| self.freeze(), |entry| entry.movement.clone())
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
            let fits = later.iter().filter(|&&later| tempo_miss(movement, &self.feels[later]) == 0.0).count();
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
        score += i32::from(is_travelling(movement.step));
        score -= 3 * i32::from(self.reads_too_long(index, &movement.words));
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

    /// Whether a move may be done in a span at all: its tempo fits and nobody owes their legs a rest.
    fn can_do(&self, index: usize, movement: &Move) -> bool {
        let (span, feel) = (&self.spans[index], &self.feels[index]);
        let turns_long = movement.step == StepKind::Turn && span.counts().0 > 2.0 * movement.counts.0;
        let effort = limit(movement.step);
        tempo_miss(movement, feel) == 0.0
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

    /// Whether the call takes longer to read than the span before it lasts.
    fn reads_too_long(&self, index: usize, words: &str) -> bool {
        let Some(before) = index.checked_sub(1).map(|before| &self.spans[before]) else { return false };
        let at = |beat: usize| self.heard.grid.seconds_at(Beat::from(beat)).0;
        at(before.end) - at(before.start) < time_needed(words, self.profile.age).0
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
        let mut ids: Vec<_> = self.danced().map(|choice| &choice.movement.id).collect();
        ids.sort();
        ids.dedup();
        ids.len() >= palette(self.profile.age)
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

    /// The side for a one-sided move that a phrase gets for the first time: the other one than last time.
    fn turned_side(&self, movement: &Move) -> Side {
        self.last_side(movement).map_or(Side::Left, |side| opposite(Some(side)))
    }

    fn last_side(&self, movement: &Move) -> Option<Side> {
        self.made.iter().rev().find(|choice| choice.movement.id == movement.id).and_then(|choice| choice.side)
    }
}

fn opposite(side: Option<Side>) -> Side {
    match side {
        Some(Side::Left) | None => Side::Right,
        Some(Side::Right) => Side::Left,
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
