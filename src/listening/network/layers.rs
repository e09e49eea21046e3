//! The arithmetic of the network: dense layers and dilated convolutions, channel by channel.
//!
//! Written over `pulp`'s vectors, which are whatever the machine has at run time. Nothing here knows what the numbers mean.

use pulp::Simd;

/// Outputs worked on together.
const LANES: usize = 32;
/// Rows that the layers are best given at a time: a whole number of those that are worked on together, and small enough for the
/// caches next to the processor.
pub(super) const TILE: usize = 32;

/// What belongs to a group of outputs, in whole lines of the cache.
#[derive(Debug, Clone, Copy)]
#[repr(align(64))]
struct Lanes([f32; LANES]);

/// A layer in which every output weighs every input.
#[derive(Debug, Clone)]
pub(super) struct Dense {
    inputs: usize,
    outputs: usize,
    /// Biases in groups of outputs, padded with zeros.
    bias: Vec<Lanes>,
    /// For each group of outputs, for each input, the group's weights.
    weights: Vec<Lanes>,
}

/// What becomes of a dense layer's sums.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Ending {
    /// They are the result.
    Plain,
    /// Negative ones become 0.
    Rectified,
    /// They are added to what is there.
    Added,
}

impl Dense {
    /// A layer from a bias an output and `weight(output, input)`.
    pub(super) fn new(
        inputs: usize,
        outputs: usize,
        bias: &[f32],
        weight: impl Fn(usize, usize) -> f32,
    ) -> Self {
        let groups = outputs.div_ceil(LANES);
        let lane = |group: usize, lane: usize| Some(group * LANES + lane).filter(|output| *output < outputs);
        let filled = |group: usize, value: &dyn Fn(usize) -> f32| {
            Lanes(std::array::from_fn(|l| lane(group, l).map_or(0.0, value)))
        };
        let bias = (0..groups).map(|group| filled(group, &|o| bias.get(o).copied().unwrap_or(0.0))).collect();
        let weights = (0..groups * inputs).map(|k| filled(k / inputs, &|o| weight(o, k % inputs))).collect();
        Self { inputs, outputs, bias, weights }
    }

    /// Outputs a row.
    pub(super) fn outputs(&self) -> usize {
        self.outputs
    }

    /// Applies the layer to the rows of `from` (`inputs` numbers each), into those of `to` (`outputs` numbers each).
    #[inline(always)]
    pub(super) fn apply<S: Simd>(&self, simd: S, from: &[f32], to: &mut [f32], ending: Ending) {
        match LANES / S::F32_LANES {
            2 => self.apply_in::<S, 2, 8>(simd, from, to, ending),
            4 => self.apply_in::<S, 4, 2>(simd, from, to, ending),
            8 => self.apply_in::<S, 8, 2>(simd, from, to, ending),
            _ => self.apply_in::<S, LANES, 1>(simd, from, to, ending),
        }
    }

    /// As `apply`, for vectors of which `V` make up a group of outputs. `ROWS` rows are worked on together, so that a weight
    /// once loaded serves several steps: as many as were quickest, for their sums must fit the processor's registers.
    #[inline(always)]
    fn apply_in<S: Simd, const V: usize, const ROWS: usize>(
        &self,
        simd: S,
        from: &[f32],
        to: &mut [f32],
        ending: Ending,
    ) {
        for (source, target) in from.chunks(ROWS * self.inputs).zip(to.chunks_mut(ROWS * self.outputs)) {
            // In a last, shorter chunk its last row stands for those that it lacks; what comes of them is not kept.
            let latest = source.len() - self.inputs;
            let rows: [&[f32]; ROWS] =
                std::array::from_fn(|r| &source[(r * self.inputs).min(latest)..][..self.inputs]);
            for (group, (bias, weights)) in
                self.bias.iter().zip(self.weights.chunks_exact(self.inputs)).enumerate()
            {
                let mut sums = [vectors::<S, V>(simd, bias); ROWS];
                for (input, lanes) in weights.iter().enumerate().take(self.inputs) {
                    let lanes = vectors::<S, V>(simd, lanes);
                    for (sum, row) in sums.iter_mut().zip(rows) {
                        let x = simd.splat_f32s(row[input]);
                        for (s, w) in sum.iter_mut().zip(lanes) {
                            *s = simd.mul_add_e_f32s(x, w, *s);
                        }
                    }
                }
                let first = group * LANES;
                let last = (first + LANES).min(self.outputs);
                for (sum, row) in sums.iter().zip(target.chunks_exact_mut(self.outputs)) {
                    let mut settled = [0.0; LANES];
                    for (place, s) in S::as_mut_simd_f32s(&mut settled).0.iter_mut().zip(sum) {
                        *place = *s;
                    }
                    let row = &mut row[first..last];
                    // A whole group is settled in one go, because its length is known.
                    match row.first_chunk_mut::<LANES>() {
                        Some(row) => settle(row, &settled, ending),
                        None => settle(row, &settled, ending),
                    }
                }
            }
        }
    }
}

