//! Magnitudes of a windowed stretch of sound, by Fourier transform: the one that all spectra of this room are made with.
//!
//! Real samples are transformed as half as many complex ones, and the spectrum is untangled afterwards, as in Press and others,
//! *Numerical Recipes*, "FFT of Single Real Function". Only magnitudes are asked for, so nothing else is written down.

use pulp::{Arch, Simd, WithSimd};
use rustfft::num_complex::Complex32;
use rustfft::{Fft, FftPlanner};
use std::f64::consts::PI;
use std::sync::Arc;

/// Measures spectra of stretches of one length.
pub(super) struct Spectrum {
    window: Vec<f32>,
    /// Transforms half as many complex numbers.
    fft: Arc<dyn Fft<f32>>,
    packed: Vec<Complex32>,
    scratch: Vec<Complex32>,
    /// The transform's real and imaginary parts, the first again at the end, the upper halves backwards.
    parts: [Vec<f32>; 2],
    /// Real and imaginary parts of half of the turn of each bin in the lower half.
    turns: [Vec<f32>; 2],
    magnitudes: Vec<f32>,
}

impl Spectrum {
    /// Spectra through `window`, whose length must be a multiple of 64, so that vectors of any width fit.
    pub(super) fn new(window: Vec<f32>) -> Self {
        let half = window.len() / 2;
        let fft = FftPlanner::new().plan_fft_forward(half);
        let turn = |bin: usize| -PI * bin as f64 / half as f64;
        let turns = |part: fn(f64) -> f64| (0..half / 2).map(|bin| 0.5 * part(turn(bin)) as f32).collect();
        Self {
            packed: vec![Complex32::ZERO; half],
            scratch: vec![Complex32::ZERO; fft.get_inplace_scratch_len()],
            parts: [vec![0.0; half + 1], vec![0.0; half + 1]],
            turns: [turns(f64::cos), turns(f64::sin)],
            magnitudes: vec![0.0; half + 1],
            window,
            fft,
        }
    }

    /// How many samples a stretch has.
    pub(super) fn length(&self) -> usize {
        self.window.len()
    }

    /// Magnitudes of the bins of `samples`, which are as many as the window has, from 0 Hz to half the rate.
    pub(super) fn measure(&mut self, samples: &[f32]) -> &[f32] {
        let ((window, _), (samples, _)) = (self.window.as_chunks(), samples.as_chunks());
        for ((to, [a, b]), [v, w]) in self.packed.iter_mut().zip(samples).zip(window) {
            *to = Complex32::new(a * v, b * w);
        }
        self.fft.process_with_scratch(&mut self.packed, &mut self.scratch);
        Arch::new().dispatch(Untangling(self));
        &self.magnitudes
    }
}

/// Finds the magnitudes that real samples have, from their packed transform: bins of the lower half upwards and, from the same
/// sums, their mirror images in the upper half downwards.
struct Untangling<'a>(&'a mut Spectrum);

impl WithSimd for Untangling<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let Spectrum { packed, parts, turns, magnitudes, .. } = self.0;
        let middle = turns[0].len();
        let [re, im] = &mut *parts;
        for ((z, re), im) in packed.iter().zip(&mut *re).zip(im) {
            (*re, *im) = (z.re, z.im);
        }
        for part in &mut *parts {
            part[2 * middle] = part[0];
            part[middle + 1..].reverse();
        }
        let (low, high) = magnitudes.split_at_mut(middle);
        let to = S::as_mut_simd_f32s(low).0.iter_mut().zip(S::as_mut_simd_f32s(&mut high[1..]).0);
        let [low, high] = [0, middle + 1].map(|first| {
            let [re, im] = [0, 1].map(|part| S::as_simd_f32s(&parts[part][first..first + middle]).0);
            re.iter().zip(im)
        });
        let turns = S::as_simd_f32s(&turns[0]).0.iter().zip(S::as_simd_f32s(&turns[1]).0);
        let half = simd.splat_f32s(0.5);
        let magnitude = |re, im| simd.sqrt_f32s(simd.add_f32s(simd.mul_f32s(re, re), simd.mul_f32s(im, im)));
        for ((((low, high), (re, im)), (mirrored_re, mirrored_im)), (cos, sin)) in
            to.zip(low).zip(high).zip(turns)
        {
            let (sum_re, sum_im) = (simd.add_f32s(*re, *mirrored_re), simd.add_f32s(*im, *mirrored_im));
            let (less_re, less_im) = (simd.sub_f32s(*re, *mirrored_re), simd.sub_f32s(*im, *mirrored_im));
            let turned_re = simd.add_f32s(simd.mul_f32s(sum_im, *cos), simd.mul_f32s(less_re, *sin));
            let turned_im = simd.sub_f32s(simd.mul_f32s(sum_im, *sin), simd.mul_f32s(less_re, *cos));
            let (even, odd) = (simd.mul_f32s(half, sum_re), simd.mul_f32s(half, less_im));
            *low = magnitude(simd.add_f32s(even, turned_re), simd.add_f32s(odd, turned_im));
            *high = magnitude(simd.sub_f32s(even, turned_re), simd.sub_f32s(turned_im, odd));
        }
        let [re, im] = [0, 1].map(|part| parts[part][middle]);
        magnitudes[middle] = (re * re + im * im).sqrt();
        magnitudes[middle + 1..].reverse();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn magnitudes_are_those_of_the_textbook_transform() {
        for length in [64usize, 192, 1024] {
            let window: Vec<f32> = (0..length).map(|n| 0.5 + (n % 7) as f32 / 7.0).collect();
            let samples: Vec<f32> = (0..length).map(|n| ((n * n + 5 * n) % 97) as f32 / 48.5 - 1.0).collect();
            let mut spectrum = Spectrum::new(window.clone());
            let found = spectrum.measure(&samples);
            assert_eq!(found.len(), length / 2 + 1);
            for (bin, found) in found.iter().enumerate() {
                // The definition, summed in double precision.
                let (mut re, mut im) = (0.0, 0.0);
                for (n, (x, w)) in samples.iter().zip(&window).enumerate() {
                    let turn = std::f64::consts::TAU * (n * bin % length) as f64 / length as f64;
                    re += f64::from(x * w) * turn.cos();
                    im -= f64::from(x * w) * turn.sin();
                }
                let expected = re.hypot(im);
                assert!(
                    (f64::from(*found) - expected).abs() < 1e-4 * length as f64,
                    "{found} for {expected} at {bin} of {length}"
                );
            }
        }
    }
}
