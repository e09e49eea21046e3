//! Loudness after ITU-R BS.1770 and EBU R 128, read once and kept as energies of 10 ms blocks.
//!
//! `weighting` filters and sums the channels; everything else (momentary, short-term, gated, range) is sums over
//! the blocks, so that windows can be centred on what they describe and stepped every 10 ms. A meter that looks
//! backwards is half a window late, which would pin a change to the wrong count.

use super::types::{Contour, Loudness};
use super::weighting::Weighting;
use crate::units::{Decibels, Lu, Lufs, SampleRate, Seconds};
use serde::{Deserialize, Serialize};

/// What silence is written as, because JSON has no negative infinity.
pub(super) const SILENCE: f64 = -120.0;
/// Blocks a second.
pub(super) const BLOCKS: f64 = 100.0;
/// Blocks in half a momentary window (400 ms) and half a short-term window (3 s).
const HALF_MOMENTARY: usize = 20;
const HALF_SHORT_TERM: usize = 150;
/// The absolute gate (ITU-R BS.1770-4).
const GATE: f64 = -70.0;
/// How far under the mean short-term loudness the loudness range still counts, LU (EBU Tech 3342).
const RANGE_GATE: f64 = 20.0;
/// The same for dynamics: a soft passage may lie further under a loud one than the range of a broadcast may; the
/// ground noise of an old disc lies deeper still (ours).
const PLAYED_GATE: f64 = 35.0;
/// Loudness range means little in less than this (EBU Tech 3341, version 3).
const RANGE_NEEDS: f64 = 60.0;

/// The largest energy that is kept: 120 dB over full scale.
const MOST_ENERGY: f64 = 1e12;
/// Runs of at least this many full-scale samples in one channel are peaks that were cut off ...
const CUT_OFF: u8 = 4;
/// ... and this share of full scale counts as full.
const FULL: f32 = 0.999;

/// The K-weighted energy of a recording in blocks of 10 ms: all that the loudness side of listening needs.
///
/// Energies are the channel-weighted mean squares of BS.1770, so `-0.691 + 10 log10` of one is its loudness.
/// A last block shorter than 10 ms is left out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Envelope {
    /// One a block.
    energies: Vec<f32>,
    /// `sums[i]` is the sum of all energies before block `i`; one longer than `energies`.
    sums: Vec<f64>,
    /// Largest absolute sample of any channel.
    peak: f64,
    /// How many peaks are cut off at full scale.
    cut_off: u32,
    /// How much louder a class hears it than its channels measure: 2 for one channel, which comes out of both
    /// loudspeakers, else 1. Gates use it, so that a mono file and its dual-mono copy are judged alike.
    played: f64,
    /// Length of the recording.
    length: Seconds,
}

/// Measures an [`Envelope`] from samples that come in pieces.
pub struct Metering {
    /// `None` where the layout makes no sense: everything is silence then.
    weighting: Option<Weighting>,
    width: usize,
    rate: SampleRate,
    /// Samples that do not fill a block yet.
    waiting: Vec<f32>,
    /// Samples taken so far.
    samples: u64,
    /// For each channel, how many full-scale samples in a row came last.
    full: Vec<u8>,
    envelope: Envelope,
}

impl std::fmt::Debug for Metering {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Metering")
            .field("rate", &self.rate)
            .field("samples", &self.samples)
            .finish_non_exhaustive()
    }
}

impl Metering {
    /// A meter for this many channels, in the usual order of files: left, right, centre, low frequencies (left
    /// out), surrounds. With none or more than 64, or at a rate under 2 kHz, all is silence.
    #[must_use]
    pub fn new(channels: u16, rate: SampleRate) -> Self {
        let width = usize::from(channels.max(1));
        let played = if channels == 1 { 2.0 } else { 1.0 };
        Self {
            weighting: Weighting::new(channels, rate),
            width,
            rate,
            waiting: Vec::new(),
            samples: 0,
            full: vec![0; width],
            envelope: Envelope {
                energies: Vec::new(),
                sums: vec![0.0],
                peak: 0.0,
                cut_off: 0,
                played,
                length: Seconds(0.0),
            },
        }
    }

    /// Takes the next interleaved samples, whole frames or not; those that are no numbers count as silence.
    pub fn push(&mut self, samples: &[f32]) {
        // Nearly always everything is a number: then the samples are read where they lie. Whole pieces are looked through
        // without a way out, so that it can be done several samples at a time.
        if samples.chunks(512).all(|piece| piece.iter().fold(true, |all, x| all & x.is_finite())) {
            self.take(samples);
        } else {
            let clean: Vec<f32> = samples.iter().map(|&x| if x.is_finite() { x } else { 0.0 }).collect();
            self.take(&clean);
        }
    }

