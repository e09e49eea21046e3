//! Attacks: how much each octave of the spectrum grows, frame by frame, whatever the level.
//!
//! Every band is first measured against its own peak within some four seconds, so that a whisper's attacks count
//! like a shout's; growth is then taken on a logarithmic scale and summed by octave.

use super::bank::{Bank, GROUPS};
use std::ops::Range;

/// Frames in a block; a band's peak is kept for each block.
const BLOCK: usize = 50;
/// Blocks to either side over which the peak is taken: four seconds.
const REACH: usize = 8;
/// No band's peak counts as less than this share of the loudest band's: beyond lies noise.
const FLOOR: f32 = 0.03;
/// Compression: growth from the peak's 60th part on counts about as much as its logarithm.
const COMPRESSION: f32 = 60.0;
/// Growth is taken over this many frames.
const LAG: usize = 2;
/// Magnitude under which nothing counts as sound (-110 dB).
const INAUDIBLE: f32 = 3e-6;

/// Power of each octave, one entry a frame.
pub(crate) type OctavePower = [Vec<f32>; GROUPS];

/// Streams band magnitudes into growth by octave.
pub(crate) struct Attacks {
    bands: usize,
    groups: [Range<usize>; GROUPS],
    /// Frames not yet done and the `LAG` before them.
    held: Vec<f32>,
    /// Index of the frame at `held[0]`.
    first: usize,
    /// Frames seen and frames done.
    seen: usize,
    done: usize,
    /// Peak of each band in each block.
    block_peaks: Vec<f32>,
    /// Compressed magnitudes of the last `LAG` frames and the current one, oldest first.
    recent: [Vec<f32>; LAG + 1],
    /// For each band, the scale that maps its peak to `COMPRESSION`.
    scale: Vec<f32>,
    /// Growth of each group.
    pub(crate) growth: [Vec<f32>; GROUPS],
    /// Power of each group.
    pub(crate) power: OctavePower,
}

impl Attacks {
    pub(crate) fn new(bank: &Bank) -> Self {
        let bands = bank.bands();
        Self {
            bands,
            groups: bank.groups().clone(),
            held: Vec::new(),
            first: 0,
            seen: 0,
            done: 0,
            block_peaks: Vec::new(),
            recent: std::array::from_fn(|_| vec![0.0; bands]),
            scale: vec![0.0; bands],
            growth: Default::default(),
            power: Default::default(),
        }
    }

    /// Takes whole frames of band magnitudes and does those whose surroundings are known.
    pub(crate) fn push(&mut self, frames: &[f32]) {
        for frame in frames.chunks_exact(self.bands) {
            if self.seen.is_multiple_of(BLOCK) {
                self.block_peaks.extend_from_slice(frame);
            } else {
                let from = self.block_peaks.len() - self.bands;
                for (peak, value) in self.block_peaks[from..].iter_mut().zip(frame) {
                    *peak = peak.max(*value);
                }
            }
            self.seen += 1;
        }
        self.held.extend_from_slice(frames);
        let blocks = self.seen / BLOCK;
        self.run(blocks.saturating_sub(REACH) * BLOCK);
    }

    /// Does the rest, `frames` in all; those beyond are dropped.
    pub(crate) fn finish(&mut self, frames: usize) {
        self.run(self.seen.min(frames));
    }

    fn run(&mut self, until: usize) {
        while self.done < until {
            let t = self.done;
            if t.is_multiple_of(BLOCK) {
                self.rescale(t);
            }
            self.recent.rotate_left(1);
            let at = (t - self.first) * self.bands;
            let frame = &self.held[at..at + self.bands];
            compress(frame, &self.scale, &mut self.recent[LAG]);
            let (before, now) = (&self.recent[0], &self.recent[LAG]);
            for (group, range) in self.groups.iter().enumerate() {
                let grown = now[range.clone()].iter().zip(&before[range.clone()]);
                // The first frames have no past: a recording that begins in mid-sound does not begin with an attack.
                let growth = if t < LAG { 0.0 } else { grown.map(|(n, b)| (n - b).max(0.0)).sum() };
                self.growth[group].push(growth);
                self.power[group].push(frame[range.clone()].iter().map(|m| m * m).sum());
            }
            self.done += 1;
        }
        let used = self.done.saturating_sub(LAG).saturating_sub(self.first);
        if used > 4 * BLOCK {
            self.held.drain(..used * self.bands);
            self.first += used;
        }
    }

    /// Takes the peaks around the block that begins at frame `t`, and measures the last frames against them too,
    /// so that a change of scale is never taken for growth.
    fn rescale(&mut self, t: usize) {
        let block = t / BLOCK;
        let blocks = self.block_peaks.len() / self.bands;
        let (from, to) = (block.saturating_sub(REACH), (block + REACH + 1).min(blocks));
        self.scale.fill(INAUDIBLE);
        for peaks in self.block_peaks[from * self.bands..to * self.bands].chunks_exact(self.bands) {
            for (scale, peak) in self.scale.iter_mut().zip(peaks) {
                *scale = scale.max(*peak);
            }
        }
        let floor = FLOOR * self.scale.iter().copied().fold(0.0, f32::max);
        for scale in &mut self.scale {
            *scale = COMPRESSION / scale.max(floor);
        }
        for back in 1..=LAG.min(t) {
            let at = (t - back - self.first) * self.bands;
            compress(&self.held[at..at + self.bands], &self.scale, &mut self.recent[LAG + 1 - back]);
        }
    }
}

fn compress(frame: &[f32], scale: &[f32], out: &mut [f32]) {
    for ((o, m), s) in out.iter_mut().zip(frame).zip(scale) {
        *o = (1.0 + m * s).ln();
    }
}
