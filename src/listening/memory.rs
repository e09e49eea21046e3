//! What is kept of a recording's sound so that its grid can be heard again with other anchors, without the sound.

use super::form::sureness_of;
use super::{
    Envelope, Evidence, HeardGrid, Listening, Remembered, Settings, Sureness, decode, decode_remembering,
    describe_with_attacks,
};
use crate::grid::{Anchor, Grid};
use serde::{Deserialize, Serialize};

/// The evidence for beats and the loudness of one recording: about 8 kB a second of sound.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Memory {
    /// What speaks for beats, bars and phrases.
    pub evidence: Evidence,
    /// Loudness.
    pub envelope: Envelope,
}

impl Memory {
    /// The grid with every anchor honoured. Times are as exact as the decoder gives them; see [`Grid::rounded`].
    #[must_use]
    pub fn grid(&self, anchors: &[Anchor]) -> HeardGrid {
        decode(&self.evidence, anchors)
    }

    /// The same for someone who asks again and again: quicker with what was found before for this memory, and equal.
    #[must_use]
    pub fn grid_again(&self, anchors: &[Anchor], remembered: &mut Remembered) -> HeardGrid {
        decode_remembering(&self.evidence, anchors, &Settings::default(), remembered)
    }

    /// Everything that can be told of the recording on this grid.
    #[must_use]
    pub fn describe(&self, heard: HeardGrid) -> Listening {
        describe_with_attacks(&self.envelope, &self.evidence.attacks(), heard)
    }

    /// How strongly the sound speaks for the beats of each bar of any grid: one entry a bar.
    #[must_use]
    pub fn sureness(&self, grid: &Grid) -> Vec<Sureness> {
        sureness_of(&self.evidence, grid.beats(), grid.bars())
    }
}
