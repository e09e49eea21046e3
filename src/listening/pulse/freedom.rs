//! How freely the music is played.
//!
//! An orchestra or a band that speeds up changes its beat by a little each time; a pianist alone bends nearly every beat.
//! What holds the one at its level loses the other, so the first search says which of the two is heard.

/// Fewer changes than this say nothing.
const FEWEST: usize = 8;

/// Beats are taken together until they last about so long, seconds: hands stray by the same few milliseconds whatever the
/// beat, and the halves of a swung beat change every time.
const TOGETHER: f64 = 0.5;

/// By how much beat lengths usually change from one to the next: the median of the natural logarithm of their ratio,
/// without sign, short beats taken together; 0 for too few `beats` (seconds, ascending).
pub(super) fn wandering(beats: &[f64]) -> f32 {
    let Some(usual) = median(beats.windows(2).map(|pair| pair[1] - pair[0]).collect()) else { return 0.0 };
    let every = (TOGETHER / usual).round().max(1.0) as usize;
    let counted: Vec<f64> = beats.iter().copied().step_by(every).collect();
    let lengths: Vec<f64> = counted.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let changes: Vec<f64> = lengths.windows(2).map(|pair| (pair[1] / pair[0]).ln().abs()).collect();
    if changes.len() < FEWEST { 0.0 } else { median(changes).unwrap_or(0.0) as f32 }
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
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
    fn a_swung_tune_counted_in_halves_is_not_free() {
        assert!(wandering(&beats(|n| if n % 2 == 0 { 0.31 } else { 0.21 })) < 1e-6);
    }

    #[test]
    fn a_single_pause_is_not_freedom_and_a_few_beats_say_nothing() {
        assert!(wandering(&beats(|n| if n == 20 { 2.0 } else { 0.5 })) < 1e-6);
        assert!(wandering(&beats(|n| 0.5 + 0.1 * f64::from(n % 2))[..9]) < 1e-6);
    }
}
