//! The measures themselves, against values computed with mir_eval 0.8.2.
//!
//! Reference: beats every 0.5 s from 0 to 60 s. Source of every row: the worked examples of the project's reference
//! values, computed with mir_eval 0.8.2 (Raffel et al., "mir_eval: a transparent implementation of common MIR
//! metrics", ISMIR 2014).

#[path = "support/metrics.rs"]
mod metrics;

use metrics::{cemgil, continuity, f_measure, information_gain, matches, p_score, trimmed};

fn reference() -> Vec<f64> {
    (0..=120).map(|n| 0.5 * f64::from(n)).collect()
}

/// F, Cemgil, best Cemgil, P, CMLc, CMLt, AMLc, AMLt, information gain.
fn measured(estimate: &[f64]) -> [f64; 9] {
    let (r, e) = (trimmed(&reference()), trimmed(estimate));
    let (plain, best) = cemgil(&r, &e);
    let [cmlc, cmlt, amlc, amlt] = continuity(&r, &e);
    [f_measure(&r, &e, 0.07), plain, best, p_score(&r, &e), cmlc, cmlt, amlc, amlt, information_gain(&r, &e)]
}

fn shifted(by: f64) -> Vec<f64> {
    reference().iter().map(|b| b + by).collect()
}

#[track_caller]
fn agrees(estimate: &[f64], wanted: [f64; 9]) {
    let got = measured(estimate);
    for (n, (g, w)) in got.iter().zip(wanted).enumerate() {
        // The worked examples are given to four decimals; NaN marks what they leave out.
        assert!(w.is_nan() || (g - w).abs() <= 5e-4, "measure {n}: {got:?} instead of {wanted:?}");
    }
}

const ANY: f64 = f64::NAN;

#[test]
fn a_constant_delay_costs_what_the_reference_says() {
    agrees(&reference(), [1.0; 9]);
    agrees(&shifted(0.020), [1.0, 0.8825, ANY, 1.0, 1.0, 1.0, 1.0, 1.0, 0.9862]);
    agrees(&shifted(0.050), [1.0, 0.4578, ANY, 1.0, 1.0, 1.0, 1.0, 1.0, 0.9862]);
    agrees(&shifted(0.069), [1.0, 0.2259, ANY, 1.0, 1.0, 1.0, 1.0, 1.0, 0.9862]);
    agrees(&shifted(0.071), [0.0, 0.2069, ANY, 1.0, 1.0, 1.0, 1.0, 1.0, 0.9862]);
    agrees(&shifted(0.087), [0.0, 0.0939, ANY, 1.0, 1.0, 1.0, 1.0, 1.0, 0.9862]);
    agrees(&shifted(0.088), [0.0, 0.0889, ANY, 1.0, 0.0, 0.0, 0.0, 0.0, 0.9862]);
    agrees(&shifted(0.25), [0.0, 0.0, 0.9955, 0.0, 0.0, 0.0, 0.9910, 0.9910, 0.9862]);
}

#[test]
fn another_metrical_level_costs_what_the_reference_says() {
    let double: Vec<f64> = (0..=240).map(|n| 0.25 * f64::from(n)).collect();
    agrees(&double, [0.6687, 0.6687, 1.0, 0.5023, 0.0, 0.0, 1.0, 1.0, 0.8134]);
    let half =
        |from: usize| -> Vec<f64> { trimmed(&reference()).into_iter().skip(from).step_by(2).collect() };
    agrees(&half(0), [0.6707, 0.6707, 1.0, 0.5045, 0.0, 0.0, 1.0, 1.0, 0.8134]);
    agrees(&half(1), [0.6627, 0.6627, 1.0, 0.4955, 0.0, 0.0, 1.0, 1.0, 0.8134]);
}

#[test]
fn single_faults_cost_what_the_reference_says() {
    let mut missing = trimmed(&reference());
    missing.remove(59);
    agrees(&missing, [0.9955, 0.9955, ANY, 0.9910, 0.5315, 0.9820, 0.5315, 0.9820, 0.9862]);
    let mut extra = reference();
    extra.push(30.25);
    extra.sort_by(f64::total_cmp);
    agrees(&extra, [0.9955, 0.9955, ANY, 0.9911, 0.5268, 0.9821, 0.5268, 0.9821, 0.9863]);
    let fast: Vec<f64> = (0..).map(|n| 0.495 * f64::from(n)).take_while(|&b| b <= 60.0).collect();
    agrees(&fast, [0.2973, 0.1971, 0.2526, 0.4775, 0.3153, 0.3784, 0.3153, 0.3784, 0.0149]);
}

#[test]
fn boundaries_and_onsets_match_at_most_once() {
    // Onsets: P 0.60, R 0.75, F 0.6667 within 50 ms.
    let (r, e) = ([1.0, 2.0, 3.0, 4.0], [1.03, 2.051, 3.0, 4.0, 4.5]);
    assert!((f_measure(&r, &e, 0.05) - 0.6667).abs() < 1e-4 && matches(&r, &e, 0.05).len() == 3);
    // Boundaries: F 0.80 within 0.5 s, 1 within 3 s.
    let (r, e) = ([0.0, 10.0, 20.0, 30.0, 40.0], [0.0, 10.4, 22.0, 30.5, 40.0]);
    assert!((f_measure(&r, &e, 0.5) - 0.8).abs() < 1e-9 && (f_measure(&r, &e, 3.0) - 1.0).abs() < 1e-9);
}
