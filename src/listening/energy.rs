//! Energy: how much moving a phrase asks for, 1 (still) to 5 (wild). The weights are ours (no source exists).

use super::loudness::{Envelope, quantile};
use crate::units::{Bpm, Lufs};

/// Tempo at which it begins to count, and at which it counts in full, in BPM: from slower than children follow to
/// faster than they jump (reference: 80 to 160 is comfortable from five years on).
const SLOW: f64 = 60.0;
const FAST: f64 = 170.0;
/// New notes a second that count in full.
const BUSY: f64 = 8.0;
/// Loudness range from which loudness counts in full; under it, the louder phrase is hardly louder.
const WIDE: f64 = 10.0;

/// What loudness means in this recording.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Scale {
    soft: f64,
    loud: f64,
}

impl Scale {
    /// From the 10th to the 95th percentile of short-term loudness as played; in silence everything is still.
    pub(super) fn of(envelope: &Envelope) -> Self {
        let levels = envelope.played_short_term();
        let at = |share| quantile(&levels, share).unwrap_or(0.0);
        Self { soft: at(0.10), loud: at(0.95) }
    }

    /// The energy of a phrase at this short-term loudness, tempo and notes a second.
    pub(super) fn energy(&self, level: Lufs, bpm: Bpm, notes: f64) -> u8 {
        let range = self.loud - self.soft;
        // More than the range under its lower end, there is next to nothing to hear.
        if level.0 < self.soft - range.max(WIDE) {
            return 1;
        }
        let place = ((level.0 - self.soft) / range.max(1.0)).clamp(0.0, 1.0);
        let loudness = 0.5 + (place - 0.5) * (range / WIDE).clamp(0.0, 1.0);
        let tempo = ((bpm.0 - SLOW) / (FAST - SLOW)).clamp(0.0, 1.0);
        let busy = (notes / BUSY).clamp(0.0, 1.0);
        let all = 0.5 * loudness + 0.4 * tempo + 0.1 * busy;
        1 + (all * 5.0).floor().clamp(0.0, 4.0) as u8
    }
}
