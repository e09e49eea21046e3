//! Evidence: what the sound says about beats and bars, before anyone decides.
//!
//! One pass over the sound gives [`Evidence`]: log-odds of a beat, a subdivision and a bar's first beat in each
//! 10 ms frame, and a coarse texture (harmony, bass, level) from which bars and phrases are told apart. Deciding is
//! left to the decoder, which may be asked again and again with other anchors.

mod attacks;
mod bank;
mod curve;
mod features;
mod likelihood;
mod pace;
mod spectra;
mod texture;

pub use likelihood::Likelihood;
pub use pace::{Pace, PaceJump};
pub use texture::{Passage, TEXTURE_FPS, Texture};

pub(crate) use curve::peak;
pub(crate) use spectra::FPS;

use super::mono::RATE;
use super::network::Hearing;
use crate::units::Seconds;
use attacks::{Attacks, OctavePower};
use features::Features;
use serde::{Deserialize, Serialize};
use spectra::{LONG_STEP, Spectra, Spectrogram};
use std::ops::ControlFlow;

/// Samples between two reports of progress: ten seconds.
const PROGRESS: usize = 10 * RATE.0 as usize;
/// Peak under which a recording counts as silent: -60 dB of full scale, under any room's noise in playback.
const SILENT_PEAK: f32 = 1e-3;

/// Everything the decoder needs to know of a recording.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Evidence {
    /// Length of the sound.
    pub length: Seconds,
    /// Whether anything can be heard at all.
    pub silent: bool,
    /// Log-odds by frame, as the network hears them.
    pub likelihood: Likelihood,
    /// Log-odds by frame from hand-made features.
    pub plain: Likelihood,
    /// Strength of attacks by frame, 1 being usual around there; for placing beats.
    pub onset: Vec<f32>,
    /// Size of the change of level and tone colour at a frame where it is largest around there, dB; else 0.
    pub novelty: Vec<f32>,
    /// Changes of tempo.
    pub pace: Pace,
    /// Harmony, bass and level.
    pub texture: Texture,
}

/// An attack at least this strong, 1 being usual, is one: the murmur inside a held note stays under 0.6 in the demo
/// music, its softest written notes come to 1.1 (ours).
const ATTACK: f32 = 1.0;

impl Evidence {
    /// When sounds begin, ascending.
    #[must_use]
    pub fn attacks(&self) -> Vec<Seconds> {
        let around = peak(&self.onset, 3);
        let strongest = |t: &usize| self.onset[*t] >= ATTACK && self.onset[*t] >= around[*t];
        (0..self.onset.len()).filter(strongest).map(|t| Seconds(t as f64 / FPS as f64)).collect()
    }
}

/// Gathers evidence from a stream of mono samples at 22 050 Hz.
pub struct Gathering {
    spectra: Spectra,
    attacks: Attacks,
    hearing: Hearing,
    frames: Spectrogram,
    samples: u64,
    peak: f32,
}

impl Default for Gathering {
    fn default() -> Self {
        let spectra = Spectra::new();
        let attacks = Attacks::new(spectra.bank());
        Self {
            spectra,
            attacks,
            hearing: Hearing::default(),
            frames: Spectrogram::default(),
            samples: 0,
            peak: 0.0,
        }
    }
}

impl Gathering {
    /// Takes the next samples.
    pub fn push(&mut self, mono: &[f32]) {
        for block in mono.chunks(RATE.0 as usize) {
            self.samples += block.len() as u64;
            self.peak = block.iter().fold(self.peak, |peak, sample| peak.max(sample.abs()));
            self.spectra.push(block, &mut self.frames);
            self.hearing.push(block);
            self.take_bands();
        }
    }

    fn take_bands(&mut self) {
        self.attacks.push(&self.frames.bands);
        self.frames.bands.clear();
    }

    /// The features of all that was taken, one named curve each: what the odds are fitted on.
    #[must_use]
    pub fn features(self) -> Vec<(&'static str, Vec<f32>)> {
        self.complete().1.named()
    }

    /// The evidence of all that was taken.
    #[must_use]
    pub fn finish(mut self) -> Evidence {
        let length = Seconds(self.samples as f64 / f64::from(RATE.0));
        let silent = self.peak < SILENT_PEAK;
        let heard = std::mem::take(&mut self.hearing).finish();
        let bass_bands = self.spectra.bass_bands();
        let (power, features, Spectrogram { chroma, bass, .. }) = self.complete();
        let plain = Likelihood::from_features(&features);
        // The weights are part of the program; should they ever be damaged, the hand-made odds have to do.
        let heard = heard.unwrap_or_default();
        let likelihood = if heard.beat.is_empty() {
            plain.clone()
        } else {
            Likelihood::from_network(&heard, plain.beat.len())
        };
        let novelty = texture::novelty(&power);
        let texture = Texture::new(&power, &features.onset, &chroma, &bass, bass_bands);
        let pace = Pace::new(&features.onset);
        Evidence { length, silent, likelihood, plain, onset: features.onset, novelty, pace, texture }
    }

    /// Does what is still open: power by octave, features, and the long spectra.
    fn complete(mut self) -> (OctavePower, Features, Spectrogram) {
        // A frame on every step that lies inside the sound.
        let frames = (self.samples as usize * FPS).div_ceil(RATE.0 as usize);
        self.spectra.finish(&mut self.frames);
        self.take_bands();
        self.attacks.finish(frames);
        let (Self { attacks, mut frames, spectra, .. }, long) = (self, frames.div_ceil(LONG_STEP));
        frames.chroma.resize(12 * long, 0.0);
        frames.bass.resize(spectra.bass_bands() * long, 0.0);
        let features = Features::new(
            &attacks.growth,
            &attacks.power,
            &frames.chroma,
            &frames.bass,
            spectra.bass_bands(),
        );
        (attacks.power, features, frames)
    }
}

/// Hears a whole recording given as mono at 22 050 Hz; `progress` gets the share done, and may stop it (`None`).
pub fn gather(mono: &[f32], progress: &mut dyn FnMut(f32) -> ControlFlow<()>) -> Option<Evidence> {
    let mut gathering = Gathering::default();
    for (n, block) in mono.chunks(PROGRESS).enumerate() {
        if progress((n * PROGRESS) as f32 / mono.len() as f32).is_break() {
            return None;
        }
        gathering.push(block);
    }
    Some(gathering.finish())
}
