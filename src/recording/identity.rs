//! Knowing a recording again by its samples, whatever its file is called.

use crate::identity::Identity;
use crate::units::SampleRate;

impl Identity {
    /// What identifies `samples` (interleaved, `channels` to a frame) at `rate`.
    ///
    /// The hash is BLAKE3 over these bytes: the rate as an unsigned 32-bit number, the channel count as an
    /// unsigned 16-bit number, then each sample's IEEE 754 single-precision bits, everything
    /// little-endian, nothing in between.
    #[must_use]
    pub fn of(samples: &[f32], channels: u16, rate: SampleRate) -> Self {
        let mut fingerprint = Fingerprint::new(channels, rate);
        fingerprint.push(samples);
        fingerprint.finish()
    }
}

/// Bytes hashed at once. BLAKE3 hashes blocks of 1 kB side by side, as many as the processor's vectors are wide, but only where it
/// is given them together and from a multiple of so many on: this is four times the widest.
const SPAN: usize = 1 << 16;

/// An [`Identity`] in the making, from samples that come in pieces.
pub(super) struct Fingerprint {
    hasher: blake3::Hasher,
    /// Bytes that do not fill a span yet.
    waiting: Vec<u8>,
    channels: u16,
    rate: SampleRate,
    samples: u64,
}

impl Fingerprint {
    pub(super) fn new(channels: u16, rate: SampleRate) -> Self {
        let mut waiting = Vec::from(rate.0.to_le_bytes());
        waiting.extend(channels.to_le_bytes());
        Self { hasher: blake3::Hasher::new(), waiting, channels, rate, samples: 0 }
    }

    /// Takes the next samples, interleaved.
    pub(super) fn push(&mut self, samples: &[f32]) {
        self.samples += samples.len() as u64;
        for block in samples.chunks(SPAN / 4) {
            let at = self.waiting.len();
            self.waiting.resize(at + 4 * block.len(), 0);
            let (fours, _) = self.waiting[at..].as_chunks_mut();
            for (four, sample) in fours.iter_mut().zip(block) {
                *four = sample.to_le_bytes();
            }
            if let Some((span, _)) = self.waiting.split_first_chunk::<SPAN>() {
                self.hasher.update(span);
                self.waiting.drain(..SPAN);
            }
        }
    }

    pub(super) fn finish(mut self) -> Identity {
        self.hasher.update(&self.waiting);
        let frames = self.samples / u64::from(self.channels.max(1));
        Identity { hash: self.hasher.finalize().to_hex().to_string(), frames, rate: self.rate.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::identity::Likeness;

    #[test]
    fn the_hash_is_over_the_documented_bytes() {
        let samples = [0.0f32, 1.0, -0.5, 0.25];
        let mut bytes = vec![0x80, 0xbb, 0, 0, 2, 0];
        bytes.extend([0, 0, 0, 0, 0, 0, 0x80, 0x3f, 0, 0, 0, 0xbf, 0, 0, 0x80, 0x3e]);
        let identity = Identity::of(&samples, 2, SampleRate(48_000));
        assert_eq!(identity.hash, blake3::hash(&bytes).to_hex().as_str());
        assert_eq!((identity.frames, identity.rate), (2, 48_000));
    }

    #[test]
    fn the_hash_does_not_depend_on_the_pieces() {
        // Over several spans, whose ends fall inside a sample.
        let samples: Vec<f32> = (0..3 * SPAN / 4 + 5).map(|n| (n as f32).sin()).collect();
        let mut bytes = vec![0x44, 0xac, 0, 0, 1, 0];
        bytes.extend(samples.iter().flat_map(|sample| sample.to_le_bytes()));
        let expected = blake3::hash(&bytes);
        for size in [1, 1_152, SPAN / 4 - 2, SPAN / 4, SPAN / 2 + 1, samples.len()] {
            let mut fingerprint = Fingerprint::new(1, SampleRate(44_100));
            samples.chunks(size).for_each(|piece| fingerprint.push(piece));
            assert_eq!(fingerprint.finish().hash, expected.to_hex().as_str(), "pieces of {size}");
        }
    }

    #[test]
    fn rate_channels_and_every_sample_count() {
        let samples: Vec<f32> = (0..10_000).map(|i| i as f32 / 10_000.0).collect();
        let whole = Identity::of(&samples, 2, SampleRate(48_000));
        assert_eq!(whole.compare(&Identity::of(&samples, 2, SampleRate(48_000))), Likeness::Same);
        assert_eq!(whole.compare(&Identity::of(&samples, 2, SampleRate(44_100))), Likeness::Different);
        assert_eq!(whole.compare(&Identity::of(&samples, 1, SampleRate(48_000))), Likeness::Different);
        assert_eq!(whole.compare(&Identity::of(&samples[2..], 2, SampleRate(48_000))), Likeness::Different);
        let mut nudged = samples.clone();
        nudged[9_999] = f32::from_bits(nudged[9_999].to_bits() + 1);
        assert_eq!(whole.compare(&Identity::of(&nudged, 2, SampleRate(48_000))), Likeness::SameLength);
    }
}
