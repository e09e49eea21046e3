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
