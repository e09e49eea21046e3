//! A small convolutional network that hears, 100 times a second, how likely a beat and a bar start are.
//!
//! Pure arithmetic on samples: it decides nothing about tempo or grid, which is the decoder's work. The weights come from
//! `training/`, which makes its material with the very features used here.

pub mod features;
mod layers;
mod stream;
mod weights;

use features::{FeatureExtractor, QUICK_BANDS, VALUES, levelling_gain};
use layers::{Ending, TILE};
use pulp::{Arch, Simd, WithSimd};
pub use stream::Hearing;
pub use weights::{Network, WeightsError};

/// Likelihood values a second.
pub const FRAMES_PER_SECOND: f64 = 2.0 * features::STEPS_PER_SECOND;
/// Tempo rows a second.
pub const TEMPO_ROWS_PER_SECOND: f64 = features::STEPS_PER_SECOND / STEPS_PER_TEMPO_ROW as f64;
/// Beat periods that the tempo rows tell apart.
pub const PERIODS: usize = 37;

/// Events (beat, bar start, half-beat), each for both halves of a step.
const EVENT_HEADS: usize = 6;
/// Numbers that the network answers each step with: events, periods, thirds.
const HEADS: usize = EVENT_HEADS + PERIODS + 1;
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
        self.listen_in_pieces(mono_22050, PIECE)
    }

    fn listen_in_pieces(&self, mono: &[f32], piece: usize) -> Likelihood {
        let gain = levelling_gain(mono);
        let steps = FeatureExtractor::steps(mono.len());
        if gain == 0.0 {
            return Likelihood::nothing(steps);
        }
        let mut extractor = FeatureExtractor::new();
        let mut answers = Vec::with_capacity(steps * HEADS);
        for first in (0..steps).step_by(piece) {
            let last = (first + piece).min(steps);
            let from = first.saturating_sub(self.reach());
            let to = (last + self.reach()).min(steps);
            let source = Measured { extractor: &mut extractor, mono, gain, step: from };
            let heard = Arch::new().dispatch(Pass { network: self, source, steps: to - from });
            answers.extend_from_slice(&heard[(first - from) * HEADS..(last - from) * HEADS]);
        }
        Likelihood::from_answers(&answers)
    }
}

/// Where features come from, step by step.
trait Source {
    /// The features of the step that lies `back` before the first; `false` where there is none.
    fn before(&mut self, back: usize, values: &mut [f32; VALUES]) -> bool;
    /// The features of the next step.
    fn next(&mut self, values: &mut [f32; VALUES]);
}

/// Features measured as they are asked for, from step `step` on.
struct Measured<'a> {
    extractor: &'a mut FeatureExtractor,
    mono: &'a [f32],
    gain: f32,
    step: usize,
}

impl Source for Measured<'_> {
    fn before(&mut self, back: usize, values: &mut [f32; VALUES]) -> bool {
        let step = self.step.checked_sub(back);
        step.inspect(|step| self.extractor.measure(self.mono, *step, self.gain, values)).is_some()
    }

    fn next(&mut self, values: &mut [f32; VALUES]) {
        self.extractor.measure(self.mono, self.step, self.gain, values);
        self.step += 1;
    }
}

/// One pass of so many steps through the network; gives a row of heads a step.
struct Pass<'a, F> {
    network: &'a Network,
    source: F,
    steps: usize,
}

impl<F: Source> WithSimd for Pass<'_, F> {
    type Output = Vec<f32>;

    #[inline(always)]
    fn with_simd<S: Simd>(mut self, simd: S) -> Vec<f32> {
        let mut now = self.entered(simd);
        let channels = self.network.entry.outputs();
        let mut next = vec![0.0; now.len()];
        let mut spread = vec![0.0; TILE * channels];
        let mut inner = vec![0.0; TILE * channels];
        for block in &self.network.blocks {
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
        let mut answers = vec![0.0; self.steps * HEADS];
        self.network.heads.apply(simd, &now, &mut answers, Ending::Plain);
        answers
    }
}

impl<F: Source> Pass<'_, F> {
    /// Features and their rises through the entry layer.
    #[inline(always)]
    fn entered<S: Simd>(&mut self, simd: S) -> Vec<f32> {
        let entry = &self.network.entry;
        let mut entered = vec![0.0; self.steps * entry.outputs()];
        let mut rows = vec![0.0; TILE * 2 * VALUES];
        // The two steps before the first and then the newest, in turn: what rises are measured from.
        let mut past = [[0.0; VALUES]; 2];
        for back in [2, 1] {
            let mut values = [0.0; VALUES];
            if self.source.before(back, &mut values) {
                past = [past[1], values];
            }
        }
        for tile in entered.chunks_mut(TILE * entry.outputs()) {
            let rows = &mut rows[..tile.len() / entry.outputs() * 2 * VALUES];
            for row in rows.chunks_exact_mut(2 * VALUES) {
                let mut values = [0.0; VALUES];
                self.source.next(&mut values);
                with_rises(&values, &past, row);
                past = [past[1], values];
            }
            entry.apply(simd, rows, tile, Ending::Rectified);
        }
        entered
    }
}

/// Writes features into `row`, and what rose in them: quick bands since the step before, fine bands since the one before that.
#[inline(always)]
fn with_rises(now: &[f32; VALUES], past: &[[f32; VALUES]; 2], row: &mut [f32]) {
    let (plain, risen) = row.split_at_mut(VALUES);
    plain.copy_from_slice(now);
    for (k, to) in risen.iter_mut().enumerate() {
        let was = if k < 2 * QUICK_BANDS { past[1][k] } else { past[0][k] };
        *to = (now[k] - was).max(0.0);
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

    fn from_answers(answers: &[f32]) -> Self {
        let event =
            |head: usize| answers.chunks_exact(HEADS).flat_map(|row| [row[head], row[head + 1]]).collect();
        let rows = answers.chunks(STEPS_PER_TEMPO_ROW * HEADS);
        let period = rows.clone().map(|steps| {
            let mut mean = [0.0; PERIODS];
            for row in steps.chunks_exact(HEADS) {
                let scores = &row[EVENT_HEADS..EVENT_HEADS + PERIODS];
                let highest = scores.iter().copied().fold(f32::MIN, f32::max);
                let total = scores.iter().map(|s| (s - highest).exp()).sum::<f32>().ln() + highest;
                for (m, s) in mean.iter_mut().zip(scores) {
                    *m += (s - total) * HEADS as f32 / steps.len() as f32;
                }
            }
            mean
        });
        let thirds = rows.clone().map(|steps| {
            steps.chunks_exact(HEADS).map(|row| row[EVENT_HEADS + PERIODS]).sum::<f32>() * HEADS as f32
                / steps.len() as f32
        });
        Self {
            beat: event(0),
            downbeat: event(2),
            half: event(4),
            period: period.collect(),
            thirds: thirds.collect(),
        }
    }
}

#[cfg(test)]
mod tests;
