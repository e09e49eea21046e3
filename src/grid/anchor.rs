//! Anchors: what the teacher says about the grid. They outrank whatever was heard.

use super::Phrase;
use crate::units::Seconds;
use serde::{Deserialize, Serialize};
use std::fmt;

/// One correction. The decoder must honour every anchor and hear the rest again around them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Anchor {
    /// She tapped along here: a beat is near, with human scatter (some 30 ms, usually early).
    Tap {
        /// When the tap came, in the recording's heard time.
        at: Seconds,
    },
    /// A beat is exactly here.
    Beat {
        /// When.
        at: Seconds,
    },
    /// A bar starts on the beat nearest to here.
    BarStart {
        /// When.
        at: Seconds,
    },
    /// A phrase starts on the beat nearest to here.
    CountOne {
        /// When.
        at: Seconds,
    },
    /// From here on the beat is twice or half what was heard.
    Level {
        /// From when.
        from: Seconds,
        /// Which.
        level: Level,
    },
    /// From here on the beat falls between the beats that were heard.
    ShiftHalf {
        /// From when.
        from: Seconds,
    },
    /// From here on bars have this many beats.
    Metre {
        /// From when.
        from: Seconds,
        /// Beats in a bar, 1 to 16.
        beats: u8,
    },
    /// A phrase starts on the beat nearest to here, and from here on phrases have this many counts, until the next such
    /// correction. A [`Anchor::CountOne`] on the way begins to count anew.
    PhraseLength {
        /// From when.
        from: Seconds,
        /// Counts in a phrase, 1 to 256.
        counts: u16,
    },
    /// One beat that is held: beats are exactly here and there, and none lies between. A fermata, or a beat too many that
    /// was taken out.
    Hold {
        /// The beat that is held.
        at: Seconds,
        /// The beat after it, at most a minute later.
        until: Seconds,
    },
    /// The beats that a file gave: these and no others. What was said before it counts no more, what was said later does.
    Given {
        /// When the beats are, ascending.
        beats: Vec<Seconds>,
        /// Which of them start bars, ascending; empty when the file does not say, and then bars are heard.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        bars: Vec<usize>,
        /// Where phrases start, ascending; empty when the file does not say. A letter that is empty is heard.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        phrases: Vec<Phrase>,
    },
}

/// The longest time that one beat can be held.
pub const LONGEST_HOLD: Seconds = Seconds(60.0);

/// A change of metrical level: which notes are counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Level {
    /// Twice as fast.
    Double,
    /// Half as fast.
    Half,
}

impl Anchor {
    /// When it is, or from when on it holds.
    #[must_use]
    pub fn when(&self) -> Seconds {
        match *self {
            Self::Tap { at }
            | Self::Beat { at }
            | Self::BarStart { at }
            | Self::CountOne { at }
            | Self::Hold { at, .. } => at,
            Self::Level { from, .. }
            | Self::ShiftHalf { from }
            | Self::Metre { from, .. }
            | Self::PhraseLength { from, .. } => from,
            Self::Given { ref beats, .. } => beats.first().copied().unwrap_or(Seconds(0.0)),
        }
    }
}

/// As a teacher would say it: `bars of 3 from 0:12.4`.
impl fmt::Display for Anchor {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Tap { at } => write!(f, "tapped at {at}"),
            Self::Beat { at } => write!(f, "a beat at {at}"),
            Self::BarStart { at } => write!(f, "a bar begins at {at}"),
            Self::CountOne { at } => write!(f, "count one at {at}"),
            Self::Level { from, level: Level::Double } => write!(f, "twice as fast from {from}"),
            Self::Level { from, level: Level::Half } => write!(f, "half as fast from {from}"),
            Self::ShiftHalf { from } => write!(f, "half a beat later from {from}"),
            Self::Metre { from, beats } => write!(f, "bars of {beats} from {from}"),
            Self::PhraseLength { from, counts } => write!(f, "phrases of {counts} counts from {from}"),
            Self::Hold { at, until } => write!(f, "the beat at {at} is held until {until}"),
            Self::Given { beats, .. } => match (beats.first(), beats.last()) {
                (Some(from), Some(to)) => write!(f, "{} beats from a file, {from} to {to}", beats.len()),
                _ => f.write_str("no beats from a file"),
            },
        }
    }
}
