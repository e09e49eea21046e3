//! Log-odds by frame: how strongly the sound speaks for a beat, a subdivision, or a bar's first beat, right there.
//!
//! A linear score of the features, fitted by logistic regression on rendered music that is free to use:
//! `training/signal/` makes the music, fits the weights and prints the table below.

use super::curve::peak;
use super::features::Features;
use crate::listening::network;
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

/// Weights for the odds of a beat, a subdivision and a bar's first beat.
type Weights = [f32; 3];

const CONSTANT: Weights = [-2.56, -0.87, -4.74];
const ONSET: Weights = [-0.01, 0.72, 0.08];
/// For what of the onset exceeds each of these.
const ONSET_KNEES: [(f32, Weights); 3] =
    [(0.7, [0.07, -0.47, -0.09]), (2.0, [-0.51, -0.22, -0.14]), (3.0, [1.35, 0.57, 0.22])];
/// By octave, low to high.
const OCTAVE: [Weights; 7] = [
    [0.49, 0.21, 0.83],
    [0.26, 0.44, -0.30],
    [-0.06, 0.13, 0.0],
    [0.32, 0.08, -0.14],
    [0.19, 0.74, 0.0],
    [-0.01, -0.39, 0.0],
    [0.21, 0.04, -0.17],
];
/// Over .2, .4 and .8 s.
const HARMONY: [Weights; 3] = [[0.32, -0.09, 0.03], [-0.14, -0.14, 0.95], [0.0, 0.0, 1.13]];
/// Over .15 and .3 s.
const BASS: [Weights; 2] = [[1.0, -1.67, 1.35], [-0.98, 0.72, 0.62]];
const ACCENT: Weights = [-0.43, 0.02, 0.15];
const SWELL: Weights = [-0.18, -0.43, 0.28];
const AGOGIC_SHORT: Weights = [1.04, 1.0, 0.13];
const AGOGIC_LONG: Weights = [-0.13, -0.49, 0.0];
const AGOGIC_KNEES: [(f32, Weights); 2] = [(1.25, [0.09, 0.36, 0.0]), (3.0, [0.76, 0.61, 0.0])];
const BEFORE: Weights = [-0.65, -0.29, 0.0];

/// Largest value that counts of a curve with knees.
const MOST: f32 = 4.0;
/// Features are taken at their largest within this many frames.
const NEAR: usize = 2;

impl Likelihood {
    /// What the network heard, cut or filled up to `frames`.
    pub(crate) fn from_network(heard: &network::Likelihood, frames: usize) -> Self {
        let fitted = |odds: &[f32]| {
            let last = odds.last().copied().unwrap_or(0.0);
            odds.iter().copied().chain(std::iter::repeat(last)).take(frames).collect()
        };
        Self { beat: fitted(&heard.beat), sub: fitted(&heard.half), downbeat: fitted(&heard.downbeat) }
    }

    pub(crate) fn from_features(features: &Features) -> Self {
        let frames = features.onset.len();
        let mut sum = Sum { scores: CONSTANT.map(|constant| vec![constant; frames]) };
        let onset = peak(&features.onset, NEAR);
        sum.add(&onset, ONSET, |x| x.min(MOST));
        for (knee, weights) in ONSET_KNEES {
            sum.add(&onset, weights, |x| (x.min(MOST) - knee).max(0.0));
        }
        // A root keeps single large values from ruling.
        let rooted = |x: f32| x.max(0.0).sqrt().min(2.0);
        let groups =
            [(&features.octave[..], &OCTAVE[..]), (&features.harmony, &HARMONY), (&features.bass, &BASS)];
        for (curves, weights) in groups {
            for (curve, &weights) in curves.iter().zip(weights) {
                sum.add(&peak(curve, NEAR), weights, rooted);
            }
        }
        sum.add(&peak(&features.accent, NEAR), ACCENT, |x| x.clamp(-2.0, 2.0));
        sum.add(&peak(&features.swell, NEAR), SWELL, rooted);
        let [short, long] = &features.agogic;
        sum.add(&peak(short, NEAR), AGOGIC_SHORT, rooted);
        let long = peak(long, NEAR);
        sum.add(&long, AGOGIC_LONG, |x| x.min(MOST));
        for (knee, weights) in AGOGIC_KNEES {
            sum.add(&long, weights, |x| (x.min(MOST) - knee).max(0.0));
        }
        sum.add(&features.before, BEFORE, rooted);
        let [beat, sub, downbeat] = sum.scores;
        Self { beat, sub, downbeat }
    }
}

/// The three scores, gathered term by term.
struct Sum {
    scores: [Vec<f32>; 3],
}

impl Sum {
    fn add(&mut self, curve: &[f32], weights: Weights, shape: impl Fn(f32) -> f32) {
        let shaped: Vec<f32> = curve.iter().map(|&x| shape(x)).collect();
        for (score, weight) in self.scores.iter_mut().zip(weights) {
            if weight != 0.0 {
                score.iter_mut().zip(&shaped).for_each(|(s, x)| *s += weight * x);
            }
        }
    }
}
