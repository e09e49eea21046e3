//! Beat-tracking measures, after Davies, Degara and Plumbley, "Evaluation methods for musical audio beat tracking
//! algorithms" (2009), with the defaults of mir_eval 0.8, whose values they are checked against.
//!
//! Beats are seconds, ascending. Measures of fewer than two beats are 0.

#![allow(dead_code, unreachable_pub, reason = "every test binary uses its own share of these")]

/// Beats from five seconds on, as both lists are usually trimmed.
pub fn trimmed(beats: &[f64]) -> Vec<f64> {
    beats.iter().copied().filter(|&beat| beat >= 5.0).collect()
}

/// F-measure with a window of `window` seconds to either side, each beat matched at most once.
pub fn f_measure(reference: &[f64], estimate: &[f64], window: f64) -> f64 {
    let hits = matches(reference, estimate, window).len() as f64;
    if hits == 0.0 { 0.0 } else { 2.0 * hits / (reference.len() + estimate.len()) as f64 }
}

/// Pairs (reference, estimate) within `window`, as many as possible. Taking the earliest partner first is optimal,
/// since all windows are of one size.
pub fn matches(reference: &[f64], estimate: &[f64], window: f64) -> Vec<(f64, f64)> {
    let (mut r, mut e, mut pairs) = (0, 0, Vec::new());
    while r < reference.len() && e < estimate.len() {
        let off = estimate[e] - reference[r];
        if off.abs() <= window + 1e-9 {
            pairs.push((reference[r], estimate[e]));
            r += 1;
            e += 1;
        } else if off > 0.0 {
            r += 1;
        } else {
            e += 1;
        }
    }
    pairs
}

/// Cemgil's accuracy (Gaussian of 40 ms), and the best of it over the metrical variations.
pub fn cemgil(reference: &[f64], estimate: &[f64]) -> (f64, f64) {
    if reference.is_empty() || estimate.is_empty() {
        return (0.0, 0.0);
    }
    let score = |reference: &[f64]| {
        let sum: f64 = reference
            .iter()
            .map(|&beat| {
                let off = estimate[closest(estimate, beat)] - beat;
                (-off * off / (2.0 * 0.04 * 0.04)).exp()
            })
            .sum();
        sum / (0.5 * (reference.len() + estimate.len()) as f64)
    };
    let all = variations(reference);
    (score(reference), all.iter().map(|v| score(v)).fold(0.0, f64::max))
}

/// Continuity: CMLc, CMLt, AMLc, AMLt.
pub fn continuity(reference: &[f64], estimate: &[f64]) -> [f64; 4] {
    if reference.len() < 2 || estimate.len() < 2 {
        return [0.0; 4];
    }
    let scores: Vec<(f64, f64)> =
        variations(reference).iter().filter(|v| v.len() > 1).map(|v| continuous(v, estimate)).collect();
    let (c, t) = scores[0];
    let most = |pick: fn(&(f64, f64)) -> f64| scores.iter().map(pick).fold(0.0, f64::max);
    [c, t, most(|s| s.0), most(|s| s.1)]
}

/// Longest run, and total, of beats whose phase and interval are within 17.5 %.
fn continuous(reference: &[f64], estimate: &[f64]) -> (f64, f64) {
    const WITHIN: f64 = 0.175;
    let mut used = vec![false; reference.len()];
    let (mut run, mut longest, mut total) = (0usize, 0usize, 0usize);
    for (n, &beat) in estimate.iter().enumerate() {
        let near = closest(reference, beat);
        // The interval that led to the beat; at either list's first beat, the one that follows.
        let (r, e) = if near == 0 || n == 0 {
            let next = |x: &[f64], i: usize| if i + 1 < x.len() { x[i + 1] - x[i] } else { x[i] - x[i - 1] };
            (next(reference, near), next(estimate, n))
        } else {
            (reference[near] - reference[near - 1], beat - estimate[n - 1])
        };
        let right =
            !used[near] && (beat - reference[near]).abs() / r < WITHIN && (1.0 - e / r).abs() < WITHIN;
        if right {
            used[near] = true;
            run += 1;
            total += 1;
            longest = longest.max(run);
        } else {
            run = 0;
        }
    }
    let most = reference.len().max(estimate.len()) as f64;
    (longest as f64 / most, total as f64 / most)
}

