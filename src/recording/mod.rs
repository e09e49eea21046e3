//! Recordings: decoding a file to samples, knowing it again, and reading its tags.
//!
//! This room knows nothing of beats or dances. Everything downstream reads the same decoded
//! samples, so listening and playing cannot disagree about where a beat is.

mod codec;
mod container;
mod decode;
mod error;
mod flow;
mod guard;
mod identity;
mod mp4;
mod run;
mod store;
mod tags;
mod trim;

pub use crate::identity::{Identity, Likeness};
pub use decode::{decode, decode_from, stream, stream_from};
pub use error::DecodeError;
pub use guard::decoding_is_guarded;
pub use store::Store;

use crate::units::{Frames, SampleRate, Seconds};
use serde::{Deserialize, Serialize};
use std::fmt;
use std::ops::RangeInclusive;
use std::sync::Arc;

/// The longest recording taken, in minutes: three lessons' worth, and what memory can hold.
pub const MAX_MINUTES: u64 = 90;

/// The most samples taken: [`MAX_MINUTES`] of stereo at 48 kHz, 2.07 GB of memory.
pub const MAX_SAMPLES: u64 = MAX_MINUTES * 60 * 48_000 * 2;

/// The sample rates taken, in Hz.
pub const RATES: RangeInclusive<u32> = 8_000..=192_000;

/// The most channels taken.
pub const MAX_CHANNELS: usize = 32;

/// A decoded recording, trimmed so that frame 0 is the first frame the maker meant to be heard.
#[derive(Debug, Clone)]
pub struct Recording {
    /// Interleaved samples, nominally in -1..1, `channels` to a frame; every sample is finite.
    pub samples: Arc<[f32]>,
    /// Channels in a frame, at least 1.
    pub channels: u16,
    /// Frames a second.
    pub rate: SampleRate,
    /// What identifies these samples whatever the file is called.
    pub identity: Identity,
    /// Title and performer as the file states them.
    pub tags: Tags,
    /// What the teacher should know about the decoding; empty when nothing is amiss.
    pub warnings: Vec<Warning>,
}

impl Recording {
    /// How many frames there are.
    #[must_use]
    pub fn frames(&self) -> Frames {
        Frames((self.samples.len() / usize::from(self.channels)) as u64)
    }

    /// How long the recording lasts.
    #[must_use]
    pub fn length(&self) -> Seconds {
        self.frames().to_seconds(self.rate)
    }

    /// One sample a frame, the mean of its channels, for listening; a mono recording's own samples.
    #[must_use]
    pub fn mono(&self) -> Arc<[f32]> {
        let channels = usize::from(self.channels);
        if channels == 1 {
            return Arc::clone(&self.samples);
        }
        let share = 1.0 / f32::from(self.channels);
        // A range's length is trusted by the collecting code, so this allocates once.
        let frame = |frame: usize| &self.samples[frame * channels..(frame + 1) * channels];
        (0..self.samples.len() / channels)
            .map(|i| frame(i).iter().map(|sample| sample * share).sum())
            .collect()
    }
}

/// What is known of a recording once its sound has gone by.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Particulars {
    /// Channels in a frame, at least 1.
    pub channels: u16,
    /// Frames a second.
    pub rate: SampleRate,
    /// What identifies the samples whatever the file is called.
    pub identity: Identity,
    /// Title and performer as the file states them.
    pub tags: Tags,
    /// What the teacher should know about the decoding; empty when nothing is amiss.
    pub warnings: Vec<Warning>,
}

/// The next stretch of a recording that is streamed.
#[derive(Debug, Clone, Copy)]
pub struct Piece<'a> {
    /// Whole frames, interleaved, never empty; every sample is finite.
    pub samples: &'a [f32],
    /// Channels in a frame, at least 1; the same for every piece of a recording.
    pub channels: u16,
    /// Frames a second; the same for every piece of a recording.
    pub rate: SampleRate,
}

