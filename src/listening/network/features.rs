//! What the network hears: two log spectra in musical bands, one quick and one fine, at 50 steps a second.
//!
//! The same code makes the training material and serves the program, so that the two cannot drift apart. It knows
//! nothing of weights. Every step holds two quick spectra (10 ms apart) and one fine spectrum.

use super::super::spectrum::Spectrum;
use std::f32::consts::PI;

/// Samples a second that the features expect; mono.
pub const SAMPLE_RATE: u32 = 22_050;
/// Samples from one step to the next: 20 ms.
pub const STEP_SAMPLES: usize = 441;
/// Steps a second.
pub const STEPS_PER_SECOND: f64 = SAMPLE_RATE as f64 / STEP_SAMPLES as f64;

/// Bands of the quick spectrum.
pub const QUICK_BANDS: usize = 39;
/// Bands of the fine spectrum.
pub const FINE_BANDS: usize = 69;
/// Numbers in one step: two quick spectra, then the fine one.
pub const VALUES: usize = 2 * QUICK_BANDS + FINE_BANDS;

/// Window of the quick spectrum: 46 ms, to place onsets.
const QUICK_WINDOW: usize = 1024;
/// Window of the fine spectrum: 93 ms, to tell low notes apart.
const FINE_WINDOW: usize = 2048;
/// The second quick spectrum of a step is centred half a step later.
const HALF_STEP: usize = STEP_SAMPLES / 2;
/// A sine of amplitude `1 / COMPRESSION` after levelling reads ln 2: some 55 dB under the recording's usual level.
const COMPRESSION: f32 = 4000.0;
/// RMS that the loud passages of a recording are brought to before compression.
const LEVELLED_RMS: f32 = 0.1;
/// Blocks over which the level is measured: 0.1 s.
pub(super) const LEVEL_BLOCK: usize = SAMPLE_RATE as usize / 10;

/// The gain that brings a recording to the level the network was trained at, so that a recording's own gain changes nothing.
///
/// The level is the RMS of 0.1 s blocks that nine blocks in ten stay under: one bang or a long silence does not move it far.
/// Silence and samples that are not numbers give a gain of 0.
pub fn levelling_gain(mono: &[f32]) -> f32 {
    gain_of_powers(mono.chunks(LEVEL_BLOCK).map(block_power).collect())
}

/// Mean power of a block of [`LEVEL_BLOCK`] samples or the rest of one.
pub(super) fn block_power(block: &[f32]) -> f32 {
    block.iter().map(|x| x * x).sum::<f32>() / block.len() as f32
}

/// The levelling gain from the powers of all blocks.
pub(super) fn gain_of_powers(mut powers: Vec<f32>) -> f32 {
    powers.retain(|power| power.is_finite());
    if powers.is_empty() {
        return 0.0;
    }
    let place = (powers.len() - 1) * 9 / 10;
    let (_, power, _) = powers.select_nth_unstable_by(place, f32::total_cmp);
    let rms = power.sqrt();
    // Under -100 dBFS there is nothing to hear but rounding.
    if rms > 1e-5 { LEVELLED_RMS / rms } else { 0.0 }
}

/// One band of a filter bank: weights over consecutive bins, summing to 1.
struct Band {
    first_bin: usize,
    weights: Vec<f32>,
}

/// Triangular bands on a log-frequency axis, between neighbouring centres that fall on different bins.
fn bands(window: usize, per_octave: f64, lowest_hz: f64, highest_hz: f64) -> Vec<Band> {
    let bin_hz = f64::from(SAMPLE_RATE) / window as f64;
    let mut centres: Vec<usize> = (0..)
        .map(|k| lowest_hz * 2f64.powf(f64::from(k) / per_octave))
        .take_while(|hz| *hz <= highest_hz)
        .map(|hz| (hz / bin_hz).round() as usize)
        .collect();
    centres.dedup();
    centres
        .windows(3)
        .map(|edges| {
            let (low, centre, high) = (edges[0], edges[1], edges[2]);
            let rising = (low + 1..=centre).map(|bin| (bin - low) as f32 / (centre - low) as f32);
            let falling = (centre + 1..high).map(|bin| (high - bin) as f32 / (high - centre) as f32);
            let mut weights: Vec<f32> = rising.chain(falling).collect();
            let sum: f32 = weights.iter().sum();
            weights.iter_mut().for_each(|w| *w /= sum);
            Band { first_bin: low + 1, weights }
        })
        .collect()
}

/// A spectrum folded into bands.
struct Banded {
    spectrum: Spectrum,
    bands: Vec<Band>,
}

impl Banded {
    fn new(length: usize, bands: Vec<Band>) -> Self {
        // Hann, scaled so that a sine's magnitude is its amplitude, times the compression.
        let window = (0..length)
            .map(|i| {
                (0.5 - 0.5 * (2.0 * PI * i as f32 / length as f32).cos()) * 4.0 * COMPRESSION / length as f32
            })
            .collect();
        Self { spectrum: Spectrum::new(window), bands }
    }

    /// Amplitudes of the bands of `frame` (as long as the window).
    fn measure(&mut self, frame: &[f32], amplitudes: &mut [f32]) {
        let magnitudes = self.spectrum.measure(frame);
        for (amplitude, band) in amplitudes.iter_mut().zip(&self.bands) {
            let bins = &magnitudes[band.first_bin..band.first_bin + band.weights.len()];
            *amplitude = bins.iter().zip(&band.weights).map(|(m, w)| m * w).sum();
        }
    }
}

