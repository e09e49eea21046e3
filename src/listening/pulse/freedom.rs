//! How freely the music is played.
//!
//! An orchestra or a band that speeds up changes its beat by a little each time; a pianist alone bends nearly every beat.
//! What holds the one at its level loses the other, so the first search says which of the two is heard.

/// Fewer changes than this say nothing.
const FEWEST: usize = 8;

/// By how much beat lengths usually change from one to the next: the median of the natural logarithm of their ratio,
/// without sign; 0 for too few `beats` (seconds, ascending).
pub(super) fn wandering(beats: &[f64]) -> f32 {
    let lengths: Vec<f64> = beats.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let mut changes: Vec<f64> = lengths.windows(2).map(|pair| (pair[1] / pair[0]).ln().abs()).collect();
    if changes.len() < FEWEST {
        return 0.0;
    }
    changes.sort_by(f64::total_cmp);
    changes[changes.len() / 2] as f32
}

#[cfg(test)]
mod tests {
    use super::*;

    fn beats(length: impl Fn(i32) -> f64) -> Vec<f64> {
        (0..40)
            .scan(0.0, |at, n| {
                *at += length(n);
                Some(*at)
            })
            .collect()
    }

    #[test]
    fn an_even_change_is_none_and_every_bent_beat_is_one() {
        assert!(wandering(&beats(|_| 0.5)) < 1e-6);
        assert!((wandering(&beats(|n| 0.5 * 0.99_f64.powi(n))) - 0.01).abs() < 1e-3);
        assert!((wandering(&beats(|n| if n % 2 == 0 { 0.5 } else { 0.55 })) - 0.0953).abs() < 1e-3);
    }

    #[test]
    fn a_single_pause_is_not_freedom_and_a_few_beats_say_nothing() {
        assert!(wandering(&beats(|n| if n == 20 { 2.0 } else { 0.5 })) < 1e-6);
        assert!(wandering(&beats(|n| 0.5 + 0.1 * f64::from(n % 2))[..9]) < 1e-6);
    }
}
