//! Streamed samples on their way into one exactly sized buffer.
//!
//! Headers are not trusted with an allocation: samples gather in pieces as they come and move into the final
//! buffer at the end, each piece given back as soon as it is copied, so memory peaks at one recording and
//! a piece, not at two.

use super::{Particulars, Recording};
use std::sync::Arc;

/// Samples to a piece: 32 MiB of them, since smaller blocks may stay with the allocator when they are freed (glibc
/// keeps up to that size). The system hands out what is reserved only as it is filled.
const PIECE: usize = 1 << 23;

/// Gathers what [`stream`](super::stream) hands on, for those who need a recording whole.
#[derive(Debug, Default)]
pub struct Store {
    pieces: Vec<Vec<f32>>,
}

impl Store {
    /// Takes the next samples.
    pub fn push(&mut self, mut samples: &[f32]) {
        while !samples.is_empty() {
            if self.pieces.last().is_none_or(|piece| piece.len() == PIECE) {
                self.pieces.push(Vec::with_capacity(PIECE));
            }
            let Some(piece) = self.pieces.last_mut() else { return };
            let (now, later) = samples.split_at(samples.len().min(PIECE - piece.len()));
            piece.extend_from_slice(now);
            samples = later;
        }
    }

    /// The recording that was streamed, of which `particulars` are known.
    #[must_use]
    pub fn into_recording(self, particulars: Particulars) -> Recording {
        let Particulars { channels, rate, identity, tags, warnings } = particulars;
        Recording { samples: self.into_samples(), channels, rate, identity, tags, warnings }
    }

    fn into_samples(self) -> Arc<[f32]> {
        let length = self.pieces.iter().map(Vec::len).sum();
        let mut samples = self.pieces.into_iter().flatten();
        // A range's length is trusted by the collecting code, so this allocates once; `flatten` drops each
        // piece when it is spent. There are samples enough, so the 0 is never used.
        (0..length).map(|_: usize| samples.next().unwrap_or(0.0)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn samples_come_out_in_order_across_pieces() {
        let mut store = Store::default();
        let mut next = 0;
        for length in [1, 70_000, PIECE, 0, 5] {
            let samples: Vec<f32> = (next..next + length).map(|i| i as f32).collect();
            store.push(&samples);
            next += length;
        }
        let out = store.into_samples();
        assert_eq!(out.len(), 70_006 + PIECE);
        assert!(out.iter().enumerate().all(|(i, &sample)| sample == i as f32));
        assert!(Store::default().into_samples().is_empty());
    }
}
