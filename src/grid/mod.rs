//! The grid: the beats, bars and phrases of a recording, and the only bridge from beats to seconds.
//!
//! Listening finds a grid, a teacher's [`Anchor`]s correct it, a dance keeps its own copy. Nothing here
//! knows how beats are found or what is danced on them.

mod anchor;
pub mod mend;
mod position;

pub use anchor::{Anchor, LONGEST_HOLD, Level};
pub use position::{BarPosition, CountPosition, PhraseSpan};

use crate::units::{Beat, Bpm, Seconds};
use serde::{Deserialize, Serialize};
use std::fmt;

/// The length of a beat where the grid does not say, at 120 BPM: only reached with fewer than two beats.
const DEFAULT_BEAT: f64 = 0.5;

/// Beats, bars and phrases of one recording.
///
/// Beats are strictly ascending; bars and phrases start on beats, ascending. A pickup is the beats before
/// the first bar start, or before the first phrase start. A grid without beats is valid: it says that none
/// were found. In JSON, times have at most four decimals (a tenth of a millisecond).
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(try_from = "RawGrid", into = "RawGrid")]
pub struct Grid {
    beats: Vec<Seconds>,
    bars: Vec<usize>,
    phrases: Vec<Phrase>,
}

/// The start of a phrase and the letter of its music.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Phrase {
    /// Index of the beat that is its count one.
    pub start: usize,
    /// What it is called in the form: `A`, `B`, `A'`, `intro`; phrases that sound alike share a letter.
    pub letter: String,
}

/// Why beats, bars and phrases do not make a grid. The file or program that made them must be mended.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum GridError {
    /// A beat is not a finite, non-negative time.
    #[error("beat {index} is not a time")]
    NotATime {
        /// Index of the beat.
        index: usize,
    },
    /// A beat is not after the one before it.
    #[error("beat {index} is not later than the beat before it")]
    BeatOrder {
        /// Index of the beat.
        index: usize,
    },
    /// A bar starts on no beat of the grid, or out of order.
    #[error("bar {index} does not start on a later beat than the bar before it")]
    BarOrder {
        /// Index of the bar.
        index: usize,
    },
    /// A phrase starts on no beat of the grid, or out of order.
    #[error("phrase {index} does not start on a later beat than the phrase before it")]
    PhraseOrder {
        /// Index of the phrase.
        index: usize,
    },
}

impl Grid {
    /// A grid of `beats` (seconds, strictly ascending), `bars` and `phrases` (beat indices, strictly ascending).
    ///
    /// # Errors
    /// [`GridError`] names the first entry that is out of order or out of range.
    pub fn new(beats: Vec<Seconds>, bars: Vec<usize>, phrases: Vec<Phrase>) -> Result<Self, GridError> {
        for (index, beat) in beats.iter().enumerate() {
            if !beat.0.is_finite() || beat.0 < 0.0 {
                return Err(GridError::NotATime { index });
            }
            if index > 0 && beats[index - 1].0 >= beat.0 {
                return Err(GridError::BeatOrder { index });
            }
        }
        let ascending = |starts: &mut dyn Iterator<Item = usize>| {
            let mut last = None;
            for (index, start) in starts.enumerate() {
                if start >= beats.len() || last.is_some_and(|last| start <= last) {
                    return Some(index);
                }
                last = Some(start);
            }
            None
        };
        if let Some(index) = ascending(&mut bars.iter().copied()) {
            return Err(GridError::BarOrder { index });
        }
        if let Some(index) = ascending(&mut phrases.iter().map(|phrase| phrase.start)) {
            return Err(GridError::PhraseOrder { index });
        }
        Ok(Self { beats, bars, phrases })
    }

    /// The same grid with times to a tenth of a millisecond, as they are written: read again, it is equal.
    #[must_use]
    pub fn rounded(mut self) -> Self {
        self.beats.iter_mut().for_each(|beat| *beat = tenth_of_a_millisecond(*beat));
        self
    }

