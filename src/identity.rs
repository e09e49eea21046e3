//! What a recording is known by, whatever its file is called.

use serde::{Deserialize, Serialize};

/// What a recording is known by: its samples, not its name. Two transfers of one disc differ; a copy does not.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Identity {
    /// BLAKE3 hash of rate, channel count and decoded samples, in lower-case hexadecimal (64 digits).
    pub hash: String,
    /// Frames after trimming.
    pub frames: u64,
    /// Frames a second.
    pub rate: u32,
}

/// How one recording compares with the one a dance was made for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Likeness {
    /// The same samples: every cue fits.
    Same,
    /// As many frames at the same rate, but other samples: the same transfer made louder or compressed again, or
    /// decoded with other rounding; cues very probably fit, and the teacher should listen once.
    SameLength,
    /// Another transfer or another piece: cues have to be carried across.
    Different,
}

impl Identity {
    /// How `other` compares with this recording.
    #[must_use]
    pub fn compare(&self, other: &Self) -> Likeness {
        if self == other {
            Likeness::Same
        } else if (self.frames, self.rate) == (other.frames, other.rate) {
            Likeness::SameLength
        } else {
            Likeness::Different
        }
    }
}
