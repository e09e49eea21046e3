//! Straight pieces: a noisy curve told as stretches that stay level or go steadily up or down.
//!
//! Tempo and loudness are both read this way. Knows nothing of either: values, their noise, and what a new
//! piece must gain to be worth its name.

use super::loudness::quantile;

/// A stretch `from..to` of the curve and the straight line that fits it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Segment {
    /// First value.
    pub from: usize,
    /// One past the last value.
    pub to: usize,
    /// The line at `from`.
    pub first: f64,
    /// The line at `to - 1`.
    pub last: f64,
}

impl Segment {
    /// How many values it covers.
    pub(super) fn len(&self) -> usize {
        self.to - self.from
    }

    /// How far it rises.
    pub(super) fn rise(&self) -> f64 {
        self.last - self.first
    }
}

/// What pieces cost, in squared standard deviations of the noise.
#[derive(Debug, Clone, Copy)]
pub(super) struct Price {
    /// Standard deviation of one value around the line.
    pub noise: f64,
    /// A level piece.
    pub level: f64,
    /// A sloping piece.
    pub sloping: f64,
    /// Shortest piece, in values; at least 2.
    pub shortest: usize,
    /// Longest piece: it bounds the work. A longer stretch comes out as several.
    pub longest: usize,
}

/// Cuts whose costs differ by less than this are alike, and the one with the earliest knot is taken: a value may lie on
/// both lines that meet there, and the last digit of it must not decide.
const ALIKE: f64 = 1e-3;

/// The pieces whose squared errors and prices add up to the least (dynamic programming over all knots). They
/// cover all values in order; one level piece when there are fewer than twice the shortest; none for no values.
pub(super) fn fit(values: &[f64], price: &Price) -> Vec<Segment> {
    let n = values.len();
    if n == 0 {
        return Vec::new();
    }
    let shortest = price.shortest.max(2);
    let sums = Sums::new(values);
    if n < 2 * shortest {
        return vec![sums.piece(0, n, price).1];
    }
    let longest = price.longest.max(2 * shortest);
    let mut best = vec![(f64::INFINITY, 0usize); n + 1];
    best[0].0 = 0.0;
    for to in shortest..=n {
        for from in to.saturating_sub(longest)..=to - shortest {
            let so_far = best[from].0;
            // No piece costs less than a level one without error, so most starts need no fit.
            if so_far + price.level >= best[to].0 {
                continue;
            }
            let cost = so_far + sums.piece(from, to, price).0;
            if cost < best[to].0 - ALIKE {
                best[to] = (cost, from);
            }
        }
    }
    let mut pieces = Vec::new();
    let mut to = n;
    while to > 0 {
        let from = best[to].1;
        pieces.push(sums.piece(from, to, price).1);
        to = from;
    }
    pieces.reverse();
    pieces
}

/// Running sums from which any stretch is fitted in constant time.
struct Sums {
    mean: f64,
    y: Vec<f64>,
    xy: Vec<f64>,
    yy: Vec<f64>,
}

impl Sums {
    fn new(values: &[f64]) -> Self {
        // Around the mean, so that the squares do not swallow the differences.
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        let running = |term: &dyn Fn(f64, f64) -> f64| {
            let mut total = 0.0;
            std::iter::once(0.0)
                .chain(values.iter().enumerate().map(move |(x, y)| {
                    total += term(x as f64, y - mean);
                    total
                }))
                .collect()
        };
        Self { mean, y: running(&|_, y| y), xy: running(&|x, y| x * y), yy: running(&|_, y| y * y) }
    }

