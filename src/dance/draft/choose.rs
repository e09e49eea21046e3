//! Which move each span gets: by energy, articulation and tempo, the same for phrases that return.

use super::feel::{Feel, letter_of};
use super::judge::{LONG, distinct, is_travelling, most_moves};
use super::sides::{Part, both_sides, opposite};
use super::spans::{Purpose, SETTLED, Span};
use super::why;
use crate::dance::reading::count_words;
use crate::dance::{Entry, Move, MoveBook, Profile, Side, StepKind};
use crate::listening::{Listening, TurnKind};
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
    /// In another direction, or smaller.
    Way,
}

/// One phrase letter's part: spans with the same key get the same move.
pub(super) type Key = (String, usize);

/// Moves left to special places, whatever the music is like.
pub(super) const LISTEN: &str = "listen";
pub(super) const LAST_POSE: &str = "final-pose";

/// Different moves that a class of an age keeps apart, besides freezing and the last pose. Common practice, no source.
fn palette(age: u8) -> usize {
    match age {
        0..=6 => 4,
        7 | 8 => 6,
        _ => 8,
    }
}

/// A choice for every span, in order. The book must not be empty.
///
/// Where all moves that a class keeps apart are spent, what is danced first may have left none for a climax that only comes
/// later; and the music may end in more moves than can be learnt. Then fewer are tried. Of the dances that the class can
/// learn the one is taken whose moves are as lively as the music; if there is none, the one with the fewest moves.
pub(super) fn choose(heard: &Listening, book: &MoveBook, profile: Profile, spans: &[Span]) -> Vec<Choice> {
    let mut best: Option<((usize, f64), Vec<Choice>)> = None;
    for palette in (1..=palette(profile.age)).rev() {
        let (made, misfit) = Drafting::new(heard, book, profile, spans, palette).made();
        let excess =
            distinct(made.iter().map(|choice| &choice.movement.id)).saturating_sub(most_moves(profile.age));
        let danced = made.iter().zip(spans).filter(|(_, span)| span.purpose == Purpose::Dance);
        let spent = distinct(danced.map(|(choice, _)| &choice.movement.id)) >= palette;
        if best.as_ref().is_none_or(|(least, _)| (excess, misfit) < *least) {
            best = Some(((excess, misfit), made));
        }
        if excess == 0 && !spent {
            break;
        }
    }
    best.map(|(_, made)| made).unwrap_or_default()
}

/// A draft in the making.
pub(super) struct Drafting<'a> {
    pub(super) heard: &'a Listening,
    pub(super) book: &'a MoveBook,
    pub(super) profile: Profile,
    pub(super) spans: &'a [Span],
    pub(super) feels: Vec<Feel>,
    pub(super) made: Vec<Choice>,
    /// For each key the moves it was given so far, with the span that had each first.
    pub(super) keys: BTreeMap<Key, Vec<(usize, Move)>>,
    /// Counts of gentler movement still due after jumping or running.
    pub(super) rest_due: f64,
    /// Different moves to keep apart, besides freezing and the last pose.
    pub(super) palette: usize,
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

    /// A choice for every span, in order, and how far they are from as lively as the music: by counts danced, the square
    /// of what their energy is off beyond one level.
    fn made(mut self) -> (Vec<Choice>, f64) {
        let mut misfit = 0.0;
        for index in 0..self.spans.len() {
            let choice = self.choice(index);
            let span = &self.spans[index];
            if span.purpose == Purpose::Dance {
                let apart = choice.movement.energy.level().abs_diff(self.feels[index].energy);
                misfit += span.counts().0 * f64::from(apart.saturating_sub(1)).powi(2);
            }
            self.tire(index, choice.movement.step);
            self.made.push(choice);
        }
        (self.made, misfit)
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
        if let Some(grown) = self.growing(index) {
            return grown;
        }
        if let Some(shown) = self.showing(index) {
            let why = why::shown(self.heard, span, &shown);
            let side = self.due_side(&shown).unwrap_or(Side::Left);
            return self.sided(index, shown, None, side, why);
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
            // Back to the plain move after the other way, so that the two take turns.
            let way = Some("other way").filter(|_| is_travelling(movement.step));
            let mut ways = way.into_iter().chain(["smaller"]).filter(|_| words.is_none());
            let other = ways.find_map(|way| self.resaid(index, &movement, way));
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

    fn letter(&self, span: &Span) -> Option<&str> {
        span.phrase.and_then(|index| self.heard.grid.phrases().get(index)).map(|phrase| &*phrase.letter)
    }

    /// What a span's music is known by; `None` where it is not dancing or has no phrase.
    pub(super) fn key(&self, span: &Span) -> Option<Key> {
        let letter = self.letter(span).filter(|_| span.purpose == Purpose::Dance)?;
        Some((letter_of(letter).0.to_owned(), span.part))
    }

    fn named(&self, id: &str) -> Option<Move> {
        self.book.moves().find(|movement| movement.id.0 == id).cloned()
    }

    /// The move that shows a rest; any that stands still if the book has none.
    pub(super) fn freeze(&self) -> Move {
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
