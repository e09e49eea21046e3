//! Mono at 22 050 Hz: the one form of sound that every listener reads.
//!
//! The mean of the channels, band-limited and resampled by a windowed sinc, in one pass over blocks of any size.
//! Output sample `n` describes the instant `n / 22 050` of the source: no delay is left to correct later.

use crate::units::SampleRate;
use pulp::{Arch, Simd, WithSimd};
use std::f64::consts::PI;

/// The rate at which listening works.
pub const RATE: SampleRate = SampleRate(22_050);

/// Highest frequency kept whole; features look no higher.
const PASS: f64 = 10_000.0;
/// From here on nothing may pass: it would fold back under [`PASS`].
const STOP: f64 = 12_050.0;
/// Shape of the Kaiser window: side lobes 60 dB down (Kaiser 1974: 0.1102 (60 - 8.7)).
const KAISER: f64 = 5.65;
/// Most filter phases kept; above, the phase is rounded, which moves a sample by less than a thousandth of itself.
const PHASES: usize = 640;
/// No sample counts as larger: far above 16-bit numbers written into a float file as they are, and far below where
/// sums of powers would overflow.
const LOUDEST: f32 = 1e6;
/// Partial sums of one inner product, so that it can be done several at a time.
const LANES: usize = 8;

/// Turns interleaved blocks into mono at [`RATE`].
#[derive(Debug, Clone)]
pub struct MonoStream {
    channels: usize,
    rate: u64,
    /// Filters, one a phase, each `taps` long.
    filters: Vec<f32>,
    phases: u64,
    taps: usize,
    /// Mono source frames not yet fully used; the first is source frame `first` (negative: before the start).
    held: Vec<f32>,
    first: i64,
    /// Source frames taken so far.
    taken: u64,
    /// Output samples made so far.
    made: u64,
}

impl MonoStream {
    /// A stream from `rate` and `channels` (0 is taken as 1).
    #[must_use]
    pub fn new(channels: u16, rate: SampleRate) -> Self {
        let from = u64::from(rate.0.max(1));
        let to = u64::from(RATE.0);
        let phases = (to / gcd(from, to)).min(PHASES as u64);
        let (filters, taps) = filters(from as f64, to as f64, phases as usize);
        Self {
            channels: usize::from(channels.max(1)),
            rate: from,
            filters,
            phases,
            taps,
            held: vec![0.0; taps / 2 - 1],
            first: 1 - (taps as i64) / 2,
            taken: 0,
            made: 0,
        }
    }

    /// Takes whole interleaved frames and appends what they complete to `out`. A trailing part of a frame is dropped.
    pub fn push(&mut self, interleaved: &[f32], out: &mut Vec<f32>) {
        // Blocks, so that the mono source is never held whole.
        for block in interleaved.chunks(self.channels * 16_384) {
            self.hold(block);
            self.make(out, u64::MAX);
        }
    }

    /// Holds the mean of the channels of whole frames.
    fn hold(&mut self, block: &[f32]) {
        let frames = block.len() / self.channels;
        self.taken += frames as u64;
        let at = self.held.len();
        self.held.resize(at + frames, 0.0);
        let fresh = &mut self.held[at..];
        match self.channels {
            1 => fresh.copy_from_slice(block),
            2 => {
                let (pairs, _) = block.as_chunks();
                fresh
                    .iter_mut()
                    .zip(pairs)
                    .for_each(|(mean, [left, right])| *mean = 0.5 * left + 0.5 * right);
            }
            n => {
                let scale = 1.0 / n as f32;
                for (mean, frame) in fresh.iter_mut().zip(block.chunks_exact(n)) {
                    *mean = frame.iter().map(|sample| scale * sample).sum();
                }
            }
        }
        fresh.iter_mut().for_each(|mean| *mean = mean.clamp(-LOUDEST, LOUDEST));
    }

    /// Appends the samples that the last frames still hide; the source is silent from here on.
    pub fn finish(mut self, out: &mut Vec<f32>) {
        let total = (self.taken * u64::from(RATE.0)).div_ceil(self.rate);
        self.held.extend(std::iter::repeat_n(0.0, self.taps + 2));
        self.make(out, total);
    }

    /// Makes every output whose filter lies within what is held, up to `total` in all.
    fn make(&mut self, out: &mut Vec<f32>, total: u64) {
        // The same sums in the same order, in the widest vectors that the processor has.
        Arch::new().dispatch(Making { stream: self, out, total });
    }

    #[inline(always)]
    fn make_in_lanes(&mut self, out: &mut Vec<f32>, total: u64) {
        let to = u64::from(RATE.0);
        let reach = self.taps as i64 / 2;
        let mut start = 0;
        while self.made < total {
            // The exact position in source frames is whole + part / to.
            let position = self.made * self.rate;
            let (mut whole, part) = ((position / to) as i64, position % to);
            let mut phase = (part * self.phases + to / 2) / to;
            if phase == self.phases {
                phase = 0;
                whole += 1;
            }
            let begin = (whole - reach + 1 - self.first) as usize;
            if begin + self.taps > self.held.len() {
                start = begin.min(self.held.len());
                break;
            }
            let filter = &self.filters[phase as usize * self.taps..][..self.taps];
            out.push(inner_product(filter, &self.held[begin..begin + self.taps]));
            self.made += 1;
            start = begin;
        }
        self.held.drain(..start);
        self.first += start as i64;
    }
}

/// A call of [`MonoStream::make`].
struct Making<'a> {
    stream: &'a mut MonoStream,
    out: &'a mut Vec<f32>,
    total: u64,
}

impl WithSimd for Making<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        self.stream.make_in_lanes(self.out, self.total);
    }
}

