//! Spectra of the sound, streamed: what the ear's first stage would pass on, frame by frame.
//!
//! Two resolutions: a short window (46 ms, every 10 ms) for attacks, and a long one (186 ms, every 20 ms, at a
//! quarter of the rate) for pitch. Frame `k` is centred on `k` steps, silence lies beyond both ends.

use super::super::spectrum::Spectrum;
use super::bank::{Bank, PitchMap};
use std::f32::consts::TAU;

/// Frames a second of the short spectra, and of every curve made from them.
pub(crate) const FPS: usize = 100;
/// Half-frames: the long spectra come every second frame.
pub(crate) const LONG_STEP: usize = 2;
/// Window lengths in samples of their own rate.
const SHORT: usize = 1024;
const LONG: usize = 1024;
/// Sample rates of the two.
const SHORT_RATE: f64 = 22_050.0;
const DECIMATE: usize = 4;
const LONG_RATE: f64 = SHORT_RATE / DECIMATE as f64;

/// One windowed transform on a stream of samples.
struct Transform {
    spectrum: Spectrum,
    step: f64,
    held: Vec<f32>,
    /// Sample index of `held[0]`.
    first: i64,
    frame: u64,
}

impl Transform {
    fn new(length: usize, step: f64) -> Self {
        let mut window: Vec<f32> =
            (0..length).map(|n| 0.5 - 0.5 * (TAU * n as f32 / length as f32).cos()).collect();
        // Scaled so that a sine of amplitude 1 peaks at 1.
        let scale = 2.0 / window.iter().sum::<f32>();
        window.iter_mut().for_each(|w| *w *= scale);
        Self {
            spectrum: Spectrum::new(window),
            step,
            held: vec![0.0; length / 2],
            first: -(length as i64 / 2),
            frame: 0,
        }
    }

    fn push(&mut self, samples: &[f32]) {
        self.held.extend_from_slice(samples);
    }

    /// The magnitudes of the next frame, once all its samples are there.
    fn next(&mut self) -> Option<&[f32]> {
        let length = self.spectrum.length();
        let centre = (self.frame as f64 * self.step).round() as i64;
        let begin = (centre - length as i64 / 2 - self.first) as usize;
        let part = self.held.get(begin..begin + length)?;
        let magnitudes = self.spectrum.measure(part);
        self.frame += 1;
        if begin > 16 * length {
            self.held.drain(..begin);
            self.first += begin as i64;
        }
        Some(magnitudes)
    }
}

/// A quarter of the rate by a symmetric low-pass: flat to 2.2 kHz, 60 dB down where it would fold back onto that.
struct Decimator {
    taps: Vec<f32>,
    held: Vec<f32>,
    at: usize,
}

impl Decimator {
    fn new() -> Self {
        const TAPS: usize = 95;
        let cut = 0.5 * (2_200.0 + (LONG_RATE - 2_200.0)) / SHORT_RATE;
        let middle = (TAPS / 2) as f64;
        let mut taps: Vec<f64> = (0..TAPS)
            .map(|n| {
                let x = n as f64 - middle;
                let sinc = if x == 0.0 {
                    2.0 * cut
                } else {
                    (2.0 * std::f64::consts::PI * cut * x).sin() / (std::f64::consts::PI * x)
                };
                // Blackman's window: side lobes 58 dB down.
                let turn = std::f64::consts::TAU * (n as f64 + 0.5) / TAPS as f64;
                sinc * (0.42 - 0.5 * turn.cos() + 0.08 * (2.0 * turn).cos())
            })
            .collect();
        let sum: f64 = taps.iter().sum();
        taps.iter_mut().for_each(|tap| *tap /= sum);
        let mut taps: Vec<f32> = taps.into_iter().map(|tap| tap as f32).collect();
        taps.push(0.0);
        Self { held: vec![0.0; TAPS / 2], taps, at: 0 }
    }

