//! Features by frame: what musicians hear at a beat. Attacks, changes of harmony and bass, accents, long notes.

use super::bank::GROUPS;
use super::curve::{levelled, mean, rms, smooth, span_means};
use super::spectra::LONG_STEP;

/// Frames between the two stretches that are compared at an instant.
const GAP: usize = 2;

/// One curve a feature, all of the same length.
#[derive(Debug)]
pub(crate) struct Features {
    /// Attacks of all octaves, each octave weighed by its usual size, less the mean around.
    pub(crate) onset: Vec<f32>,
    /// Attacks by octave, low to high.
    pub(crate) octave: [Vec<f32>; GROUPS],
    /// Change of harmony over a short, a middle and a long stretch (.2, .4, .8 s).
    pub(crate) harmony: [Vec<f32>; 3],
    /// Bass notes that enter, over .15 and .3 s.
    pub(crate) bass: [Vec<f32>; 2],
    /// Level of what follows, against the level around (natural logarithm).
    pub(crate) accent: Vec<f32>,
    /// Growth of level.
    pub(crate) swell: Vec<f32>,
    /// Attacks after which little follows for .25 or .45 s: long notes.
    pub(crate) agogic: [Vec<f32>; 2],
    /// Attacks just before.
    pub(crate) before: Vec<f32>,
}

impl Features {
    /// `growth` and `power` by octave and frame; `chroma` (12) and `bass` (`bass_bands`) by long frame.
    pub(crate) fn new(
        growth: &[Vec<f32>; GROUPS],
        power: &[Vec<f32>; GROUPS],
        chroma: &[f32],
        bass: &[f32],
        bass_bands: usize,
    ) -> Self {
        let frames = growth[0].len();
        let onset = onset(growth);
        let octave = std::array::from_fn(|group| levelled(&smooth(&growth[group], 1.0)));
        let harmony = [20, 40, 80].map(|n| harmony_change(chroma, n, frames));
        let bass = [15, 30].map(|n| bass_entry(bass, bass_bands, n, frames));
        let level = log_level(power);
        let after = mean(&level, 0, 14);
        let around = mean(&level, 75, 75);
        let accent: Vec<f32> = after.iter().zip(&around).map(|(a, b)| a - b).collect();
        let earlier = span_means(&level, |t| (t.saturating_sub(15), t.max(1)));
        let swell: Vec<f32> = after.iter().zip(&earlier).map(|(a, b)| (a - b).max(0.0)).collect();
        let agogic = [25, 45].map(|n| {
            let next = span_means(&onset, |t| (t + 6, t + n));
            onset.iter().zip(&next).map(|(o, n)| o.min(3.0) / (0.3 + n)).collect()
        });
        let before = span_means(&onset, |t| (t.saturating_sub(25), t.saturating_sub(5)));
        Self {
            octave,
            harmony,
            bass,
            accent: smooth(&accent, 2.0),
            swell: levelled(&smooth(&swell, 2.0)),
            agogic,
            before,
            onset,
        }
    }
}

impl Features {
    /// Every curve with its name.
    pub(crate) fn named(self) -> Vec<(&'static str, Vec<f32>)> {
        let mut all = vec![("onset", self.onset)];
        all.extend(["g0", "g1", "g2", "g3", "g4", "g5", "g6"].into_iter().zip(self.octave));
        all.extend(["hc20", "hc40", "hc80"].into_iter().zip(self.harmony));
        all.extend(["br15", "br30"].into_iter().zip(self.bass));
        all.extend([("accent", self.accent), ("swell", self.swell)]);
        all.extend(["ag25", "ag45"].into_iter().zip(self.agogic));
        all.push(("before", self.before));
        all
    }
}

/// The sum of the octaves' growth, each against its own usual size, sharpened by taking the mean around away.
fn onset(growth: &[Vec<f32>; GROUPS]) -> Vec<f32> {
    let frames = growth[0].len();
    let sizes: Vec<Vec<f32>> = growth.iter().map(|g| rms(g, 200)).collect();
    let sum: Vec<f32> = (0..frames)
        .map(|t| {
            let together = (sizes.iter().map(|s| s[t] * s[t]).sum::<f32>() / GROUPS as f32).sqrt();
            growth.iter().zip(&sizes).map(|(g, s)| g[t] / (s[t] + 0.15 * together + 1e-9)).sum()
        })
        .collect();
    let sum = smooth(&sum, 1.0);
    let around = mean(&sum, 20, 20);
    let sharp: Vec<f32> = sum.iter().zip(&around).map(|(s, m)| (s - m).max(0.0)).collect();
    let size = rms(&sharp, 200);
    let floor = 0.05 * size.iter().copied().fold(0.0, f32::max) + 1e-9;
    sharp.iter().zip(&size).map(|(s, r)| s / (r + floor)).collect()
}

/// Natural logarithm of the level, with a floor 60 dB under the loudest frame.
pub(crate) fn log_level(power: &[Vec<f32>; GROUPS]) -> Vec<f32> {
    let total: Vec<f32> = (0..power[0].len()).map(|t| power.iter().map(|p| p[t]).sum()).collect();
    let floor = 1e-6 * total.iter().copied().fold(0.0, f32::max) + 1e-12;
    total.iter().map(|p| 0.5 * (p + floor).ln()).collect()
}

/// 1 - cosine between the mean pitch classes of `n` frames after and before.
fn harmony_change(chroma: &[f32], n: usize, frames: usize) -> Vec<f32> {
    let change = compared(chroma, 12, n, |before, after| {
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>();
        let size = (dot(before, before) * dot(after, after)).sqrt();
        if size <= 0.0 { 0.0 } else { 1.0 - dot(before, after) / size }
    });
    levelled(&smooth(&doubled(&change, frames), 2.0))
}

/// Sum over bass bands of what `n` frames after have more than `n` frames before.
fn bass_entry(bass: &[f32], bands: usize, n: usize, frames: usize) -> Vec<f32> {
    let entry = compared(bass, bands, n, |before, after| {
        after.iter().zip(before).map(|(a, b)| (a - b).max(0.0)).sum()
    });
    levelled(&smooth(&doubled(&entry, frames), 2.0))
}

/// `measure(before, after)` on the mean rows of `n` frames either side of each long frame.
fn compared(rows: &[f32], width: usize, n: usize, measure: impl Fn(&[f64], &[f64]) -> f64) -> Vec<f32> {
    let count = rows.len() / width;
    let (gap, span) = (GAP / LONG_STEP, n / LONG_STEP);
    let mut sums = vec![0.0f64; width];
    sums.reserve(rows.len());
    for (at, &value) in rows.iter().enumerate() {
        sums.push(sums[at] + f64::from(value));
    }
    let (mut before, mut after) = (vec![0.0; width], vec![0.0; width]);
    let means = |out: &mut [f64], from: usize, to: usize| {
        let (from, to) = (from.min(count), to.min(count));
        let scale = 1.0 / to.saturating_sub(from).max(1) as f64;
        for (column, value) in out.iter_mut().enumerate() {
            *value = (sums[to * width + column] - sums[from * width + column]) * scale;
        }
    };
    (0..count)
        .map(|t| {
            means(&mut before, t.saturating_sub(gap + span), t.saturating_sub(gap).max(1));
            means(&mut after, (t + gap).min(count - 1), t + gap + span);
            measure(&before, &after) as f32
        })
        .collect()
}

/// A long-frame curve at the short frames' rate.
fn doubled(x: &[f32], frames: usize) -> Vec<f32> {
    (0..frames).map(|t| x[t / LONG_STEP]).collect()
}
