//! What intervals and levels cost: worked out once, before the search.

use super::search::{ANY_TEMPO, BINS, Constraints, STEPS_PER_SECOND, period};
use super::settings::Settings;
use std::ops::Range;

/// Tempo bins that are looked at together, so that they fill the vectors of any common machine.
pub(super) const LANES: usize = 8;
/// A beat may be off its tempo by this much (natural logarithm of the ratio).
const OFF: f32 = 0.2;
/// From here on its price grows linearly.
const OFF_KNEE: f32 = 0.1;
/// Price of what cannot be: more than any path is worth.
const FORBIDDEN: f32 = 4e9;

/// Prices of one interval: for each tempo bin that allows it, and some neighbours that fill up the lanes.
pub(super) struct Interval {
    /// Whole lanes of bins.
    pub(super) bins: Range<usize>,
    /// Price of the deviation and of an unusual tempo.
    pub(super) price: Vec<f32>,
}

/// The shortest interval, in steps, and the prices of it and all that follow.
pub(super) fn intervals(settings: &Settings) -> (usize, Vec<Interval>) {
    let first = (period(0) * (-OFF).exp()).ceil() as usize;
    let last = (period(BINS - 1) * OFF.exp()).floor() as usize;
    (first, (first..=last).map(|steps| interval(settings, steps as f32)).collect())
}

fn interval(settings: &Settings, length: f32) -> Interval {
    let fits = |bin: usize| (length / period(bin)).ln().abs() <= OFF;
    let from = (0..BINS).find(|&bin| fits(bin)).unwrap_or(0);
    let count = (from..BINS).take_while(|&bin| fits(bin)).count().next_multiple_of(LANES);
    let from = from.min(BINS - count);
    let unusual = settings.preference * length / STEPS_PER_SECOND;
    let price = |bin: usize| {
        if fits(bin) {
            settings.off * off(length, period(bin)) + unusual * distaste(bin, settings.preferred)
        } else {
            FORBIDDEN
        }
    };
    Interval { bins: from..from + count, price: (from..from + count).map(price).collect() }
}

/// Price of an interval (steps) off the tempo's beat length, half a step of rounding being free.
fn off(interval: f32, period: f32) -> f32 {
    let apart = ((interval - period).abs() - 0.5).max(0.0);
    let off = (1.0 + apart / period).ln();
    if off <= OFF_KNEE { off * off } else { OFF_KNEE * (2.0 * off - OFF_KNEE) }
}

/// How far a tempo is from the preferred one (BPM), in octaves squared.
fn distaste(bin: usize, preferred: f32) -> f32 {
    (60.0 * STEPS_PER_SECOND / period(bin) / preferred).log2().powi(2)
}

/// What tempi outside the tapped level cost. Long stretches share one level, so its prices are laid out once.
#[derive(Default)]
pub(super) struct Levels {
    prices: Vec<[f32; BINS]>,
    /// Which of them holds, by step; none where any tempo is of the level.
    by_step: Vec<Option<u32>>,
}

impl Levels {
    /// Those that the constraints ask for.
    pub(super) fn new(settings: &Settings, constraints: &Constraints) -> Self {
        let mut levels = Self::default();
        if !constraints.told {
            return levels;
        }
        let mut latest = ANY_TEMPO;
        for &level in &constraints.level {
            if level != ANY_TEMPO && level != latest {
                latest = level;
                levels.prices.push(std::array::from_fn(|bin| {
                    let outside = level >> bin & 1 == 0;
                    if outside { settings.off_level * period(bin) / STEPS_PER_SECOND } else { 0.0 }
                }));
            }
            let latest = levels.prices.len().checked_sub(1).map(|index| index as u32);
            levels.by_step.push(latest.filter(|_| level != ANY_TEMPO));
        }
        levels
    }

    /// Prices at step `t`, one a tempo bin; `None` where all are free.
    #[inline(always)]
    pub(super) fn at(&self, t: usize) -> Option<&[f32; BINS]> {
        self.prices.get((*self.by_step.get(t)?)? as usize)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_interval_fills_whole_lanes_and_forbids_what_does_not_fit() {
        let (first, all) = intervals(&Settings::default());
        for (n, interval) in all.iter().enumerate() {
            assert_eq!(interval.bins.len() % LANES, 0);
            assert!(interval.bins.end <= BINS && interval.bins.len() == interval.price.len());
            let length = (first + n) as f32;
            for bin in 0..BINS {
                let off = (length / period(bin)).ln().abs();
                let price = bin.checked_sub(interval.bins.start).and_then(|at| interval.price.get(at));
                assert_eq!(price.is_some_and(|price| *price < FORBIDDEN), off <= OFF, "{length} {bin}");
            }
        }
    }

    #[test]
    fn levels_hold_from_step_to_step() {
        let mut constraints = Constraints::none(4);
        constraints.told = true;
        constraints.level = vec![ANY_TEMPO, 1 << 5, ANY_TEMPO, 1 << 5];
        let levels = Levels::new(&Settings::default(), &constraints);
        assert!(levels.at(0).is_none() && levels.at(2).is_none() && levels.at(9).is_none());
        let prices = levels.at(1).expect("a level");
        assert_eq!((prices[5], levels.at(3)), (0.0, Some(prices)));
        assert!(prices[4] > 0.0 && prices[50] > prices[4]);
    }
}