/// The level of a band's amplitude: ln(1 + compressed amplitude).
#[inline]
pub(super) fn level(amplitude: f32, gain: f32) -> f32 {
    let heard = (1.0 + gain * amplitude).ln();
    // Samples that are not numbers are heard as silence.
    if heard.is_finite() { heard } else { 0.0 }
}

/// Turns samples into features, step by step.
pub struct FeatureExtractor {
    quick: Banded,
    fine: Banded,
}

impl Default for FeatureExtractor {
    fn default() -> Self {
        Self::new()
    }
}

impl FeatureExtractor {
    /// Plans the transforms.
    pub fn new() -> Self {
        Self {
            quick: Banded::new(QUICK_WINDOW, bands(QUICK_WINDOW, 6.0, 60.0, 10_000.0)),
            fine: Banded::new(FINE_WINDOW, bands(FINE_WINDOW, 12.0, 40.0, 5_000.0)),
        }
    }

    /// Steps in a recording of so many samples: step k is centred on sample `k * STEP_SAMPLES`.
    pub fn steps(samples: usize) -> usize {
        samples.div_ceil(STEP_SAMPLES)
    }

    /// Features of step `step` of the recording `mono`, into `values`; beyond the recording's ends is silence.
    ///
    /// `gain` is usually [`levelling_gain`] of the whole recording.
    pub fn measure(&mut self, mono: &[f32], step: usize, gain: f32, values: &mut [f32; VALUES]) {
        self.amplitudes(mono, step, values);
        values.iter_mut().for_each(|value| *value = level(*value, gain));
    }

    /// What [`FeatureExtractor::measure`] is made from before the recording's gain is known: see [`level`].
    pub(super) fn amplitudes(&mut self, mono: &[f32], step: usize, values: &mut [f32; VALUES]) {
        let centre = step * STEP_SAMPLES;
        let (quick, fine) = values.split_at_mut(2 * QUICK_BANDS);
        let (early, late) = quick.split_at_mut(QUICK_BANDS);
        let mut padded = [0.0; FINE_WINDOW];
        self.quick.measure(around(mono, centre, QUICK_WINDOW, &mut padded), early);
        self.quick.measure(around(mono, centre + HALF_STEP, QUICK_WINDOW, &mut padded), late);
        self.fine.measure(around(mono, centre, FINE_WINDOW, &mut padded), fine);
    }
}

/// The `length` samples centred on `centre`, straight from `mono` where they lie inside it, else copied into `padded`.
fn around<'a>(
    mono: &'a [f32],
    centre: usize,
    length: usize,
    padded: &'a mut [f32; FINE_WINDOW],
) -> &'a [f32] {
    let half = length / 2;
    if centre >= half
        && let Some(inside) = mono.get(centre - half..centre + half)
    {
        return inside;
    }
    let padded = &mut padded[..length];
    for (i, to) in padded.iter_mut().enumerate() {
        *to = (centre + i).checked_sub(half).and_then(|at| mono.get(at)).copied().unwrap_or(0.0);
    }
    padded
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_banks_have_the_bands_that_the_weights_were_trained_on() {
        let extractor = FeatureExtractor::new();
        assert_eq!((extractor.quick.bands.len(), extractor.fine.bands.len()), (QUICK_BANDS, FINE_BANDS));
    }

    #[test]
    fn a_band_level_is_the_textbook_transform_of_its_frame() {
        // Against the definition of the discrete Fourier transform, summed in double precision.
        let frame: Vec<f32> = (0..QUICK_WINDOW).map(|i| ((i * i) % 97) as f32 / 97.0 - 0.5).collect();
        let mut extractor = FeatureExtractor::new();
        let mut levels = [0.0; QUICK_BANDS];
        extractor.quick.measure(&frame, &mut levels);
        levels.iter_mut().for_each(|l| *l = level(*l, 0.7));
        let magnitude = |bin: usize| {
            let (mut re, mut im) = (0.0, 0.0);
            for (i, x) in frame.iter().enumerate() {
                let turn = std::f64::consts::TAU * i as f64 / QUICK_WINDOW as f64;
                let windowed = f64::from(*x) * (0.5 - 0.5 * turn.cos());
                re += windowed * (turn * bin as f64).cos();
                im -= windowed * (turn * bin as f64).sin();
            }
            (re * re + im * im).sqrt() * 4.0 / QUICK_WINDOW as f64
        };
        for (level, band) in levels.iter().zip(&extractor.quick.bands) {
            let sum: f64 = band
                .weights
                .iter()
                .zip(band.first_bin..)
                .map(|(w, bin)| f64::from(*w) * magnitude(bin))
                .sum();
            let expected = (0.7 * f64::from(COMPRESSION) * sum).ln_1p();
            assert!((f64::from(*level) - expected).abs() < 1e-3, "{level} for {expected}");
        }
    }

    #[test]
    fn the_gain_brings_any_level_to_the_same() {
        let soft: Vec<f32> = (0..44_100).map(|i| (i as f32 * 0.1).sin() * 0.01).collect();
        let loud: Vec<f32> = soft.iter().map(|x| x * 50.0).collect();
        assert!((levelling_gain(&soft) / levelling_gain(&loud) - 50.0).abs() < 0.01);
        assert_eq!(levelling_gain(&[0.0; 1000]), 0.0);
        assert_eq!(levelling_gain(&[f32::NAN; 1000]), 0.0);
        assert_eq!(levelling_gain(&[]), 0.0);
    }
}
