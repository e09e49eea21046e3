//! Saying where a beat is, as dancers and musicians do: by phrase and count, by bar and beat.

use super::Grid;
use crate::units::{Beat, Counts};
use std::fmt;

/// One phrase with its place in the grid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PhraseSpan<'a> {
    /// Which phrase, from 0.
    pub index: usize,
    /// Its letter in the form.
    pub letter: &'a str,
    /// Its count one.
    pub start: Beat,
    /// The count one of the next phrase, or the end of the grid.
    pub end: Beat,
}

impl PhraseSpan<'_> {
    /// How many counts it lasts.
    #[must_use]
    pub fn counts(&self) -> Counts {
        self.end.since(self.start)
    }
}

/// A beat as dancers count it. Shown as `phrase 3 (B), count 5`, or `pickup, count 1` before the first phrase.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CountPosition<'a> {
    /// The phrase, or `None` in the pickup before the first phrase.
    pub phrase: Option<PhraseSpan<'a>>,
    /// The count, 1 at the phrase's first beat.
    pub count: usize,
}

/// A beat as musicians count it. Shown as `bar 12, beat 3`, or `pickup, beat 1` before the first bar.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BarPosition {
    /// The bar, from 1, or 0 in the pickup before the first bar.
    pub bar: usize,
    /// The beat in the bar, 1 at its first beat.
    pub beat: usize,
}

impl Grid {
    /// The phrases with their ends, in order; empty when there are none.
    pub fn phrase_spans(&self) -> impl DoubleEndedIterator<Item = PhraseSpan<'_>> + ExactSizeIterator {
        self.phrases.iter().enumerate().map(|(index, phrase)| PhraseSpan {
            index,
            letter: &phrase.letter,
            start: Beat::from(phrase.start),
            end: self.phrases.get(index + 1).map_or_else(|| self.end(), |next| Beat::from(next.start)),
        })
    }

    /// The phrase that holds a position, or `None` before the first phrase.
    #[must_use]
    pub fn phrase_at(&self, at: Beat) -> Option<PhraseSpan<'_>> {
        let after = self.phrases.partition_point(|phrase| phrase.start as f64 <= at.0);
        self.phrase_spans().nth(after.checked_sub(1)?)
    }

    /// The count of a position inside its phrase.
    #[must_use]
    pub fn count_at(&self, at: Beat) -> CountPosition<'_> {
        let phrase = self.phrase_at(at);
        let start = phrase.map_or(0, |phrase| phrase.start.index());
        CountPosition { phrase, count: (at.index() - start).saturating_add(1) }
    }

    /// The bar and beat of a position.
    #[must_use]
    pub fn bar_at(&self, at: Beat) -> BarPosition {
        let bar = self.bars.partition_point(|&start| start as f64 <= at.0);
        let start = bar.checked_sub(1).map_or(0, |index| self.bars[index]);
        BarPosition { bar, beat: (at.index() - start).saturating_add(1) }
    }
}

impl fmt::Display for CountPosition<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.phrase {
            Some(phrase) => {
                write!(f, "phrase {} ({}), count {}", phrase.index + 1, phrase.letter, self.count)
            }
            None => write!(f, "pickup, count {}", self.count),
        }
    }
}

impl fmt::Display for BarPosition {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.bar {
            0 => write!(f, "pickup, beat {}", self.beat),
            bar => write!(f, "bar {bar}, beat {}", self.beat),
        }
    }
}