    fn take(&mut self, mut samples: &[f32]) {
        self.look_at_peaks(samples);
        self.samples += samples.len() as u64;
        if self.weighting.is_none() {
            return;
        }
        loop {
            // Block ends are whole frames nearest below, so that blocks keep step at any rate.
            let end = |block: usize| block as u64 * u64::from(self.rate.0) / 100;
            let block = self.envelope.energies.len();
            let size = (end(block + 1) - end(block)) as usize * self.width;
            if self.waiting.len() + samples.len() < size {
                self.waiting.extend_from_slice(samples);
                return;
            }
            let (rest, later) = samples.split_at(size - self.waiting.len());
            samples = later;
            if self.waiting.is_empty() {
                self.measure(rest);
            } else {
                let mut whole = std::mem::take(&mut self.waiting);
                whole.extend_from_slice(rest);
                self.measure(&whole);
                whole.clear();
                self.waiting = whole;
            }
        }
    }

    /// Measures one block.
    fn measure(&mut self, block: &[f32]) {
        let Some(weighting) = &mut self.weighting else { return };
        // However large the samples, an energy must stay a number when it is kept in 32 bits.
        let here = weighting.energy(block).min(MOST_ENERGY);
        let sum = self.envelope.sums.last().copied().unwrap_or(0.0) + here;
        self.envelope.energies.push(here as f32);
        self.envelope.sums.push(sum);
    }

    fn look_at_peaks(&mut self, samples: &[f32]) {
        let first = (self.samples % self.width as u64) as usize;
        // A few hundred samples at a time, because next to none of them reach full scale.
        let mut channel = first;
        for piece in samples.chunks(512) {
            let peak = peak(piece);
            self.envelope.peak = self.envelope.peak.max(f64::from(peak));
            if peak < FULL {
                self.full.fill(0);
            } else {
                for (offset, sample) in piece.iter().enumerate() {
                    let run = &mut self.full[(channel + offset) % self.width];
                    *run = if sample.abs() >= FULL { run.saturating_add(1) } else { 0 };
                    self.envelope.cut_off += u32::from(*run == CUT_OFF);
                }
            }
            channel = (channel + piece.len()) % self.width;
        }
    }

    /// What was measured.
    #[must_use]
    pub fn finish(mut self) -> Envelope {
        let frames = self.samples / self.width as u64;
        let seconds = if self.rate.0 == 0 { 0.0 } else { frames as f64 / f64::from(self.rate.0) };
        self.envelope.length = Seconds(seconds);
        self.envelope
    }
}

/// The largest absolute sample, sought in several lanes.
fn peak(samples: &[f32]) -> f32 {
    let mut peaks = [0.0f32; 16];
    for lanes in samples.chunks(peaks.len()) {
        for (peak, x) in peaks.iter_mut().zip(lanes) {
            *peak = if x.abs() > *peak { x.abs() } else { *peak };
        }
    }
    peaks.into_iter().fold(0.0, f32::max)
}

/// Loudness of a mean energy, [`SILENCE`] at least.
pub(super) fn loudness(energy: f64) -> f64 {
    if energy > 0.0 { (10.0 * energy.log10() - 0.691).max(SILENCE) } else { SILENCE }
}

/// The energy of a loudness.
fn energy(loudness: f64) -> f64 {
    10f64.powf((loudness + 0.691) / 10.0)
}

/// The `share` quantile (0 to 1, nearest rank) of ascending values; `None` when there are none.
pub(super) fn quantile(ascending: &[f64], share: f64) -> Option<f64> {
    let last = ascending.len().checked_sub(1)?;
    Some(ascending[(share * last as f64).round() as usize])
}

impl Envelope {
    /// Measures a whole recording of interleaved `samples`, see [`Metering::new`].
    #[must_use]
    pub fn of(samples: &[f32], channels: u16, rate: SampleRate) -> Self {
        let mut metering = Metering::new(channels, rate);
        samples.chunks(1 << 16).for_each(|piece| metering.push(piece));
        metering.finish()
    }

    /// How many blocks there are.
    pub(super) fn len(&self) -> usize {
        self.energies.len()
    }

    /// Length of the recording.
    #[must_use]
    pub fn length(&self) -> Seconds {
        self.length
    }

    /// The energy of every block.
    pub(super) fn energies(&self) -> &[f32] {
        &self.energies
    }

    /// Mean energy of blocks `from..to`, cut to what exists; 0 when nothing does.
    fn mean(&self, from: usize, to: usize) -> f64 {
        let to = to.min(self.len());
        let from = from.min(to);
        // The difference of two sums may come out a little below zero after loud music.
        if to > from { ((self.sums[to] - self.sums[from]) / (to - from) as f64).max(0.0) } else { 0.0 }
    }

    /// Loudness of the window of `2 * half` blocks around the start of block `centre`; at the ends of the
    /// recording, of the part of it that exists, so that no fade is heard where there is none.
    fn around(&self, centre: usize, half: usize) -> f64 {
        loudness(self.mean(centre.saturating_sub(half), centre + half))
    }