/// Does with sums what is to become of them.
#[inline(always)]
fn settle(to: &mut [f32], sums: &[f32; LANES], ending: Ending) {
    for (y, s) in to.iter_mut().zip(sums) {
        *y = match ending {
            Ending::Plain => *s,
            Ending::Rectified => s.max(0.0),
            Ending::Added => *y + s,
        };
    }
}

/// A group of lanes as `V` vectors.
#[inline(always)]
fn vectors<S: Simd, const V: usize>(simd: S, lanes: &Lanes) -> [S::f32s; V] {
    let mut all = [simd.splat_f32s(0.0); V];
    for (place, vector) in all.iter_mut().zip(S::as_simd_f32s(&lanes.0).0) {
        *place = *vector;
    }
    all
}

/// A dilated convolution that keeps channels apart: output step t weighs steps t - reach ..= t + reach, `dilation` apart.
#[derive(Debug, Clone)]
pub(super) struct Spread {
    channels: usize,
    dilation: usize,
    /// One row of channels for each place of the kernel.
    taps: Vec<Vec<f32>>,
}

impl Spread {
    /// From weights in the order channel, place.
    pub(super) fn new(channels: usize, kernel: usize, dilation: usize, weights: &[f32]) -> Self {
        let taps =
            (0..kernel).map(|place| weights.iter().skip(place).step_by(kernel).copied().collect()).collect();
        Self { channels, dilation, taps }
    }

    /// Steps to either side that an output depends on.
    pub(super) fn reach(&self) -> usize {
        self.taps.len() / 2 * self.dilation
    }

    /// The outputs of steps `first..` of `all`, as many as `to` has rows; steps beyond the ends of `all` are 0.
    #[inline(always)]
    pub(super) fn apply(&self, all: &[f32], first: usize, to: &mut [f32]) {
        for (row, step) in to.chunks_exact_mut(self.channels).zip(first..) {
            row.fill(0.0);
            for (place, tap) in self.taps.iter().enumerate() {
                let source = (step + place * self.dilation)
                    .checked_sub(self.reach())
                    .and_then(|at| all.get(at * self.channels..(at + 1) * self.channels));
                if let Some(source) = source {
                    for ((y, x), w) in row.iter_mut().zip(source).zip(tap) {
                        *y += x * w;
                    }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use pulp::{Arch, WithSimd};

    use super::*;

    struct Applied<'a>(&'a Dense, &'a [f32], &'a mut [f32]);

    impl WithSimd for Applied<'_> {
        type Output = ();

        fn with_simd<S: Simd>(self, simd: S) {
            self.0.apply(simd, self.1, self.2, Ending::Added);
        }
    }

    /// Numbers without pattern in -1..1.
    fn scattered(count: usize) -> Vec<f32> {
        (0..count).map(|k| ((k * k + 7 * k) % 101) as f32 / 50.0 - 1.0).collect()
    }

    #[test]
    fn a_dense_layer_is_the_textbook_sum() {
        let (inputs, outputs, rows) = (13, 21, 7);
        let (bias, weights, from) =
            (scattered(outputs), scattered(inputs * outputs), scattered(rows * inputs));
        let layer = Dense::new(inputs, outputs, &bias, |o, i| weights[o * inputs + i]);
        let mut to = vec![0.5; rows * outputs];
        Arch::new().dispatch(Applied(&layer, &from, &mut to));
        for r in 0..rows {
            for o in 0..outputs {
                let sum: f32 = (0..inputs).map(|i| weights[o * inputs + i] * from[r * inputs + i]).sum();
                assert!((to[r * outputs + o] - (0.5 + bias[o] + sum)).abs() < 1e-5);
            }
        }
    }

    #[test]
    fn a_spread_weighs_steps_a_dilation_apart_and_silence_beyond_the_ends() {
        let (channels, steps) = (3, 12);
        let all = scattered(channels * steps);
        let weights = scattered(channels * 5);
        let spread = Spread::new(channels, 5, 2, &weights);
        let mut to = vec![0.0; 4 * channels];
        spread.apply(&all, 8, &mut to);
        for (row, step) in (8i64..12).enumerate() {
            for c in 0..channels {
                let sum: f32 = (0..5)
                    .filter_map(|k| {
                        let at = usize::try_from(step + 2 * (k - 2)).ok().filter(|at| *at < steps)?;
                        Some(weights[c * 5 + k as usize] * all[at * channels + c])
                    })
                    .sum();
                assert!((to[row * channels + c] - sum).abs() < 1e-5);
            }
        }
    }
}
