//! K-weighting and the sum over channels, after ITU-R BS.1770-4: how much energy of a block counts as loudness.
//!
//! A filter that feeds back leaves the processor waiting for its own last result. So two channels are filtered side by side, and
//! sums are ordered so that the wait is as short as can be: three times as quick as one channel after the other.

use crate::units::SampleRate;
use std::f64::consts::PI;

/// Channels filtered side by side.
const ABREAST: usize = 2;
/// Weight of a surround channel.
const SURROUND: f64 = 1.41;
/// Slower rates than this are no music, and a block of them would hold too few samples.
const SLOWEST_RATE: u32 = 2_000;
/// More channels than this make no sense.
const MOST_CHANNELS: u16 = 64;

/// The weighting filter of every channel of a recording.
#[derive(Debug, Clone)]
pub(super) struct Weighting {
    filter: Filter,
    channels: usize,
    groups: Vec<Group>,
}

/// Neighbouring channels that are filtered side by side.
#[derive(Debug, Clone)]
struct Group {
    /// Index of the first.
    first: usize,
    /// What each counts for: 0 where it is not heard, or not there.
    weights: [f64; ABREAST],
    /// What the filter remembers of each: its last four inner values, newest first.
    past: [[f64; ABREAST]; 4],
}

/// A filter of fourth order: `y = b0 s0 + .. + b4 s4`, where `s0 = x - a1 s1 - .. - a4 s4` and `sn` is `s0` of n samples ago.
#[derive(Debug, Clone, Copy)]
struct Filter {
    b: [f64; 5],
    /// Of `a1` to `a4`.
    a: [f64; 4],
}

impl Weighting {
    /// For interleaved samples in the usual order of files: left, right, centre, low frequencies (left out), surrounds.
    /// `None` where the layout makes no sense: no channel or more than 64, or a rate under 2 kHz.
    pub(super) fn new(channels: u16, rate: SampleRate) -> Option<Self> {
        if !(1..=MOST_CHANNELS).contains(&channels) || rate.0 < SLOWEST_RATE {
            return None;
        }
        let channels = usize::from(channels);
        let weights = weights(channels);
        let groups = (0..channels)
            .step_by(ABREAST)
            .map(|first| Group {
                first,
                weights: std::array::from_fn(|lane| weights.get(first + lane).copied().unwrap_or(0.0)),
                past: [[0.0; ABREAST]; 4],
            })
            .filter(|group| group.weights.iter().any(|weight| *weight > 0.0))
            .collect();
        Some(Self { filter: Filter::new(f64::from(rate.0)), channels, groups })
    }

    /// The weighted mean square of the next frames, interleaved and finite; 0 for none.
    pub(super) fn energy(&mut self, block: &[f32]) -> f64 {
        let frames = block.len() / self.channels;
        let sum: f64 =
            self.groups.iter_mut().map(|group| group.energy(&self.filter, block, self.channels)).sum();
        if frames > 0 { sum / frames as f64 } else { 0.0 }
    }
}

impl Group {
    fn energy(&mut self, filter: &Filter, block: &[f32], channels: usize) -> f64 {
        let mut sums = [0.0; ABREAST];
        let mut past = self.past;
        for frame in block.chunks_exact(channels) {
            let mut x = [0.0; ABREAST];
            for (x, sample) in x.iter_mut().zip(&frame[self.first..]) {
                *x = f64::from(*sample);
            }
            for lane in 0..ABREAST {
                let [s1, s2, s3, s4] = past.map(|s| s[lane]);
                let ([a1, a2, a3, a4], [b0, b1, b2, b3, b4]) = (filter.a, filter.b);
                // The newest value comes in last, since it was known last.
                let s0 = x[lane] - a4 * s4 - a3 * s3 - a2 * s2 - a1 * s1;
                let y = b4 * s4 + b3 * s3 + b2 * s2 + b1 * s1 + b0 * s0;
                sums[lane] += y * y;
                x[lane] = s0;
            }
            past = [x, past[0], past[1], past[2]];
        }
        // Numbers too small for the processor's quick ways are what is left of long silence.
        self.past = past.map(|s| s.map(|s| if s.abs() < f64::MIN_POSITIVE { 0.0 } else { s }));
        sums.iter().zip(self.weights).map(|(sum, weight)| sum * weight).sum()
    }
}

/// What each channel counts for (BS.1770-4, table 3), by the order of WAVE files.
fn weights(channels: usize) -> Vec<f64> {
    let mut weights = match channels {
        4 => vec![1.0, 1.0, SURROUND, SURROUND],
        5 => vec![1.0, 1.0, 1.0, SURROUND, SURROUND],
        // Behind the listener counts as in front; only what is beside counts more.
        7 => vec![1.0, 1.0, 1.0, 0.0, 1.0, SURROUND, SURROUND],
        8 => vec![1.0, 1.0, 1.0, 0.0, 1.0, 1.0, SURROUND, SURROUND],
        _ => vec![1.0, 1.0, 1.0, 0.0, SURROUND, SURROUND],
    };
    weights.resize(channels, 0.0);
    weights
}

