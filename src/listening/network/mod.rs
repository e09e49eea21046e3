//! A small convolutional network that hears, 100 times a second, how likely a beat and a bar start are.
//!
//! Pure arithmetic on samples: it decides nothing about tempo or grid, which is the decoder's work. The weights come from
//! `training/`, which makes its material with the very features used here.

pub mod features;
mod layers;
mod weights;

use features::{FeatureExtractor, levelling_gain};
use layers::{Ending, TILE};
use pulp::{Arch, Simd, WithSimd};
pub use weights::{Network, WeightsError};

/// Likelihood values a second.
pub const FRAMES_PER_SECOND: f64 = 2.0 * features::STEPS_PER_SECOND;
/// Tempo rows a second.
pub const TEMPO_ROWS_PER_SECOND: f64 = features::STEPS_PER_SECOND / STEPS_PER_TEMPO_ROW as f64;
/// Beat periods that the tempo rows tell apart.
pub const PERIODS: usize = 37;

/// Events (beat, bar start, half-beat), each for both halves of a step.
const EVENT_HEADS: usize = 6;
const STEPS_PER_TEMPO_ROW: usize = 5;
/// The answer where there is nothing at all to hear: one in 20 000.
const NOTHING: f32 = -9.9;
/// Steps heard in one go: ten minutes. Longer recordings are taken in overlapping pieces, with the same result in less memory.
const PIECE: usize = 30_000;

/// The shipped weights; their licence is the program's, their making is in `training/README.md`.
static SHIPPED: &[u8] = include_bytes!("../../../assets/listening/network.bin");

/// How likely things are at every moment of a recording.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Likelihood {
    /// Natural log-odds of a beat in each 10 ms frame; frame k is centred on k / 100 s. About -4 to -9 away from beats, above 0 on
    /// clear ones.
    pub beat: Vec<f32>,
    /// Natural log-odds of a bar start in each frame.
    pub downbeat: Vec<f32>,
    /// Natural log-odds, in each frame, of the middle of a beat, or of its thirds in compound time.
    pub half: Vec<f32>,
    /// Natural log-probability of each beat period in [`periods_s`], ten rows a second; row k covers k / 10 s up to (k + 1) / 10 s.
    pub period: Vec<[f32; PERIODS]>,
    /// Natural log-odds that beats fall into thirds, ten values a second as `period`.
    pub thirds: Vec<f32>,
}

/// The beat periods that [`Likelihood::period`] tells apart: 0.24 s (250 a minute) to 1.92 s (31 a minute), twelve an octave.
pub fn periods_s() -> [f64; PERIODS] {
    std::array::from_fn(|k| 0.24 * 2f64.powf(k as f64 / 12.0))
}

/// What the shipped network hears in mono samples at 22 050 Hz.
///
/// Scaling the samples changes nothing. Two values for every 20 ms or part of it; none for no samples. Samples that are
/// not finite are heard as silence.
///
/// # Errors
/// [`WeightsError`] when the weights inside the program are damaged.
pub fn likelihood(mono_22050: &[f32]) -> Result<Likelihood, WeightsError> {
    Ok(Network::read(SHIPPED)?.listen(mono_22050))
}

impl Network {
    /// What this network hears in mono samples at 22 050 Hz; see [`likelihood`].
    pub fn listen(&self, mono_22050: &[f32]) -> Likelihood {
        let gain = levelling_gain(mono_22050);
        let steps = FeatureExtractor::steps(mono_22050.len());
        let mut extractor = FeatureExtractor::new();
        if gain == 0.0 || extractor.values_per_step() * 2 != self.entry.inputs() {
            return Likelihood::nothing(steps);
        }
        let mut answers = Vec::with_capacity(steps * self.heads.outputs());
        for first in (0..steps).step_by(PIECE) {
            let last = (first + PIECE).min(steps);
            let from = first.saturating_sub(self.reach());
            let to = (last + self.reach()).min(steps);
            let mut entered = vec![0.0; (to - from) * self.entry.outputs()];
            let measured = Measured { extractor: &mut extractor, mono: mono_22050, gain, step: from };
            Arch::new().dispatch(Enter { network: self, source: measured, entered: &mut entered });
            let heard = self.through(entered);
            let width = self.heads.outputs();
            answers.extend_from_slice(&heard[(first - from) * width..(last - from) * width]);
        }
        Likelihood::from_answers(&answers, self.heads.outputs())
    }