    /// The cheaper of a level and a sloping line over `from..to`, with its cost.
    fn piece(&self, from: usize, to: usize, price: &Price) -> (f64, Segment) {
        let n = (to - from) as f64;
        let sy = self.y[to] - self.y[from];
        let middle = (from + to - 1) as f64 / 2.0;
        let sxy = self.xy[to] - self.xy[from] - middle * sy;
        let around_mean = (self.yy[to] - self.yy[from] - sy * sy / n).max(0.0);
        let sxx = n * (n * n - 1.0) / 12.0;
        let slope = if sxx > 0.0 { sxy / sxx } else { 0.0 };
        let around_line = (around_mean - slope * sxy).max(0.0);
        let scale = 1.0 / (price.noise * price.noise);
        let level = around_mean * scale + price.level;
        let sloping = around_line * scale + price.sloping;
        let centre = self.mean + sy / n;
        let reach = if sloping < level { slope * (n - 1.0) / 2.0 } else { 0.0 };
        (level.min(sloping), Segment { from, to, first: centre - reach, last: centre + reach })
    }
}

/// The median of the `2 * half + 1` values around each value; fewer towards the ends, evenly on both sides, so that
/// a trend there stays one. Trends and steps stay; whatever is shorter than `half` goes.
pub(super) fn running_median(values: &[f64], half: usize) -> Vec<f64> {
    let mut window = Vec::with_capacity(2 * half + 1);
    (0..values.len())
        .map(|i| {
            let half = half.min(i).min(values.len() - 1 - i);
            window.clear();
            window.extend_from_slice(&values[i - half..=i + half]);
            window.sort_by(f64::total_cmp);
            window[half]
        })
        .collect()
}

/// Standard deviation of the values around their [`running_median`] (from the median deviation, so that a few wild
/// values do not matter); trends and steps count for nothing. 0 for no values.
pub(super) fn noise(values: &[f64], half: usize) -> f64 {
    let mut off: Vec<f64> = values
        .iter()
        .zip(running_median(values, half))
        .map(|(value, median)| (value - median).abs())
        .collect();
    off.sort_by(f64::total_cmp);
    1.4826 * quantile(&off, 0.5).unwrap_or(0.0)
}

/// What makes pieces one gradual change.
#[derive(Debug, Clone, Copy)]
pub(super) struct Slope {
    /// Least rise of a piece that counts as moving.
    pub moving: f64,
    /// How far it may fall back between two pieces of one rise.
    pub slack: f64,
    /// How far it may leap between two pieces of one rise; a larger leap is a sudden change ...
    pub leap: f64,
    /// ... unless it is no more than this share of the whole.
    pub part: f64,
    /// Longest level stretch inside one rise, in values.
    pub plateau: usize,
}

/// Gradual changes: pieces that move the same way, joined across small gaps; `first` and `last` are the lines'
/// ends, or the levels that they come from and lead to. By ascending start, not overlapping.
pub(super) fn slopes(pieces: &[Segment], rule: &Slope) -> Vec<Segment> {
    let mut found = joined(pieces, rule);
    for run in &mut found {
        let step = run.rise() / (run.len() - 1).max(1) as f64;
        // One value further on, or a little more, the line meets its neighbour: it came from there.
        let meets = |gap: f64| gap * step > 0.0 && gap.abs() <= 1.5 * step.abs();
        if let Some(before) =
            pieces.iter().find(|piece| piece.to == run.from).filter(|p| meets(run.first - p.last))
        {
            run.first = before.last;
        }
        if let Some(after) =
            pieces.iter().find(|piece| piece.from == run.to).filter(|p| meets(p.first - run.last))
        {
            run.last = after.first;
        }
    }
    found
}