    /// The beats, ascending.
    #[must_use]
    pub fn beats(&self) -> &[Seconds] {
        &self.beats
    }

    /// Indices of the beats that start bars, ascending.
    #[must_use]
    pub fn bars(&self) -> &[usize] {
        &self.bars
    }

    /// The phrases, by ascending start.
    #[must_use]
    pub fn phrases(&self) -> &[Phrase] {
        &self.phrases
    }

    /// How many beats there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.beats.len()
    }

    /// Whether no beat was found.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.beats.is_empty()
    }

    /// One beat after the last: where a dance may end at the latest.
    #[must_use]
    pub fn end(&self) -> Beat {
        Beat::from(self.beats.len())
    }

    /// When a position sounds. Between beats it is interpolated; outside them the nearest beat length goes on.
    #[must_use]
    pub fn seconds_at(&self, at: Beat) -> Seconds {
        let last = match self.beats.len() {
            0 => return Seconds(at.0 * DEFAULT_BEAT),
            n => n - 1,
        };
        let from = at.index().min(last.saturating_sub(1));
        Seconds(self.beats[from].0 + (at.0 - from as f64) * self.beat_length(from))
    }

    /// Which position sounds at an instant: the inverse of [`Grid::seconds_at`].
    #[must_use]
    pub fn beat_at(&self, at: Seconds) -> Beat {
        if self.beats.is_empty() {
            return Beat(at.0 / DEFAULT_BEAT);
        }
        let after = self.beats.partition_point(|beat| beat.0 <= at.0);
        let from = after.saturating_sub(1).min(self.beats.len().saturating_sub(2));
        Beat(from as f64 + (at.0 - self.beats[from].0) / self.beat_length(from))
    }

    /// The tempo around a position: the median of the (up to) four beat lengths that surround it.
    #[must_use]
    pub fn tempo_at(&self, at: Beat) -> Bpm {
        let last = self.beats.len().saturating_sub(1);
        let middle = at.index().min(last);
        let first = middle.saturating_sub(2).min(last.saturating_sub(4));
        let mut lengths: Vec<f64> =
            (first..(first + 4).min(last)).map(|beat| self.beat_length(beat)).collect();
        if lengths.is_empty() {
            return Bpm(60.0 / DEFAULT_BEAT);
        }
        lengths.sort_by(f64::total_cmp);
        let half = lengths.len() / 2;
        let median =
            if lengths.len() % 2 == 1 { lengths[half] } else { 0.5 * (lengths[half - 1] + lengths[half]) };
        Bpm::from_beat_length(Seconds(median))
    }

    /// Seconds from beat `index` to the next; `index` must be a beat. The last beat is as long as the one before it.
    fn beat_length(&self, index: usize) -> f64 {
        let from = index.min(self.beats.len().saturating_sub(2));
        match (self.beats.get(from), self.beats.get(from + 1)) {
            (Some(a), Some(b)) => b.0 - a.0,
            _ => DEFAULT_BEAT,
        }
    }
}

fn tenth_of_a_millisecond(at: Seconds) -> Seconds {
    Seconds((at.0 * 1e4).round() / 1e4)
}

/// The JSON form of a grid, checked when it is turned into one.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct RawGrid {
    beats: Vec<f64>,
    bars: Vec<usize>,
    phrases: Vec<Phrase>,
}

impl TryFrom<RawGrid> for Grid {
    type Error = GridError;
    fn try_from(raw: RawGrid) -> Result<Self, GridError> {
        Self::new(raw.beats.into_iter().map(Seconds).collect(), raw.bars, raw.phrases)
    }
}

impl From<Grid> for RawGrid {
    fn from(grid: Grid) -> Self {
        let beats = grid.beats.iter().map(|&beat| tenth_of_a_millisecond(beat).0).collect();
        Self { beats, bars: grid.bars, phrases: grid.phrases }
    }
}

impl fmt::Display for Phrase {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.letter)
    }
}

#[cfg(test)]
mod tests;
