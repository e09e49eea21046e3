//! Listening as the sound comes in: a piece at a time, so that a long recording need not be held whole.

use super::{Evidence, Gathering, HeardGrid, Listening, Metering, MonoStream, decode, describe_with_attacks};
use crate::grid::Anchor;
use crate::units::SampleRate;
use std::ops::ControlFlow;

/// Hears one recording from its first frame to its last.
///
/// Its two halves need nothing of each other until the end: whoever has two processors may take them apart, let both
/// hear the same pieces, and put them together again.
pub struct Listener {
    /// Hears beats.
    pub ear: Ear,
    /// Hears loudness.
    pub metering: Metering,
}

impl Listener {
    /// A listener for interleaved samples of `channels` (at least 1) at `rate`.
    #[must_use]
    pub fn new(channels: u16, rate: SampleRate) -> Self {
        Self { ear: Ear::new(channels, rate), metering: Metering::new(channels, rate) }
    }

    /// Hears the next whole frames, interleaved; every sample finite.
    pub fn push(&mut self, samples: &[f32]) {
        self.metering.push(samples);
        self.ear.push(samples);
    }

    /// What was heard, with `anchors` honoured, and the evidence to hear the grid again with others.
    #[must_use]
    pub fn finish(self, anchors: &[Anchor]) -> (Listening, Evidence) {
        let evidence = self.ear.finish();
        let grid: HeardGrid = decode(&evidence, anchors);
        (describe_with_attacks(&self.metering.finish(), &evidence.attacks(), grid), evidence)
    }
}

/// Gathers the evidence for a grid from interleaved samples.
pub struct Ear {
    mono: MonoStream,
    gathering: Gathering,
    /// The newest mono samples, kept to save an allocation a piece.
    fresh: Vec<f32>,
}

impl Ear {
    /// An ear for interleaved samples of `channels` (at least 1) at `rate`.
    #[must_use]
    pub fn new(channels: u16, rate: SampleRate) -> Self {
        Self { mono: MonoStream::new(channels, rate), gathering: Gathering::default(), fresh: Vec::new() }
    }

    /// Hears the next whole frames, interleaved; every sample finite.
    pub fn push(&mut self, samples: &[f32]) {
        self.fresh.clear();
        self.mono.push(samples, &mut self.fresh);
        self.gathering.push(&self.fresh);
    }

    /// The evidence of all that was heard.
    #[must_use]
    pub fn finish(mut self) -> Evidence {
        self.fresh.clear();
        self.mono.finish(&mut self.fresh);
        self.gathering.push(&self.fresh);
        self.gathering.finish()
    }
}

/// Listens to a whole recording: `samples` interleaved, `channels` (at least 1) to a frame, finite.
///
/// `progress` is told the part that is done (0 to 1) about once a second of sound; when it breaks, `None` is returned.
pub fn listen(
    samples: &[f32],
    channels: u16,
    rate: SampleRate,
    anchors: &[Anchor],
    progress: &mut dyn FnMut(f32) -> ControlFlow<()>,
) -> Option<Listening> {
    let mut listener = Listener::new(channels, rate);
    let second = usize::from(channels.max(1)) * (rate.0.max(1) as usize);
    for (index, piece) in samples.chunks(second).enumerate() {
        if progress((index * second) as f32 / samples.len() as f32).is_break() {
            return None;
        }
        listener.push(piece);
    }
    Some(listener.finish(anchors).0)
}