/// The pieces of each change, joined.
fn joined(pieces: &[Segment], rule: &Slope) -> Vec<Segment> {
    let mut found: Vec<Segment> = Vec::new();
    // Where the last piece of the latest change stood in `pieces`.
    let mut last_piece = 0;
    for (index, piece) in pieces.iter().enumerate() {
        if piece.rise().abs() < rule.moving {
            continue;
        }
        let way = piece.rise().signum();
        if let Some(run) = found.last_mut() {
            let between = piece.from - run.to;
            let whole = (piece.last - run.first).abs();
            // Each knot on the way, seen in the direction of the run.
            let knots_fit = pieces[last_piece..=index].windows(2).all(|pair| {
                let gap = (pair[1].first - pair[0].last) * way;
                gap > -rule.slack && gap < rule.leap.max(rule.part * whole)
            });
            if run.rise().signum() == way && between <= rule.plateau && knots_fit {
                run.to = piece.to;
                run.last = piece.last;
                last_piece = index;
                continue;
            }
        }
        found.push(*piece);
        last_piece = index;
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    const PRICE: Price = Price { noise: 1.0, level: 8.0, sloping: 12.0, shortest: 3, longest: 200 };

    #[test]
    fn a_ramp_between_two_levels_is_three_pieces() {
        let values: Vec<f64> = (0..60).map(|i| (f64::from(i) - 20.0).clamp(0.0, 20.0)).collect();
        let pieces = fit(&values, &PRICE);
        let knots: Vec<usize> = pieces.iter().map(|piece| piece.to).collect();
        assert_eq!(pieces.len(), 3, "{pieces:?}");
        assert!(knots[0].abs_diff(20) <= 1 && knots[1].abs_diff(40) <= 1, "{knots:?}");
        let rule = Slope { moving: 3.0, slack: 1.0, leap: 3.0, part: 0.3, plateau: 4 };
        let rise = slopes(&pieces, &rule);
        assert_eq!(rise.len(), 1);
        assert!((rise[0].rise() - 20.0).abs() < 1.0, "{rise:?}");
    }

    #[test]
    fn a_value_on_both_lines_belongs_to_the_later_piece_whatever_its_last_digits_are() {
        // At 20 the rise is over: the value lies on its line and on the level.
        for tilt in [-1e-5, 0.0, 1e-5] {
            let values: Vec<f64> =
                (0..40).map(|i| f64::from(i.min(20)) + tilt * f64::from(i % 3 - 1)).collect();
            let knots: Vec<usize> = fit(&values, &PRICE).iter().map(|piece| piece.to).collect();
            assert_eq!(knots, [20, 40], "{tilt}");
        }
    }

    #[test]
    fn the_fit_is_the_cheapest_of_all_cuts() {
        // Every way to cut nine values, priced from the definition.
        let values = [0.0, 0.4, -0.2, 5.0, 5.3, 4.9, 9.0, 7.0, 5.2];
        let price = Price { noise: 0.7, level: 3.0, sloping: 4.5, shortest: 2, longest: 100 };
        let cost = |from: usize, to: usize| {
            let (n, y) = ((to - from) as f64, &values[from..to]);
            let mean = y.iter().sum::<f64>() / n;
            let flat: f64 = y.iter().map(|v| (v - mean).powi(2)).sum();
            let x_mean = (n - 1.0) / 2.0;
            let sxy: f64 = y.iter().enumerate().map(|(x, v)| (x as f64 - x_mean) * (v - mean)).sum();
            let sxx: f64 = (0..to - from).map(|x| (x as f64 - x_mean).powi(2)).sum();
            let line: f64 =
                y.iter().enumerate().map(|(x, v)| (v - mean - sxy / sxx * (x as f64 - x_mean)).powi(2)).sum();
            (flat / 0.49 + 3.0).min(line / 0.49 + 4.5)
        };
        let best = (0..1u32 << 8)
            .filter_map(|cuts| {
                let knots: Vec<usize> = std::iter::once(0)
                    .chain((1..9).filter(|k| cuts >> (k - 1) & 1 == 1))
                    .chain([9])
                    .collect();
                let long_enough = knots.windows(2).all(|k| k[1] - k[0] >= 2);
                long_enough.then(|| knots.windows(2).map(|k| cost(k[0], k[1])).sum::<f64>())
            })
            .fold(f64::INFINITY, f64::min);
        let found: f64 = fit(&values, &price).iter().map(|piece| cost(piece.from, piece.to)).sum();
        assert!((found - best).abs() < 1e-9, "{found} {best}");
    }

    #[test]
    fn noise_is_blind_to_trends_and_steps() {
        let steps: Vec<f64> = (0..50).map(|i| if i < 25 { 0.0 } else { 40.0 } + 0.3 * f64::from(i)).collect();
        assert!(noise(&steps, 4) < 1e-9);
        assert_eq!(noise(&[], 4), 0.0);
    }
}
