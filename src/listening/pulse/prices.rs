//! What intervals and levels cost: worked out once, before the search.

use super::constraints::Constraints;
use super::search::{ANY_TEMPO, BINS, STEPS_PER_SECOND, period};
use super::settings::Settings;
use std::ops::Range;

/// A beat may be off its tempo by this much (natural logarithm of the ratio).
const OFF: f32 = 0.2;
/// From here on its price grows linearly.
const OFF_KNEE: f32 = 0.1;
/// Price of what cannot be: more than any path is worth.
pub(super) const FORBIDDEN: f32 = 4e9;
/// Entries of one interval's prices: its bins, and as many to either side that are forbidden, so that prices may be read at
/// any place that a change of pace leads to.
pub(super) const WIDTH: usize = 3 * BINS;

/// Prices of all intervals, for each tempo bin: of the deviation and of an unusual tempo.
pub(super) struct Intervals {
    /// The shortest, in steps.
    pub(super) shortest: usize,
    /// By length, `WIDTH` each.
    prices: Vec<f32>,
    /// By length: where its subdivisions lie.
    pub(super) parts: Vec<Parts>,
    /// By bin: the intervals, counted from the shortest, that fit it.
    fitting: Vec<Range<usize>>,
}

/// Where an interval divides, in steps from its start.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Parts {
    /// The steps on either side of its middle; twice the same where that is a step.
    pub(super) halves: [usize; 2],
    /// The steps nearest to its thirds.
    pub(super) thirds: [usize; 2],
}

impl Parts {
    fn of(length: usize) -> Self {
        let halves = [length / 2, length.div_ceil(2)];
        Self { halves, thirds: [(length + 1) / 3, (2 * length + 1) / 3] }
    }

    /// What an interval earns from its subdivisions, in two and in three; `sub` is their worth from its start on.
    #[inline(always)]
    pub(super) fn gains(&self, sub: &[f32]) -> [f32; 2] {
        let [left, right] = self.halves.map(|half| sub[half]);
        let [one, two] = self.thirds.map(|third| sub[third]);
        [left.max(right), one + two]
    }
}

impl Intervals {
    pub(super) fn new(settings: &Settings) -> Self {
        let shortest = (period(0) * (-OFF).exp()).ceil() as usize;
        let longest = (period(BINS - 1) * OFF.exp()).floor() as usize;
        let periods: Vec<f32> = (0..BINS).map(period).collect();
        let tastes: Vec<f32> = (0..BINS).map(|bin| distaste(bin, settings.preferred)).collect();
        let mut prices = Vec::with_capacity((longest + 1 - shortest) * WIDTH);
        for length in shortest..=longest {
            let unusual = settings.preference * length as f32 / STEPS_PER_SECOND;
            let length = length as f32;
            let price = |bin: usize| {
                let fits = (length / periods[bin]).ln().abs() <= OFF;
                if fits {
                    settings.off * off(length, periods[bin]) + unusual * tastes[bin]
                } else {
                    FORBIDDEN
                }
            };
            prices.extend([FORBIDDEN; BINS]);
            prices.extend((0..BINS).map(price));
            prices.extend([FORBIDDEN; BINS]);
        }
        let count = longest + 1 - shortest;
        let fitting = |bin: usize| {
            let fits = |n: &usize| prices[n * WIDTH + BINS + bin] < FORBIDDEN;
            (0..count).find(fits).unwrap_or(count)..(0..count).rfind(fits).map_or(count, |last| last + 1)
        };
        let fitting = (0..BINS).map(fitting).collect();
        Self { shortest, prices, parts: (shortest..=longest).map(Parts::of).collect(), fitting }
    }

    /// The prices of all, `WIDTH` each: entry `BINS` is that of bin 0.
    pub(super) fn prices(&self) -> &[f32] {
        &self.prices
    }

    /// The price of interval `n`, counted from the shortest, at a tempo; `None` where it does not fit.
    pub(super) fn price(&self, n: usize, bin: usize) -> Option<f32> {
        let fits = self.fitting.get(bin)?.contains(&n);
        fits.then(|| self.prices[n * WIDTH + BINS + bin])
    }

    /// The intervals that fit a bin of `low..=high`, which may reach beyond all bins.
    #[inline(always)]
    pub(super) fn fitting(&self, low: isize, high: isize) -> Range<usize> {
        let last = BINS as isize - 1;
        if high < 0 || low > last {
            return 0..0;
        }
        // Longer intervals fit slower tempi.
        self.fitting[low.max(0) as usize].start..self.fitting[high.min(last) as usize].end
    }
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
    fn an_interval_has_a_price_where_it_fits_and_nowhere_else() {
        let all = Intervals::new(&Settings::default());
        for n in 0..all.parts.len() {
            let length = (all.shortest + n) as f32;
            for (at, price) in all.prices()[n * WIDTH..][..WIDTH].iter().enumerate() {
                let bin = at.checked_sub(BINS).filter(|bin| *bin < BINS);
                let fits = bin.is_some_and(|bin| (length / period(bin)).ln().abs() <= OFF);
                assert_eq!(*price < FORBIDDEN, fits, "{length} {at}");
                assert_eq!(bin.and_then(|bin| all.price(n, bin)), fits.then_some(*price), "{length} {at}");
            }
        }
        assert!(all.fitting(-9, -1).is_empty() && all.fitting(BINS as isize, 200).is_empty());
        assert_eq!(all.fitting(-9, 200), 0..all.parts.len());
    }

    #[test]
    fn an_interval_divides_at_the_steps_nearest_to_its_parts() {
        let all = Intervals::new(&Settings::default());
        for (length, halves, thirds) in
            [(12, [6, 6], [4, 8]), (25, [12, 13], [8, 17]), (50, [25, 25], [17, 33])]
        {
            assert_eq!(all.parts[length - all.shortest], Parts { halves, thirds });
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
