//! Division: bars into phrases, so that phrases begin where much speaks for it and have usual lengths.

/// Longest phrase, in pairs of beats (a bar of three counts as one): 12 bars of four.
const LONGEST: usize = 24;
/// Share of its price that the last phrase pays: a piece may break off.
const LAST: f32 = 0.5;
/// What it costs to run over a beginning that the teacher set: more than any piece's evidence.
const BROKEN: f32 = 1e6;

/// Price of a length in pairs of beats. Eight (sixteen counts, or eight bars of two or three) are usual in what people
/// dance to; half and twice that and crooked lengths occur; others need a reason. Ours, `docs/measurements.md`.
fn price(pairs: usize) -> f32 {
    match pairs {
        8 => 0.0,
        6 | 16 => 1.0,
        4 | 5 | 7 | 10 | 12 | 14 => 1.5,
        2 | 3 => 3.0,
        0 | 1 => 6.0,
        _ => 4.0,
    }
}

/// Length of each bar in pairs of beats. Whether a tune is written in twos or in fours is the scribe's choice, and so
/// is what the bars were heard as: its phrases are as long either way.
pub(super) struct Spans(Vec<usize>);

impl Spans {
    /// Of bars that start with these beats, of so many beats in all. The last bar is as long as the one before, or nothing
    /// where no more of it is there than half: a last chord that rings out makes no phrase longer.
    pub(super) fn of(beats: usize, bars: &[usize]) -> Self {
        let pairs = |beats: usize| if beats >= 4 && beats.is_multiple_of(2) { beats / 2 } else { 1 };
        let mut spans: Vec<usize> = bars.windows(2).map(|bar| pairs(bar[1] - bar[0])).collect();
        let last = bars.last().map_or(0, |last| beats.saturating_sub(*last));
        spans.push(match (bars, spans.last()) {
            ([.., before, end], _) if 2 * last <= end - before => 0,
            (_, Some(before)) => *before,
            (_, None) => pairs(last),
        });
        Self(spans)
    }
}

/// First bars of the best phrases, ascending; `must` marks those that begin one whatever it costs. None for no bars.
/// The last bar alone is no phrase: it is where the one before it ends.
pub(super) fn divide(gains: &[f32], spans: &Spans, must: &[bool]) -> Vec<usize> {
    let count = gains.len();
    // best[n]: the best division of the bars before n, with the start of its last phrase.
    let mut best: Vec<(f32, usize)> = vec![(0.0, 0)];
    for end in 1..=count {
        let mut here = (f32::MIN, 0);
        let (mut pairs, mut broken) = (0, 0.0);
        for start in (0..end).rev() {
            pairs += spans.0[start];
            if pairs > LONGEST && here.0 > f32::MIN {
                break;
            }
            let price = if end == count { LAST * price(pairs) } else { price(pairs) };
            let gain = if start == 0 { 0.0 } else { gains[start] };
            let score = best[start].0 + gain - price - broken;
            let last_bar = end == count && start + 1 == count && start > 0 && !must[start];
            if score > here.0 && !last_bar {
                here = (score, start);
            }
            broken += if must[start] { BROKEN } else { 0.0 };
        }
        best.push(here);
    }
    let mut starts = Vec::new();
    let mut end = count;
    while end > 0 {
        end = best[end].1;
        starts.push(end);
    }
    starts.reverse();
    starts
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_last_chord_belongs_to_the_phrase_it_ends() {
        // Four bars of four, four times, and a chord that rings out; much speaks for a beginning at each.
        let bars: Vec<usize> = (0..17).map(|bar| 4 * bar).collect();
        let gains: Vec<f32> = (0..17).map(|bar| if bar % 4 == 0 { 9.0 } else { 0.0 }).collect();
        let mut must = vec![false; 17];
        for beats in [65, 66, 68] {
            assert_eq!(divide(&gains, &Spans::of(beats, &bars), &must), [0, 4, 8, 12], "{beats} beats");
        }
        must[16] = true;
        assert_eq!(divide(&gains, &Spans::of(65, &bars), &must), [0, 4, 8, 12, 16]);
        assert_eq!(divide(&[0.0], &Spans::of(1, &[0]), &[false]), [0]);
    }
}