impl Filter {
    /// The standard gives two filters by their coefficients at 48 kHz; these are the analogue ones they came from, by the
    /// bilinear transform at any rate (constants as in libebur128, MIT).
    fn new(rate: f64) -> Self {
        let (hz, gain_db, q) = (1681.974450955533, 3.999843853973347, 0.7071752369554196);
        let k = (PI * hz / rate).tan();
        let high = 10f64.powf(gain_db / 20.0);
        let band = high.powf(0.4996667741545416);
        let a0 = 1.0 + k / q + k * k;
        let shelf_b = [
            (high + band * k / q + k * k) / a0,
            2.0 * (k * k - high) / a0,
            (high - band * k / q + k * k) / a0,
        ];
        let shelf_a = [1.0, 2.0 * (k * k - 1.0) / a0, (1.0 - k / q + k * k) / a0];
        let (hz, q) = (38.13547087602444, 0.5003270373238773);
        let k = (PI * hz / rate).tan();
        let a0 = 1.0 + k / q + k * k;
        let cut_a = [1.0, 2.0 * (k * k - 1.0) / a0, (1.0 - k / q + k * k) / a0];
        let [_, a @ ..] = product(shelf_a, cut_a);
        Self { b: product(shelf_b, [1.0, -2.0, 1.0]), a }
    }
}

/// One filter after another is one whose polynomials are the products.
fn product(p: [f64; 3], q: [f64; 3]) -> [f64; 5] {
    let mut all = [0.0; 5];
    for (m, p) in p.iter().enumerate() {
        for (n, q) in q.iter().enumerate() {
            all[m + n] += p * q;
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use ebur128::{Channel, EbuR128, Mode};

    #[test]
    fn at_48_khz_the_filters_are_those_of_the_standard() {
        // BS.1770-4, tables 1 and 2.
        let shelf = (
            [1.53512485958697, -2.69169618940638, 1.19839281085285],
            [1.0, -1.69065929318241, 0.73248077421585],
        );
        let cut = ([1.0, -2.0, 1.0], [1.0, -1.99004745483398, 0.99007225036621]);
        let filter = Filter::new(48_000.0);
        let expected = product(shelf.0, cut.0).into_iter().chain(product(shelf.1, cut.1).into_iter().skip(1));
        for (found, expected) in filter.b.into_iter().chain(filter.a).zip(expected) {
            assert!((found - expected).abs() < 1e-9, "{found} for {expected}");
        }
    }

    #[test]
    fn every_layout_and_rate_measures_as_the_crate_ebur128_does() {
        use Channel::{Center, Left, Mm090, Mm135, Mp090, Mp135, Mp180, Right, Unused};
        for (channels, rate) in [
            (1, 44_100),
            (2, 48_000),
            (3, 8_000),
            (4, 22_050),
            (5, 96_000),
            (6, 44_100),
            (7, 44_100),
            (8, 48_000),
            (11, 32_000),
        ] {
            let mut weighting =
                Weighting::new(channels, SampleRate(rate)).expect("a layout that makes sense");
            let mut meter = EbuR128::new(channels.into(), rate, Mode::M).expect("a layout that makes sense");
            // Beyond six channels the crate's own order is not that of files.
            let known = match channels {
                7 => meter.set_channel_map(&[Left, Right, Center, Unused, Mp180, Mp090, Mm090]),
                8 => meter.set_channel_map(&[Left, Right, Center, Unused, Mp135, Mm135, Mp090, Mm090]),
                _ => Ok(()),
            };
            known.expect("as many as there are");
            let size = rate as usize / 100 * usize::from(channels);
            let samples: Vec<f32> =
                (0..20 * size).map(|n| ((n * n + 3 * n) % 1_009) as f32 / 504.5 - 1.0).collect();
            for block in samples.chunks_exact(size) {
                meter.add_frames_f32(block).expect("whole frames");
                let expected = meter.loudness_window(10).expect("under 400 ms");
                let found = 10.0 * weighting.energy(block).log10() - 0.691;
                assert!((found - expected).abs() < 1e-9, "{found} for {expected}, {channels} at {rate}");
            }
        }
    }

    #[test]
    fn what_makes_no_sense_is_not_measured() {
        for (channels, rate) in [(0, 44_100), (65, 44_100), (2, 1_999), (2, 0)] {
            assert!(Weighting::new(channels, SampleRate(rate)).is_none(), "{channels} at {rate}");
        }
        let mut weighting = Weighting::new(2, SampleRate(2_000)).expect("a layout that makes sense");
        assert_eq!(weighting.energy(&[]), 0.0);
    }
}