    /// The answers to features already measured (`values_per_step` numbers a step): a row of heads a step.
    #[cfg(test)]
    fn answer(&self, features: &[f32]) -> Vec<f32> {
        let steps = features.len() * 2 / self.entry.inputs();
        let mut entered = vec![0.0; steps * self.entry.outputs()];
        Arch::new().dispatch(Enter { network: self, source: Given { features, step: 0 }, entered: &mut entered });
        self.through(entered)
    }

    /// Takes entered steps through the blocks and the heads.
    fn through(&self, entered: Vec<f32>) -> Vec<f32> {
        Arch::new().dispatch(Through { network: self, entered })
    }
}

/// Where the entry layer's features come from, step by step.
trait Source {
    /// The two steps before the first, which rises are measured from; `None` where there are none.
    fn run_up(&mut self, values: &mut [f32], back: usize) -> Option<()>;
    fn next(&mut self, values: &mut [f32]);
}

struct Measured<'a> {
    extractor: &'a mut FeatureExtractor,
    mono: &'a [f32],
    gain: f32,
    step: usize,
}

impl Source for Measured<'_> {
    #[inline(always)]
    fn run_up(&mut self, values: &mut [f32], back: usize) -> Option<()> {
        self.extractor.measure(self.mono, self.step.checked_sub(back)?, self.gain, values);
        Some(())
    }

    #[inline(always)]
    fn next(&mut self, values: &mut [f32]) {
        self.extractor.measure(self.mono, self.step, self.gain, values);
        self.step += 1;
    }
}

#[cfg(test)]
struct Given<'a> {
    features: &'a [f32],
    step: usize,
}

#[cfg(test)]
impl Source for Given<'_> {
    fn run_up(&mut self, _: &mut [f32], _: usize) -> Option<()> {
        None
    }

    fn next(&mut self, values: &mut [f32]) {
        values.copy_from_slice(&self.features[self.step * values.len()..(self.step + 1) * values.len()]);
        self.step += 1;
    }
}

/// Takes features and their rises through the entry layer, filling `entered`.
struct Enter<'a, F> {
    network: &'a Network,
    source: F,
    entered: &'a mut [f32],
}

impl<F: Source> WithSimd for Enter<'_, F> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(mut self, simd: S) {
        let entry = &self.network.entry;
        let (inputs, outputs) = (entry.inputs(), entry.outputs());
        let mut rises = Rises::new(inputs / 2, quick_values());
        let mut values = vec![0.0; inputs / 2];
        let mut rows = vec![0.0; TILE * inputs];
        for back in [2, 1] {
            if self.source.run_up(&mut values, back).is_some() {
                rises.extend(&values, &mut rows[..inputs]);
            }
        }
        for tile in self.entered.chunks_mut(TILE * outputs) {
            let rows = &mut rows[..tile.len() / outputs * inputs];
            for row in rows.chunks_exact_mut(inputs) {
                self.source.next(&mut values);
                rises.extend(&values, row);
            }
            entry.apply(simd, rows, tile, Ending::Rectified);
        }
    }
}

/// Takes entered steps through the blocks and the heads; gives a row of heads a step.
struct Through<'a> {
    network: &'a Network,
    entered: Vec<f32>,
}

