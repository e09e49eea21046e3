//! Which three of several recordings differ most in tempo, loudness and articulation.
//!
//! Each is a point in three dimensions, each measured against how much the recordings at hand differ in it; the three are
//! chosen so that the two most alike of them are as unlike as can be. The same recordings always give the same three.

use super::types::{Articulation, Listening};

/// Differences smaller than these are not stretched: a change of tempo just worth a word (8 %), in octaves; a loudness (LU)
/// and a share of joined notes that a class would notice. Our decisions.
const LEAST: [f64; 3] = [0.11, 2.0, 0.15];

/// What a class moves to in one recording.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Traits {
    /// Beats a minute in the middle of the recording; `None` without a beat.
    pub bpm: Option<f64>,
    /// Integrated loudness as recorded, LUFS; `None` in silence.
    pub loudness: Option<f64>,
    /// How notes are joined, 0 short to 1 smooth, over the phrases in which that can be told; `None` in none.
    pub joined: Option<f64>,
}

impl Traits {
    /// The traits of what was heard.
    #[must_use]
    pub fn of(heard: &Listening) -> Self {
        let (mut all, mut joined) = (0.0, 0.0);
        for (phrase, character) in heard.grid.phrase_spans().zip(&heard.phrases) {
            let share = match character.articulation {
                Articulation::Staccato => 0.0,
                Articulation::Detached => 0.5,
                Articulation::Legato => 1.0,
                Articulation::Unclear => continue,
            };
            let counts = phrase.end.since(phrase.start).0;
            all += counts;
            joined += share * counts;
        }
        Self {
            bpm: super::tempo::median(&heard.tempo).map(|bpm| bpm.0).filter(|bpm| *bpm > 0.0),
            loudness: heard.loudness.integrated.map(|level| level.0),
            joined: (all > 0.0).then(|| joined / all),
        }
    }

    /// The three dimensions; tempo in octaves, as tempi are felt.
    fn dimensions(self) -> [Option<f64>; 3] {
        [self.bpm.map(f64::log2), self.loudness, self.joined]
    }
}

/// The three that differ most, ascending; `None` for fewer than three. Of equals the earlier are taken.
///
/// What cannot be told of a recording counts as the middle of the others.
#[must_use]
pub fn contrast(all: &[Traits]) -> Option<[usize; 3]> {
    let points = standardised(all);
    let between = |a: usize, b: usize| {
        points[a].iter().zip(points[b]).map(|(a, b)| (a - b).powi(2)).sum::<f64>().sqrt()
    };
    let mut best: Option<([usize; 3], (f64, f64))> = None;
    for first in 0..all.len() {
        for second in first + 1..all.len() {
            let near = between(first, second);
            for third in second + 1..all.len() {
                let (a, b) = (between(first, third), between(second, third));
                // First that no two are alike, then that they lie far apart in all.
                let apart = (near.min(a).min(b), near + a + b);
                let better = best.as_ref().is_none_or(|(_, most)| {
                    apart.0 > most.0 + 1e-9 || (apart.0 > most.0 - 1e-9 && apart.1 > most.1 + 1e-9)
                });
                if better {
                    best = Some(([first, second, third], apart));
                }
            }
        }
    }
    best.map(|(chosen, _)| chosen)
}

/// Each dimension less its mean, over its standard deviation (but not less than what is noticed).
fn standardised(all: &[Traits]) -> Vec<[f64; 3]> {
    let mut points = vec![[0.0; 3]; all.len()];
    for dimension in 0..3 {
        let values: Vec<Option<f64>> = all.iter().map(|traits| traits.dimensions()[dimension]).collect();
        let told: Vec<f64> = values.iter().copied().flatten().collect();
        let many = told.len().max(1) as f64;
        let mean = told.iter().sum::<f64>() / many;
        let spread = (told.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / many).sqrt();
        for (point, value) in points.iter_mut().zip(values) {
            point[dimension] = value.map_or(0.0, |value| (value - mean) / spread.max(LEAST[dimension]));
        }
    }
    points
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn traits(bpm: f64, loudness: f64, joined: f64) -> Traits {
        Traits { bpm: Some(bpm), loudness: Some(loudness), joined: Some(joined) }
    }

    #[test]
    fn the_three_that_differ_are_found_among_copies() {
        let march = traits(112.0, -14.0, 0.3);
        let boat = traits(60.0, -26.0, 1.0);
        let goats = traits(168.0, -18.0, 0.0);
        let near = |t: Traits| Traits { bpm: t.bpm.map(|bpm| bpm + 1.0), ..t };
        let all = [march, near(march), near(near(march)), boat, near(boat), goats, near(goats)];
        let chosen = contrast(&all).expect("seven");
        assert!(chosen[0] <= 2 && (3..=4).contains(&chosen[1]) && (5..=6).contains(&chosen[2]), "{chosen:?}");
    }

    #[test]
    fn no_two_alike_beats_one_far_away() {
        // 40, 41 and 160 lie far apart in all, but two of them are the same to a class.
        let line = [40.0, 41.0, 80.0, 160.0].map(|bpm| traits(bpm, -20.0, 0.5));
        assert_eq!(contrast(&line), Some([0, 2, 3]));
    }

    #[test]
    fn what_cannot_be_told_is_no_contrast_and_small_differences_are_not_stretched() {
        let unknown = Traits::default();
        assert_eq!(contrast(&[unknown; 4]), Some([0, 1, 2]));
        assert_eq!(contrast(&[unknown; 2]), None);
        assert_eq!(contrast(&[]), None);
        // Half a beat a minute must not weigh as much as 12 LU.
        let all = [
            traits(100.0, -20.0, 0.5),
            traits(100.5, -20.0, 0.5),
            traits(99.5, -20.0, 0.5),
            traits(100.0, -32.0, 0.5),
            traits(100.0, -26.0, 0.5),
        ];
        let chosen = contrast(&all).expect("five");
        assert!(chosen.contains(&3) && chosen.contains(&4), "{chosen:?}");
    }

    proptest! {
        #[test]
        fn order_only_decides_between_equals(
            values in prop::collection::vec((40.0f64..200.0, -40.0f64..-8.0, 0.0f64..1.0), 3..9), shift in 0usize..9,
        ) {
            let all: Vec<Traits> = values.iter().map(|&(a, b, c)| traits(a, b, c)).collect();
            let chosen = contrast(&all).expect("three or more");
            let by = shift % all.len();
            let turned: Vec<Traits> = (0..all.len()).map(|i| all[(i + by) % all.len()]).collect();
            let mut again = contrast(&turned).expect("three or more").map(|i| (i + by) % all.len());
            again.sort_unstable();
            let smallest = |three: [usize; 3]| {
                let points = standardised(&all);
                let d = |a: usize, b: usize| points[a].iter().zip(points[b]).map(|(x, y)| (x - y).powi(2)).sum::<f64>();
                d(three[0], three[1]).min(d(three[0], three[2])).min(d(three[1], three[2]))
            };
            prop_assert!((smallest(chosen) - smallest(again)).abs() < 1e-6);
        }
    }
}
