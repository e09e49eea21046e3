//! Texture: harmony, bass, level and tone colour in coarse steps, from which bars and phrases are told apart.

use super::bank::GROUPS;
use super::curve::span_means;
use super::features::log_level;
use super::spectra::{FPS, LONG_STEP};
use serde::{Deserialize, Serialize};

/// Rows of texture a second.
pub const TEXTURE_FPS: usize = 25;
/// Short frames in a row.
const FRAMES: usize = FPS / TEXTURE_FPS;
/// Columns of a row: pitch classes, bass classes, octave levels, level, density of attacks.
const WIDTH: usize = 12 + 12 + GROUPS + 2;

/// One row every 40 ms.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Texture {
    /// Rows laid end to end.
    rows: Vec<f32>,
}

/// The mean texture of a stretch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Passage {
    /// Pitch classes, C first.
    pub chroma: [f32; 12],
    /// Bass by pitch class.
    pub bass: [f32; 12],
    /// Level by octave, natural logarithm.
    pub colour: [f32; GROUPS],
    /// Level, natural logarithm.
    pub level: f32,
    /// Attacks.
    pub density: f32,
}

impl Texture {
    pub(crate) fn new(
        power: &[Vec<f32>; GROUPS],
        onset: &[f32],
        chroma: &[f32],
        bass: &[f32],
        bass_bands: usize,
    ) -> Self {
        let frames = onset.len();
        let level = log_level(power);
        let floor = 1e-8 * power.iter().flatten().copied().fold(0.0, f32::max) + 1e-14;
        let long = chroma.len() / 12;
        let mut rows = Vec::with_capacity(frames.div_ceil(FRAMES) * WIDTH);
        for first in (0..frames).step_by(FRAMES) {
            let span = first..(first + FRAMES).min(frames);
            let scale = 1.0 / span.len() as f32;
            let at = first / LONG_STEP;
            let longs = at..(at + FRAMES / LONG_STEP).min(long);
            let each = 1.0 / longs.len().max(1) as f32;
            for class in 0..12 {
                rows.push(longs.clone().map(|t| chroma[12 * t + class]).sum::<f32>() * each);
            }
            for class in 0..12 {
                let bands = (class..bass_bands).step_by(12);
                rows.push(
                    bands
                        .map(|band| longs.clone().map(|t| bass[bass_bands * t + band]).sum::<f32>())
                        .sum::<f32>()
                        * each,
                );
            }
            for p in power {
                rows.push(0.5 * (p[span.clone()].iter().sum::<f32>() * scale + floor).ln());
            }
            rows.push(level[span.clone()].iter().sum::<f32>() * scale);
            rows.push(onset[span].iter().sum::<f32>() * scale);
        }
        Self { rows }
    }

    /// The mean over `from..to` (seconds), at least one row; all zero for an empty recording.
    pub(crate) fn passage(&self, from: f64, to: f64) -> Passage {
        let mut sum = [0.0f32; WIDTH];
        let count = self.rows.len() / WIDTH;
        if count > 0 {
            let row = |at: f64| (at.max(0.0) * TEXTURE_FPS as f64).round() as usize;
            let first = row(from).min(count - 1);
            let last = row(to).clamp(first + 1, count.max(first + 1));
            for row in self.rows[first * WIDTH..last * WIDTH].chunks_exact(WIDTH) {
                for (s, v) in sum.iter_mut().zip(row) {
                    *s += v;
                }
            }
            let scale = 1.0 / (last - first) as f32;
            sum.iter_mut().for_each(|s| *s *= scale);
        }
        Passage {
            chroma: std::array::from_fn(|n| sum[n]),
            bass: std::array::from_fn(|n| sum[12 + n]),
            colour: std::array::from_fn(|n| sum[24 + n]),
            level: sum[24 + GROUPS],
            density: sum[25 + GROUPS],
        }
    }
}

/// Change of level and colour between two seconds after and before (dB, mean of the octaves), kept where it is
/// the largest within 1.5 s; elsewhere 0.
pub(crate) fn novelty(power: &[Vec<f32>; GROUPS]) -> Vec<f32> {
    const SPAN: usize = 2 * FPS;
    const ALONE: usize = 3 * FPS / 2;
    let frames = power[0].len();
    let floor = 1e-8 * power.iter().flatten().copied().fold(0.0, f32::max) + 1e-14;
    let mut change = vec![0.0f32; frames];
    for p in power {
        let db: Vec<f32> = p.iter().map(|p| 10.0 * (p + floor).log10()).collect();
        let after = span_means(&db, |t| (t, t + SPAN));
        let before = span_means(&db, |t| (t.saturating_sub(SPAN), t.max(1)));
        for ((c, a), b) in change.iter_mut().zip(&after).zip(&before) {
            *c += (a - b).abs() / GROUPS as f32;
        }
    }
    let mut kept = vec![0.0; frames];
    // A monotone queue of candidates would do as well; windows are few, so look from peak to peak.
    for t in 0..frames {
        let (from, to) = (t.saturating_sub(ALONE), (t + ALONE + 1).min(frames));
        let local = change[t] > 0.0
            && (t == 0 || change[t] >= change[t - 1])
            && (t + 1 == frames || change[t] > change[t + 1]);
        if local && change[from..to].iter().all(|&c| c <= change[t]) {
            kept[t] = change[t];
        }
    }
    kept
}
