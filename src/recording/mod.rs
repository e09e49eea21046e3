//! Recordings: decoding a file to samples, knowing it again, and reading its tags.
//!
//! This room knows nothing of beats or dances. Everything downstream reads the same decoded
//! samples, so listening and playing cannot disagree about where a beat is.

pub use crate::identity::Identity;
use crate::units::{Frames, SampleRate, Seconds};
use serde::{Deserialize, Serialize};
use std::sync::Arc;

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
        /// Seconds that were promised but are not there, rounded.
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
}
