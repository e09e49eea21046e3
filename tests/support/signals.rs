//! Signals with known truth, made in the test: the fixtures other tests build on.
//!
//! Everything is mono, in -1..1, deterministic. Sources of the fixtures' expected results stand beside the tests.

#![allow(dead_code, reason = "every test binary uses its own share of these")]

use std::f64::consts::TAU;

/// A sine of `hz` and peak amplitude 10^(`dbfs`/20), `seconds` long.
pub fn sine(rate: u32, hz: f64, dbfs: f64, seconds: f64) -> Vec<f32> {
    let amplitude = 10f64.powf(dbfs / 20.0);
    let frames = (seconds * f64::from(rate)).round() as usize;
    (0..frames).map(|n| (amplitude * (TAU * hz * n as f64 / f64::from(rate)).sin()) as f32).collect()
}

/// Short decaying 1.5 kHz ticks at `times` (seconds); `strength(i)` scales the i-th, 1 being 0.5 of full scale.
pub fn clicks(rate: u32, times: &[f64], seconds: f64, strength: impl Fn(usize) -> f64) -> Vec<f32> {
    let mut out = vec![0.0f32; (seconds * f64::from(rate)).round() as usize];
    for (i, &at) in times.iter().enumerate() {
        let first = (at * f64::from(rate)).round() as usize;
        for (n, sample) in out.iter_mut().skip(first).take(rate as usize / 20).enumerate() {
            let t = n as f64 / f64::from(rate);
            *sample += (0.5 * strength(i) * (-t / 0.008).exp() * (TAU * 1_500.0 * t).cos()) as f32;
        }
    }
    out
}

/// Beat times from `start` with the i-th beat lasting 60 / `bpm(i)` seconds.
pub fn beat_times(start: f64, beats: usize, bpm: impl Fn(usize) -> f64) -> Vec<f64> {
    let mut at = start;
    (0..beats)
        .map(|i| {
            let here = at;
            at += 60.0 / bpm(i);
            here
        })
        .collect()
}

/// A small deterministic random source (SplitMix64: Steele, Lea and Flood 2014).
pub struct Random(pub u64);

impl Random {
    /// The next value, uniform in -1..1.
    pub fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^= z >> 31;
        (z >> 11) as f64 / (1u64 << 52) as f64 - 1.0
    }
}

/// White noise of root-mean-square level `dbfs` (relative to a full-scale square wave).
pub fn white_noise(rate: u32, dbfs: f64, seconds: f64, seed: u64) -> Vec<f32> {
    let mut random = Random(seed);
    let amplitude = 10f64.powf(dbfs / 20.0) * 3f64.sqrt();
    (0..(seconds * f64::from(rate)).round() as usize).map(|_| (amplitude * random.next()) as f32).collect()
}

/// Pink noise (sum of octave-spaced one-pole filtered white noises), scaled to root-mean-square level `dbfs`.
pub fn pink_noise(rate: u32, dbfs: f64, seconds: f64, seed: u64) -> Vec<f32> {
    let white = white_noise(rate, 0.0, seconds, seed);
    let mut state = [0.0f64; 10];
    let mut out: Vec<f64> = white
        .iter()
        .map(|&w| {
            let mut sum = 0.0;
            for (octave, pole) in state.iter_mut().enumerate() {
                let corner = 20.0 * 2f64.powi(octave as i32);
                let a = (-TAU * corner / f64::from(rate)).exp();
                *pole = a * *pole + (1.0 - a) * f64::from(w);
                sum += *pole / corner.sqrt() * 20f64.sqrt();
            }
            sum
        })
        .collect();
    let rms = (out.iter().map(|x| x * x).sum::<f64>() / out.len().max(1) as f64).sqrt().max(1e-12);
    let gain = 10f64.powf(dbfs / 20.0) / rms;
    out.iter_mut().for_each(|x| *x *= gain);
    out.into_iter().map(|x| x as f32).collect()
}

/// Adds `b` into `a`; the shorter one is padded with silence.
pub fn mix(mut a: Vec<f32>, b: &[f32]) -> Vec<f32> {
    a.resize(a.len().max(b.len()), 0.0);
    a.iter_mut().zip(b).for_each(|(x, y)| *x += y);
    a
}

/// The same signal in `channels` equal channels, interleaved.
pub fn interleave(mono: &[f32], channels: usize) -> Vec<f32> {
    mono.iter().flat_map(|&x| std::iter::repeat_n(x, channels)).collect()
}
