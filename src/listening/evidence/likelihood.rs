//! Log-odds by frame: how strongly the sound speaks for a beat, a subdivision, or a bar's first beat, right there.

use super::features::{Features, near};
use serde::{Deserialize, Serialize};

/// Natural-logarithm odds, one value every 10 ms; 0 where the sound says nothing either way.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Likelihood {
    /// Of a beat.
    pub beat: Vec<f32>,
    /// Of a place that divides a beat into two or three.
    pub sub: Vec<f32>,
    /// Of a bar's first beat, given a beat.
    pub downbeat: Vec<f32>,
}

/// Odds of a beat by attack strength, read off histograms of rendered music.
const BEAT: [(f32, f32); 6] = [(0.0, -3.0), (0.2, -2.8), (0.7, -1.2), (1.25, 0.0), (2.5, 2.2), (3.5, 3.3)];
/// The same for subdivisions.
const SUB: [(f32, f32); 5] = [(0.0, -0.5), (0.3, -0.9), (1.1, 0.0), (2.0, 1.0), (3.5, 1.8)];

impl Likelihood {
    pub(crate) fn from_features(features: &Features) -> Self {
        let onset = near(&features.onset);
        let beat = onset.iter().map(|&o| through(&BEAT, o)).collect();
        let sub = onset.iter().map(|&o| through(&SUB, o)).collect();
        let low = near(&features.octave[0]);
        let [_, harmony, _] = &features.harmony;
        let [bass, _] = &features.bass;
        let (harmony, bass) = (near(harmony), near(bass));
        let downbeat = (0..onset.len())
            .map(|t| 0.2 * onset[t] + 0.2 * low[t] + 0.3 * harmony[t] + 0.3 * bass[t] - 1.2)
            .collect();
        Self { beat, sub, downbeat }
    }
}

/// The value at `x` of the line through `points` (ascending), held beyond both ends.
fn through(points: &[(f32, f32)], x: f32) -> f32 {
    let after = points.partition_point(|&(at, _)| at <= x);
    if after == 0 {
        return points[0].1;
    }
    if after == points.len() {
        return points[after - 1].1;
    }
    let ((x0, y0), (x1, y1)) = (points[after - 1], points[after]);
    y0 + (y1 - y0) * (x - x0) / (x1 - x0)
}
