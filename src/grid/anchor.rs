//! Anchors: what the teacher says about the grid. They outrank whatever was heard.

use crate::units::Seconds;
use serde::{Deserialize, Serialize};

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
}

/// A change of metrical level: which notes are counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Level {
    /// Twice as fast.
    Double,
    /// Half as fast.
    Half,
}