    fn push(&mut self, samples: &[f32], out: &mut Vec<f32>) {
        self.held.extend_from_slice(samples);
        while let Some(part) = self.held.get(self.at..self.at + self.taps.len()) {
            let mut sums = [0.0f32; 8];
            for (a, b) in part.chunks_exact(8).zip(self.taps.chunks_exact(8)) {
                for lane in 0..8 {
                    sums[lane] += a[lane] * b[lane];
                }
            }
            out.push(sums.iter().sum());
            self.at += DECIMATE;
        }
        let used = self.at.min(self.held.len());
        self.held.drain(..used);
        self.at -= used;
    }
}

/// What one pass over the sound leaves behind, frame by frame.
#[derive(Debug, Default)]
pub(crate) struct Spectrogram {
    /// Band magnitudes, `Bank::bands` a frame, those not yet taken by the next stage.
    pub(crate) bands: Vec<f32>,
    /// Compressed pitch-class strengths, 12 a long frame.
    pub(crate) chroma: Vec<f32>,
    /// Compressed bass band magnitudes, `PitchMap::bass_bands` a long frame.
    pub(crate) bass: Vec<f32>,
}

/// Both transforms with their filter banks.
pub(crate) struct Spectra {
    short: Transform,
    long: Transform,
    decimator: Decimator,
    slow: Vec<f32>,
    bank: Bank,
    pitch: PitchMap,
}

impl Spectra {
    pub(crate) fn new() -> Self {
        Self {
            short: Transform::new(SHORT, SHORT_RATE / FPS as f64),
            long: Transform::new(LONG, LONG_RATE * LONG_STEP as f64 / FPS as f64),
            decimator: Decimator::new(),
            slow: Vec::new(),
            bank: Bank::new(SHORT, SHORT_RATE),
            pitch: PitchMap::new(LONG, LONG_RATE),
        }
    }

    pub(crate) fn bank(&self) -> &Bank {
        &self.bank
    }

    pub(crate) fn bass_bands(&self) -> usize {
        self.pitch.bass_bands()
    }

    /// Takes samples at 22 050 Hz and appends the frames they complete.
    pub(crate) fn push(&mut self, samples: &[f32], to: &mut Spectrogram) {
        self.short.push(samples);
        while let Some(magnitude) = self.short.next() {
            self.bank.apply(magnitude, &mut to.bands);
        }
        self.slow.clear();
        self.decimator.push(samples, &mut self.slow);
        self.long.push(&self.slow);
        while let Some(magnitude) = self.long.next() {
            self.pitch.apply(magnitude, &mut to.chroma, &mut to.bass);
        }
    }

    /// Silence after the end, long enough for the last frames.
    pub(crate) fn finish(&mut self, to: &mut Spectrogram) {
        self.push(&[0.0; LONG * DECIMATE], to);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sine_peaks_at_its_amplitude_in_both_resolutions() {
        let tone: Vec<f32> = (0..22_050).map(|n| 0.5 * (TAU * 440.0 * n as f32 / 22_050.0).sin()).collect();
        let mut short = Transform::new(SHORT, 220.5);
        short.push(&tone);
        let frame = (0..50).map(|_| short.next().expect("a second holds 50 frames").to_vec()).last();
        let peak = frame.expect("fifty frames").into_iter().fold(0.0, f32::max);
        assert!((0.42..=0.501).contains(&peak), "{peak}");
        let mut slow = Vec::new();
        Decimator::new().push(&tone, &mut slow);
        assert!((5_480..=5_513).contains(&slow.len()), "{}", slow.len());
        let peak = slow[100..5_000].iter().fold(0.0f32, |m, x| m.max(x.abs()));
        assert!((peak - 0.5).abs() < 2e-3, "{peak}");
        // In step with the source: sample n of the slow stream is sample 4 n of the tone.
        assert!(
            slow[100..5_000].iter().zip(tone[400..].iter().step_by(4)).all(|(a, b)| (a - b).abs() < 2e-3)
        );
    }

    #[test]
    fn frames_lie_on_their_step_to_the_end() {
        let mut spectra = Spectra::new();
        let mut to = Spectrogram::default();
        spectra.push(&[0.1; 22_050], &mut to);
        spectra.finish(&mut to);
        let bands = spectra.bank().bands();
        assert!(to.bands.len() / bands > 100 && to.chroma.len() / 12 > 50);
    }
}