/// The file's own words about itself; untrusted and possibly empty.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Tags {
    /// Title of the track.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub title: Option<String>,
    /// Performer.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub performer: Option<String>,
}

/// Something about the decoding that may matter in class.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "kind")]
#[non_exhaustive]
pub enum Warning {
    /// The container does not say how much padding its encoder added: another player may be up to `milliseconds` off.
    PaddingUnknown {
        /// The largest usual difference between players, in milliseconds.
        milliseconds: u32,
    },
    /// The file ends before its header says; what was decoded is kept.
    Truncated {
        /// Seconds that were promised but are not there, rounded; 0 where that is under half a second or not known.
        missing_seconds: u32,
    },
    /// Some samples were not numbers (NaN or infinite) and were silenced.
    BadSamples {
        /// How many samples.
        count: u64,
    },
    /// Damaged stretches were skipped, leaving silence of the same length where that length is known.
    Damaged {
        /// How many packets could not be decoded.
        packets: u32,
    },
    /// The file holds several recordings in a row of different kinds; only the first is there.
    OnlyFirstPart,
}

/// One sentence for the teacher: what is amiss and what to do about it.
impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::PaddingUnknown { milliseconds } => write!(
                f,
                "the file does not say where its sound begins: other players may be up to {milliseconds} ms off; for exact timing, convert it to FLAC or WAV"
            ),
            Self::Truncated { missing_seconds: 0 } => {
                f.write_str("the file is cut short: its very end is missing; copy or download it again")
            }
            Self::Truncated { missing_seconds: 1 } => {
                f.write_str("the file is cut short: the last second is missing; copy or download it again")
            }
            Self::Truncated { missing_seconds } => write!(
                f,
                "the file is cut short: the last {missing_seconds} seconds are missing; copy or download it again"
            ),
            Self::BadSamples { count: 1 } => {
                f.write_str("1 sample was not a number and was silenced; export the recording again")
            }
            Self::BadSamples { count } => {
                write!(f, "{count} samples were not numbers and were silenced; export the recording again")
            }
            Self::Damaged { packets: 1 } => {
                f.write_str("1 piece of the file is damaged and was silenced; copy or download it again")
            }
            Self::Damaged { packets } => {
                write!(
                    f,
                    "{packets} pieces of the file are damaged and were silenced; copy or download it again"
                )
            }
            Self::OnlyFirstPart => {
                f.write_str("the file holds several recordings in a row; only the first was read; split it")
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_warning_is_a_sentence_for_the_teacher() {
        let sentences = [
            (
                Warning::PaddingUnknown { milliseconds: 52 },
                "the file does not say where its sound begins: other players may be up to 52 ms off; for exact timing, convert it to FLAC or WAV",
            ),
            (
                Warning::Truncated { missing_seconds: 0 },
                "the file is cut short: its very end is missing; copy or download it again",
            ),
            (
                Warning::Truncated { missing_seconds: 1 },
                "the file is cut short: the last second is missing; copy or download it again",
            ),
            (
                Warning::Truncated { missing_seconds: 95 },
                "the file is cut short: the last 95 seconds are missing; copy or download it again",
            ),
            (
                Warning::BadSamples { count: 1 },
                "1 sample was not a number and was silenced; export the recording again",
            ),
            (
                Warning::BadSamples { count: 2 },
                "2 samples were not numbers and were silenced; export the recording again",
            ),
            (
                Warning::Damaged { packets: 1 },
                "1 piece of the file is damaged and was silenced; copy or download it again",
            ),
            (
                Warning::Damaged { packets: 3 },
                "3 pieces of the file are damaged and were silenced; copy or download it again",
            ),
            (
                Warning::OnlyFirstPart,
                "the file holds several recordings in a row; only the first was read; split it",
            ),
        ];
        for (warning, sentence) in sentences {
            assert_eq!(warning.to_string(), sentence);
        }
    }
}