impl WithSimd for Through<'_> {
    type Output = Vec<f32>;

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> Vec<f32> {
        let Network { entry, blocks, heads } = self.network;
        let channels = entry.outputs();
        let mut now = self.entered;
        let mut next = now.clone();
        let mut spread = vec![0.0; TILE * channels];
        let mut inner = vec![0.0; TILE * channels];
        for block in blocks {
            for (tile, target) in next.chunks_mut(TILE * channels).enumerate() {
                let first = tile * TILE;
                let (spread, inner) = (&mut spread[..target.len()], &mut inner[..target.len()]);
                block.spread.apply(&now, first, spread);
                block.first.apply(simd, spread, inner, Ending::Rectified);
                target.copy_from_slice(&now[first * channels..first * channels + target.len()]);
                block.second.apply(simd, inner, target, Ending::Added);
            }
            std::mem::swap(&mut now, &mut next);
        }
        now.iter_mut().for_each(|x| *x = x.max(0.0));
        let mut answers = vec![0.0; now.len() / channels * heads.outputs()];
        heads.apply(simd, &now, &mut answers, Ending::Plain);
        answers
    }
}

fn quick_values() -> usize {
    2 * FeatureExtractor::new().quick_bands()
}

/// Puts beside each step's features what rose in them: quick bands since the step before, fine bands since the one before that.
struct Rises {
    quick: usize,
    before: Vec<f32>,
    two_before: Vec<f32>,
}

impl Rises {
    fn new(values: usize, quick: usize) -> Self {
        Self { quick, before: vec![0.0; values], two_before: vec![0.0; values] }
    }

    /// Writes the features `now` and their rises into `row`, and remembers them.
    #[inline(always)]
    fn extend(&mut self, now: &[f32], row: &mut [f32]) {
        let (plain, risen) = row.split_at_mut(now.len());
        plain.copy_from_slice(now);
        let (quick, fine) = risen.split_at_mut(self.quick);
        for ((to, x), was) in quick.iter_mut().zip(now).zip(&self.before) {
            *to = (x - was).max(0.0);
        }
        for ((to, x), was) in fine.iter_mut().zip(&now[self.quick..]).zip(&self.two_before[self.quick..]) {
            *to = (x - was).max(0.0);
        }
        std::mem::swap(&mut self.before, &mut self.two_before);
        self.before.copy_from_slice(now);
    }
}

impl Likelihood {
    /// What is heard in so many steps of silence.
    fn nothing(steps: usize) -> Self {
        let rows = steps.div_ceil(STEPS_PER_TEMPO_ROW);
        Self {
            beat: vec![NOTHING; 2 * steps],
            downbeat: vec![NOTHING; 2 * steps],
            half: vec![NOTHING; 2 * steps],
            period: vec![[-(PERIODS as f32).ln(); PERIODS]; rows],
            thirds: vec![0.0; rows],
        }
    }

    fn from_answers(answers: &[f32], width: usize) -> Self {
        let event = |head: usize| answers.chunks_exact(width).flat_map(|row| [row[head], row[head + 1]]).collect();
        let rows = answers.chunks(STEPS_PER_TEMPO_ROW * width);
        let period = rows.clone().map(|steps| {
            let mut mean = [0.0; PERIODS];
            for row in steps.chunks_exact(width) {
                let scores = &row[EVENT_HEADS..EVENT_HEADS + PERIODS];
                let highest = scores.iter().copied().fold(f32::MIN, f32::max);
                let total = scores.iter().map(|s| (s - highest).exp()).sum::<f32>().ln() + highest;
                for (m, s) in mean.iter_mut().zip(scores) {
                    *m += (s - total) * width as f32 / steps.len() as f32;
                }
            }
            mean
        });
        let thirds = rows.clone().map(|steps| {
            steps.chunks_exact(width).map(|row| row[EVENT_HEADS + PERIODS]).sum::<f32>() * width as f32 / steps.len() as f32
        });
        Self { beat: event(0), downbeat: event(2), half: event(4), period: period.collect(), thirds: thirds.collect() }
    }
}