/// McKinney's P-score: agreement of 10 ms impulse trains within a fifth of the median interval.
pub fn p_score(reference: &[f64], estimate: &[f64]) -> f64 {
    if reference.len() < 2 || estimate.len() < 2 {
        return 0.0;
    }
    let origin = reference[0].min(estimate[0]);
    let impulses = |beats: &[f64]| {
        let mut at: Vec<i64> = beats.iter().map(|b| ((b - origin) * 100.0).ceil() as i64).collect();
        at.dedup();
        at
    };
    let (r, e) = (impulses(reference), impulses(estimate));
    let mut gaps: Vec<f64> = r.windows(2).map(|w| (w[1] - w[0]) as f64).collect();
    gaps.sort_by(f64::total_cmp);
    let median = 0.5 * (gaps[(gaps.len() - 1) / 2] + gaps[gaps.len() / 2]);
    let reach = (0.2 * median).round_ties_even() as i64;
    let pairs: usize = r.iter().map(|a| e.iter().filter(|b| (*b - a).abs() <= reach).count()).sum();
    pairs as f64 / reference.len().max(estimate.len()) as f64
}

/// Information gain of the error histogram (41 bins) over a flat one, 0 to 1: the worse of the two directions.
pub fn information_gain(reference: &[f64], estimate: &[f64]) -> f64 {
    if reference.len() < 2 || estimate.len() < 2 {
        return 0.0;
    }
    let entropy = error_entropy(reference, estimate).max(error_entropy(estimate, reference));
    1.0 - entropy / 41f64.log2()
}

fn error_entropy(reference: &[f64], estimate: &[f64]) -> f64 {
    const BINS: usize = 41;
    let mut bins = [0.0f64; BINS];
    let last = reference.len() - 1;
    for &beat in estimate {
        let near = closest(reference, beat);
        let off = beat - reference[near];
        let interval = if near == last {
            reference[last] - reference[last - 1]
        } else if off < 0.0 {
            // Before the very first beat the reference implementation takes the list as a circle; so do its values.
            reference[near] - if near == 0 { reference[last] } else { reference[near - 1] }
        } else {
            reference[near + 1] - reference[near]
        };
        let error = off / interval;
        // Into (-0.5, 0.5], then to a bin; the last bin is closed.
        let error = 0.5 - (0.5 - error).rem_euclid(1.0);
        bins[(((error + 0.5) * BINS as f64).floor() as usize).min(BINS - 1)] += 1.0;
    }
    bins.iter().map(|n| n / estimate.len() as f64).filter(|p| *p > 0.0).map(|p| -p * p.log2()).sum()
}

/// The reference as it is, on the off-beat, at the double tempo, and its two halves.
fn variations(reference: &[f64]) -> [Vec<f64>; 5] {
    let double: Vec<f64> = (0..(2 * reference.len()).saturating_sub(1))
        .map(|n| if n % 2 == 0 { reference[n / 2] } else { 0.5 * (reference[n / 2] + reference[n / 2 + 1]) })
        .collect();
    let every_second = |from: usize, x: &[f64]| x.iter().copied().skip(from).step_by(2).collect();
    [
        reference.to_vec(),
        every_second(1, &double),
        double,
        every_second(0, reference),
        every_second(1, reference),
    ]
}

/// Index of the beat nearest to an instant, the earlier of two equally near.
fn closest(beats: &[f64], at: f64) -> usize {
    let after = beats.partition_point(|&beat| beat < at);
    match after {
        0 => 0,
        n if n == beats.len() => n - 1,
        n if at - beats[n - 1] <= beats[n] - at => n - 1,
        n => n,
    }
}