    /// The loudest momentary loudness (400 ms, stepped every 10 ms, EBU Tech 3341).
    #[must_use]
    pub fn loudest_momentary(&self) -> Lufs {
        self.loudest(HALF_MOMENTARY)
    }

    /// The loudest short-term loudness (3 s, stepped every 10 ms, EBU Tech 3341).
    #[must_use]
    pub fn loudest_short_term(&self) -> Lufs {
        self.loudest(HALF_SHORT_TERM)
    }

    fn loudest(&self, half: usize) -> Lufs {
        let whole = half..(self.len() + 1).saturating_sub(half);
        Lufs(whole.map(|centre| self.around(centre, half)).fold(SILENCE, f64::max))
    }

    /// Gated loudness of the whole (BS.1770-4: 400 ms blocks every 100 ms, gates at -70 LUFS and -10 LU), or
    /// `None` when nothing passes the gate.
    #[must_use]
    pub fn integrated(&self) -> Option<Lufs> {
        let blocks: Vec<f64> = self.windows(HALF_MOMENTARY).map(energy).collect();
        let mean_over = |gate: f64| {
            let (sum, count) =
                blocks.iter().filter(|e| **e > gate).fold((0.0, 0usize), |(sum, n), e| (sum + e, n + 1));
            (count > 0).then(|| sum / count as f64)
        };
        let relative = mean_over(energy(GATE))? * 0.1;
        mean_over(relative.max(energy(GATE))).map(|mean| Lufs(loudness(mean)))
    }

    /// Whether there is anything to hear: something passes BS.1770's gate when played on two loudspeakers.
    #[must_use]
    pub fn silent(&self) -> bool {
        !self.windows(HALF_MOMENTARY).any(|level| energy(level) * self.played > energy(GATE))
    }

    /// Loudness range: 95th less 10th percentile of gated short-term loudness (EBU Tech 3342), whatever the
    /// length; `None` when nothing passes the gate.
    #[must_use]
    pub fn range(&self) -> Option<Lu> {
        let levels = self.short_term_above(RANGE_GATE);
        Some(Lu(quantile(&levels, 0.95)? - quantile(&levels, 0.10)?))
    }

    /// Short-term loudness every 100 ms, ascending, of what is played on purpose, however soft next to the rest.
    pub(super) fn played_short_term(&self) -> Vec<f64> {
        self.short_term_above(PLAYED_GATE)
    }

    /// Short-term loudness every 100 ms, ascending, without what lies under -70 LUFS or further than `gate` (LU) under
    /// the mean of the rest. In less than 3 s, of as much as there is.
    fn short_term_above(&self, gate: f64) -> Vec<f64> {
        let under = 10f64.powf(-gate / 10.0);
        let half = HALF_SHORT_TERM.min(self.len() / 2);
        let gate = energy(GATE) / self.played;
        let energies: Vec<f64> = self.windows(half).map(energy).filter(|e| *e > gate).collect();
        let relative = under * energies.iter().sum::<f64>() / energies.len().max(1) as f64;
        let mut levels: Vec<f64> = energies.into_iter().filter(|e| *e >= relative).map(loudness).collect();
        levels.sort_by(f64::total_cmp);
        levels
    }

    /// Loudness of every whole window of `2 * half` blocks, stepped by 100 ms.
    fn windows(&self, half: usize) -> impl Iterator<Item = f64> {
        let half = half.max(1);
        (half..(self.len() + 1).saturating_sub(half)).step_by(10).map(move |centre| self.around(centre, half))
    }

    /// Whether peaks are cut off at full scale, more than a few a minute.
    pub(super) fn clipped(&self) -> bool {
        f64::from(self.cut_off) > 10.0 * (self.length.0 / 60.0).max(0.2)
    }

    /// The integrated loudness as a class hears it: a mono file comes out of both loudspeakers, 3 LU louder than
    /// the standard measures its one channel. `None` in silence.
    pub(super) fn as_played(&self) -> Option<Lufs> {
        self.integrated().map(|level| Lufs(level.0 + 10.0 * self.played.log10()))
    }

    /// Everything in the form in which it is kept.
    #[must_use]
    pub fn summarised(&self) -> Loudness {
        let contour = |half: usize| {
            let hundredths = |level: f64| ((level * 100.0).round() / 100.0) as f32;
            let values = match self.len() {
                0 => Vec::new(),
                blocks => (0..=blocks).step_by(10).map(|at| hundredths(self.around(at, half))).collect(),
            };
            Contour { step: Seconds(0.1), values }
        };
        Loudness {
            integrated: self.integrated(),
            range: if self.length.0 >= RANGE_NEEDS { self.range() } else { None },
            peak: Decibels(if self.peak > 0.0 { (20.0 * self.peak.log10()).max(-200.0) } else { -200.0 }),
            momentary: contour(HALF_MOMENTARY),
            short_term: contour(HALF_SHORT_TERM),
        }
    }
}
