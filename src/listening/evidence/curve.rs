//! Operations on curves: one value a frame, the ends held or shortened so that nothing lies outside.

/// Mean over frames `t - before ..= t + after`, fewer at the ends; empty gives empty.
pub(crate) fn mean(x: &[f32], before: usize, after: usize) -> Vec<f32> {
    span_means(x, |t| (t.saturating_sub(before), t + after + 1))
}

/// Mean over the frames `span(t)` (from, to), clipped to the curve; an empty span gives 0.
pub(crate) fn span_means(x: &[f32], span: impl Fn(usize) -> (usize, usize)) -> Vec<f32> {
    let mut sums = Vec::with_capacity(x.len() + 1);
    let mut sum = 0.0f64;
    sums.push(0.0);
    for &value in x {
        sum += f64::from(value);
        sums.push(sum);
    }
    (0..x.len())
        .map(|t| {
            let (from, to) = span(t);
            let (from, to) = (from.min(x.len()), to.min(x.len()));
            if from >= to { 0.0 } else { ((sums[to] - sums[from]) / (to - from) as f64) as f32 }
        })
        .collect()
}

/// Root of the mean square over `t - half ..= t + half`.
pub(crate) fn rms(x: &[f32], half: usize) -> Vec<f32> {
    let squares: Vec<f32> = x.iter().map(|v| v * v).collect();
    let mut out = mean(&squares, half, half);
    out.iter_mut().for_each(|v| *v = v.max(0.0).sqrt());
    out
}

/// Smoothed by a Gaussian of `sigma` frames, cut at three sigma; the ends are held.
pub(crate) fn smooth(x: &[f32], sigma: f32) -> Vec<f32> {
    let reach = (3.0 * sigma).ceil() as usize;
    let Some(last) = x.len().checked_sub(1) else { return Vec::new() };
    let mut kernel: Vec<f32> = (0..=reach).map(|n| (-0.5 * (n as f32 / sigma).powi(2)).exp()).collect();
    let sum = kernel[0] + 2.0 * kernel[1..].iter().sum::<f32>();
    kernel.iter_mut().for_each(|k| *k /= sum);
    let padded: Vec<f32> = std::iter::repeat_n(x[0], reach)
        .chain(x.iter().copied())
        .chain(std::iter::repeat_n(x[last], reach))
        .collect();
    let mut out: Vec<f32> = x.iter().map(|v| kernel[0] * v).collect();
    for (n, k) in kernel.iter().enumerate().skip(1) {
        let (early, late) = (&padded[reach - n..], &padded[reach + n..]);
        for ((o, a), b) in out.iter_mut().zip(early).zip(late) {
            *o += k * (a + b);
        }
    }
    out
}

/// Largest value over `t - half ..= t + half`; for small `half`.
pub(crate) fn peak(x: &[f32], half: usize) -> Vec<f32> {
    let mut out = x.to_vec();
    for n in 1..=half.min(x.len()) {
        for (o, v) in out.iter_mut().zip(&x[n..]) {
            *o = o.max(*v);
        }
        for (o, v) in out[n..].iter_mut().zip(x) {
            *o = o.max(*v);
        }
    }
    out
}

/// Divided by its own size around each frame (three seconds either side), so that quiet passages count as much.
pub(crate) fn levelled(x: &[f32]) -> Vec<f32> {
    let around = rms(x, 300);
    let whole = (x.iter().map(|v| f64::from(v * v)).sum::<f64>() / x.len().max(1) as f64).sqrt() as f32;
    x.iter().zip(&around).map(|(v, r)| v / (r + 0.1 * whole + 1e-9)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ends_are_shortened_or_held() {
        assert_eq!(mean(&[1.0, 2.0, 6.0], 1, 1), [1.5, 3.0, 4.0]);
        assert_eq!(peak(&[1.0, 0.0, 0.0, 3.0], 1), [1.0, 1.0, 3.0, 3.0]);
        assert!(smooth(&[2.0; 9], 1.5).iter().all(|v| (v - 2.0).abs() < 1e-6));
        assert!(smooth(&[], 1.0).is_empty() && mean(&[], 1, 1).is_empty() && peak(&[], 3).is_empty());
        assert_eq!(peak(&[1.0], 5), [1.0]);
    }
}
