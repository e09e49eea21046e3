//! The network's features of a recording that comes piece by piece.
//!
//! The network hears a recording at a level of its own, which is only known at the end. So the amplitudes of the bands
//! are kept, in half the room of a float each (26 MB an hour), and the samples need not be.

use super::features::{
    FeatureExtractor, LEVEL_BLOCK, STEP_SAMPLES, VALUES, block_power, gain_of_powers, level,
};
use super::{HEADS, Likelihood, Network, PIECE, Pass, SHIPPED, Source, WeightsError};
use pulp::Arch;

/// Steps of samples kept before the next step's middle: more than half of the longest window.
const BEFORE: usize = 3;
/// Samples needed after a step's middle.
const AFTER: usize = 1_300;

/// Takes mono samples at 22 050 Hz as they come.
#[derive(Default)]
pub struct Hearing {
    extractor: FeatureExtractor,
    /// Samples from the step `first` on.
    held: Vec<f32>,
    first: usize,
    /// Samples taken so far.
    taken: usize,
    /// Upper halves of the amplitudes' bits, [`VALUES`] a step.
    amplitudes: Vec<u16>,
    powers: Vec<f32>,
    /// Samples of the level block that is not full yet.
    block: Vec<f32>,
}

impl Hearing {
    /// Takes the next samples.
    pub fn push(&mut self, mono: &[f32]) {
        self.taken += mono.len();
        self.held.extend_from_slice(mono);
        self.block.extend_from_slice(mono);
        let whole = self.block.len() - self.block.len() % LEVEL_BLOCK;
        self.powers.extend(self.block[..whole].chunks_exact(LEVEL_BLOCK).map(block_power));
        self.block.drain(..whole);
        self.measure(self.taken.saturating_sub(AFTER) / STEP_SAMPLES);
    }

    /// What the shipped network hears in all that was taken.
    ///
    /// # Errors
    /// [`WeightsError`] when the weights inside the program are damaged.
    pub fn finish(self) -> Result<Likelihood, WeightsError> {
        Ok(self.heard_by(&Network::read(SHIPPED)?))
    }

    /// Measures the steps before `until`.
    fn measure(&mut self, until: usize) {
        let mut values = [0.0; VALUES];
        for step in self.amplitudes.len() / VALUES..until {
            self.extractor.amplitudes(&self.held, step - self.first, &mut values);
            self.amplitudes.extend(values.iter().map(|value| (value.to_bits() >> 16) as u16));
        }
        let keep = until.saturating_sub(BEFORE).max(self.first);
        let used = ((keep - self.first) * STEP_SAMPLES).min(self.held.len());
        if used > 1 << 14 {
            self.held.drain(..used);
            self.first = keep;
        }
    }

    fn heard_by(mut self, network: &Network) -> Likelihood {
        let steps = FeatureExtractor::steps(self.taken);
        self.measure(steps);
        if !self.block.is_empty() {
            self.powers.push(block_power(&self.block));
        }
        let gain = gain_of_powers(std::mem::take(&mut self.powers));
        if gain == 0.0 {
            return Likelihood::nothing(steps);
        }
        let mut answers = Vec::with_capacity(steps * HEADS);
        for first in (0..steps).step_by(PIECE) {
            let last = (first + PIECE).min(steps);
            let from = first.saturating_sub(network.reach());
            let to = (last + network.reach()).min(steps);
            let source = Kept { amplitudes: &self.amplitudes, gain, step: from };
            let heard = Arch::new().dispatch(Pass { network, source, steps: to - from });
            answers.extend_from_slice(&heard[(first - from) * HEADS..(last - from) * HEADS]);
        }
        Likelihood::from_answers(&answers)
    }
}

/// Features from kept amplitudes, from step `step` on.
struct Kept<'a> {
    amplitudes: &'a [u16],
    gain: f32,
    step: usize,
}

impl Kept<'_> {
    fn values(&self, step: usize, values: &mut [f32; VALUES]) {
        let kept = &self.amplitudes[step * VALUES..][..VALUES];
        for (value, &half) in values.iter_mut().zip(kept) {
            *value = level(f32::from_bits(u32::from(half) << 16), self.gain);
        }
    }
}

impl Source for Kept<'_> {
    fn before(&mut self, back: usize, values: &mut [f32; VALUES]) -> bool {
        let step = self.step.checked_sub(back);
        step.inspect(|step| self.values(*step, values)).is_some()
    }

    fn next(&mut self, values: &mut [f32; VALUES]) {
        self.values(self.step, values);
        self.step += 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_recording_in_pieces_is_heard_as_the_whole() {
        let sound: Vec<f32> = (0..22_050 * 6)
            .map(|n| {
                let t = n as f32 / 22_050.0;
                (t * 2_764.6).sin() * (-8.0 * (t % 0.5)).exp() * 0.4
            })
            .collect();
        let whole = super::super::likelihood(&sound).expect("the shipped weights are whole");
        let mut hearing = Hearing::default();
        for piece in sound.chunks(1_000) {
            hearing.push(piece);
        }
        let pieces = hearing.finish().expect("the shipped weights are whole");
        assert_eq!((whole.beat.len(), whole.period.len()), (pieces.beat.len(), pieces.period.len()));
        // Half a float keeps an amplitude within 0.8 %.
        let apart = whole.beat.iter().zip(&pieces.beat).map(|(a, b)| (a - b).abs()).fold(0.0, f32::max);
        assert!(apart < 0.2, "{apart}");
        assert_eq!(Hearing::default().finish().expect("whole"), Likelihood::default());
    }
}
