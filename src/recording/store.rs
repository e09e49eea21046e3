//! Decoded samples on their way into one exactly sized buffer.
//!
//! Headers are not trusted with an allocation: samples gather in pieces as they come and move into the final
//! buffer at the end, each piece given back as soon as it is copied, so memory peaks at one recording and
//! a piece, not at two.

use std::sync::Arc;
use symphonia::core::audio::GenericAudioBufferRef;

/// Samples to a piece: 32 MiB of them, since smaller blocks may stay with the allocator when they are freed (glibc
/// keeps up to that size). The system hands out what is reserved only as it is filled.
const PIECE: usize = 1 << 23;

/// Frames of silence written at once.
const SILENCE_FRAMES: u64 = 4096;

/// Gathers interleaved samples, leaving out the first frames and silencing what is not a number.
pub(super) struct Store {
    pieces: Vec<Vec<f32>>,
    kept: usize,
    channels: usize,
    to_skip: u64,
    scratch: Vec<f32>,
    /// Samples that were NaN or infinite.
    pub(super) bad_samples: u64,
    /// Frames that came in, those left out included.
    pub(super) frames_seen: u64,
}

impl Store {
    /// An empty store for frames of `channels` samples that leaves out the first `skip` frames.
    pub(super) fn new(channels: usize, skip: u64) -> Self {
        Self {
            pieces: Vec::new(),
            kept: 0,
            channels,
            to_skip: skip,
            scratch: Vec::new(),
            bad_samples: 0,
            frames_seen: 0,
        }
    }

    /// Frames held.
    pub(super) fn frames(&self) -> u64 {
        (self.kept / self.channels) as u64
    }

    /// Takes a decoded packet, which must have as many channels as the store.
    pub(super) fn push(&mut self, packet: &GenericAudioBufferRef<'_>) {
        let mut scratch = std::mem::take(&mut self.scratch);
        scratch.resize(packet.samples_interleaved(), 0.0);
        packet.copy_to_slice_interleaved(&mut scratch);
        self.extend(&mut scratch);
        self.scratch = scratch;
    }

    /// Takes `frames` of silence, standing for sound that could not be decoded.
    pub(super) fn push_silence(&mut self, frames: u64) {
        let mut left = frames;
        let mut quiet = std::mem::take(&mut self.scratch);
        while left > 0 {
            let now = left.min(SILENCE_FRAMES);
            quiet.clear();
            quiet.resize(now as usize * self.channels, 0.0);
            self.extend(&mut quiet);
            left -= now;
        }
        self.scratch = quiet;
    }

    fn extend(&mut self, samples: &mut [f32]) {
        let frames = (samples.len() / self.channels) as u64;
        self.frames_seen += frames;
        let skipped = self.to_skip.min(frames);
        self.to_skip -= skipped;
        let mut rest = &mut samples[skipped as usize * self.channels..];
        for sample in rest.iter_mut().filter(|sample| !sample.is_finite()) {
            *sample = 0.0;
            self.bad_samples += 1;
        }
        while !rest.is_empty() {
            if self.pieces.last().is_none_or(|piece| piece.len() == PIECE) {
                self.pieces.push(Vec::with_capacity(PIECE));
            }
            let Some(piece) = self.pieces.last_mut() else { return };
            let (now, later) = rest.split_at_mut(rest.len().min(PIECE - piece.len()));
            piece.extend_from_slice(now);
            self.kept += now.len();
            rest = later;
        }
    }

    /// The samples in one buffer, cut to `keep` frames where that is fewer, behind `lead` frames of silence.
    pub(super) fn finish(self, keep: Option<u64>, lead: u64) -> Arc<[f32]> {
        let frames = keep.unwrap_or(u64::MAX).min(self.frames());
        if frames == 0 {
            return Arc::default();
        }
        let lead = lead as usize * self.channels;
        let length = lead + frames as usize * self.channels;
        let mut samples = self.pieces.into_iter().flatten();
        // A range's length is trusted by the collecting code, so this allocates once; `flatten` drops each
        // piece when it is spent. There are samples enough, so the last 0 is never used.
        (0..length).map(|i| if i < lead { 0.0 } else { samples.next().unwrap_or(0.0) }).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn filled(channels: usize, skip: u64, packets: &[usize]) -> Store {
        let mut store = Store::new(channels, skip);
        let mut next = 0;
        for frames in packets {
            let mut packet: Vec<f32> = (next..next + frames * channels).map(|i| i as f32).collect();
            next += packet.len();
            store.extend(&mut packet);
        }
        store
    }

    #[test]
    fn samples_come_out_in_order_across_pieces() {
        for channels in [1, 2, 3] {
            let store = filled(channels, 0, &[1, 70_000, PIECE, 5]);
            let out = store.finish(None, 0);
            assert_eq!(out.len(), (70_006 + PIECE) * channels);
            assert!(out.iter().enumerate().all(|(i, &sample)| sample == i as f32));
        }
    }

    #[test]
    fn the_first_frames_are_left_out_and_the_end_is_cut() {
        let store = filled(2, 1_105, &[1_000, 1_000, 1_000]);
        assert_eq!((store.frames_seen, store.frames()), (3_000, 1_895));
        let out = store.finish(Some(10), 0);
        assert_eq!((out.len(), out[0], out[19]), (20, 2_210.0, 2_229.0));
        let out = filled(1, 0, &[3]).finish(None, 2);
        assert_eq!(out.as_ref(), &[0.0, 0.0, 0.0, 1.0, 2.0]);
    }

    #[test]
    fn what_is_not_a_number_is_silence_and_counted() {
        let mut store = Store::new(1, 0);
        store.extend(&mut [0.5, f32::NAN, f32::INFINITY, f32::NEG_INFINITY, f32::MAX]);
        assert_eq!(store.bad_samples, 3);
        assert_eq!(store.finish(None, 0).as_ref(), &[0.5, 0.0, 0.0, 0.0, f32::MAX]);
    }
}