/// The mean of the channels at 22 050 Hz, as long as the source (rounded up to a whole sample).
///
/// `samples`: interleaved; empty gives empty.
#[must_use]
pub fn mono_22050(samples: &[f32], channels: u16, rate: SampleRate) -> Vec<f32> {
    let mut stream = MonoStream::new(channels, rate);
    let frames = samples.len() as u64 / u64::from(channels.max(1));
    let length = frames * u64::from(RATE.0) / u64::from(rate.0.max(1)) + 1;
    let mut out = Vec::with_capacity(length as usize);
    stream.push(samples, &mut out);
    stream.finish(&mut out);
    out
}

/// Windowed sinc filters for `phases` fractions of a source frame, laid end to end, and their length.
///
/// Tap `i` of phase `p` weighs the source frame `i + 1 - taps / 2` frames after the whole part of the position.
fn filters(from: f64, to: f64, phases: usize) -> (Vec<f32>, usize) {
    // A slower source ends before PASS: there only its images above its own Nyquist rate are cut.
    let (pass, stop) = if from < to { (0.45 * from, 0.55 * from) } else { (PASS, STOP) };
    let cut = 0.5 * (pass + stop) / from;
    let width = 2.0 * PI * (stop - pass) / from;
    // Kaiser's estimate of the length for 60 dB.
    let taps = ((60.0 - 8.0) / (2.285 * width)).ceil() as usize + 1;
    let taps = taps.next_multiple_of(LANES);
    let half = taps as f64 / 2.0;
    let mut all = Vec::with_capacity(phases * taps);
    for phase in 0..phases {
        let fraction = phase as f64 / phases as f64;
        let one: Vec<f64> = (0..taps)
            .map(|tap| {
                let x = tap as f64 + 1.0 - half - fraction;
                let window = 1.0 - (x / half).powi(2);
                let sinc = if x.abs() < 1e-9 { 2.0 * cut } else { (2.0 * PI * cut * x).sin() / (PI * x) };
                sinc * bessel_i0(KAISER * window.max(0.0).sqrt())
            })
            .collect();
        let sum: f64 = one.iter().sum();
        all.extend(one.iter().map(|tap| (tap / sum) as f32));
    }
    (all, taps)
}

/// The modified Bessel function of the first kind and order 0, by its power series (Abramowitz and Stegun 9.6.12).
fn bessel_i0(x: f64) -> f64 {
    let quarter = 0.25 * x * x;
    let (mut term, mut sum) = (1.0, 1.0);
    for k in 1..40 {
        term *= quarter / f64::from(k * k);
        sum += term;
    }
    sum
}

#[inline(always)]
fn inner_product(a: &[f32], b: &[f32]) -> f32 {
    let mut sums = [0.0f32; LANES];
    for (a, b) in a.chunks_exact(LANES).zip(b.chunks_exact(LANES)) {
        for lane in 0..LANES {
            sums[lane] += a[lane] * b[lane];
        }
    }
    sums.iter().sum()
}

fn gcd(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { gcd(b, a % b) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sine(rate: f64, hz: f64, n: usize) -> Vec<f32> {
        (0..n).map(|i| (2.0 * PI * hz * i as f64 / rate).sin() as f32).collect()
    }

    #[test]
    fn a_tone_keeps_its_time_and_size_at_every_rate() {
        for rate in
            [8_000u32, 11_025, 16_000, 22_050, 24_000, 32_000, 44_056, 44_100, 48_000, 96_000, 192_000]
        {
            let source = sine(f64::from(rate), 997.0, rate as usize);
            let heard = mono_22050(&source, 1, SampleRate(rate));
            assert_eq!(heard.len(), 22_050, "{rate}");
            let wanted = sine(22_050.0, 997.0, 22_050);
            let worst =
                heard[500..21_000].iter().zip(&wanted[500..]).map(|(a, b)| (a - b).abs()).fold(0.0, f32::max);
            // 0.1 ms would show as 0.6 at this frequency; 2 per mille is a third of a microsecond.
            assert!(worst < 4e-3, "{rate}: {worst}");
        }
    }

    #[test]
    fn what_would_fold_back_is_gone() {
        for (rate, hz) in [(44_100u32, 13_000.0), (48_000, 15_000.0), (96_000, 30_000.0), (192_000, 21_000.0)]
        {
            let heard = mono_22050(&sine(f64::from(rate), hz, rate as usize), 1, SampleRate(rate));
            let worst = heard[500..21_000].iter().fold(0.0f32, |m, x| m.max(x.abs()));
            assert!(worst < 2e-3, "{rate} {hz}: {worst}");
        }
    }

    #[test]
    fn blocks_and_channels_do_not_matter() {
        let mono = sine(48_000.0, 440.0, 30_001);
        let whole = mono_22050(&mono, 1, SampleRate(48_000));
        let stereo: Vec<f32> = mono.iter().flat_map(|&x| [x, x]).collect();
        assert_eq!(whole, mono_22050(&stereo, 2, SampleRate(48_000)));
        let mut stream = MonoStream::new(1, SampleRate(48_000));
        let mut pieces = Vec::new();
        for block in mono.chunks(777) {
            stream.push(block, &mut pieces);
        }
        stream.finish(&mut pieces);
        assert_eq!(whole, pieces);
    }

    #[test]
    fn nothing_and_one_sample_are_heard_as_such() {
        assert!(mono_22050(&[], 2, SampleRate(44_100)).is_empty());
        assert_eq!(mono_22050(&[0.5], 1, SampleRate(44_100)).len(), 1);
        assert!(mono_22050(&[1.0; 3], 6, SampleRate(44_100)).is_empty());
    }
}
