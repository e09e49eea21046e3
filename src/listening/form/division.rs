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
        1 => 6.0,
        _ => 4.0,
    }
}

/// Length of each bar in pairs of beats. Whether a tune is written in twos or in fours is the scribe's choice, and so
/// is what the bars were heard as: its phrases are as long either way.
pub(super) struct Spans(Vec<usize>);

impl Spans {
    /// Of bars that start with these beats, of so many beats in all; the last bar is as long as the one before.
    pub(super) fn of(beats: usize, bars: &[usize]) -> Self {
        let pairs = |beats: usize| if beats >= 4 && beats.is_multiple_of(2) { beats / 2 } else { 1 };
        let mut spans: Vec<usize> = bars.windows(2).map(|bar| pairs(bar[1] - bar[0])).collect();
        let last = bars.last().map_or(0, |last| beats.saturating_sub(*last));
        spans.push(spans.last().copied().unwrap_or_else(|| pairs(last)));
        Self(spans)
    }
}

/// First bars of the best phrases, ascending; `must` marks those that begin one whatever it costs. None for no bars.
pub(super) fn divide(gains: &[f32], spans: &Spans, must: &[bool]) -> Vec<usize> {
    let count = gains.len();
    // best[n]: the best division of the bars before n, with the start of its last phrase.
    let mut best: Vec<(f32, usize)> = vec![(0.0, 0)];
    for end in 1..=count {
        let mut here = (f32::MIN, 0);
        let (mut pairs, mut broken) = (0, 0.0);
        for start in (0..end).rev() {
            pairs += spans.0[start];
            if pairs > LONGEST && start + 1 < end {
                break;
            }
            let price = if end == count { LAST * price(pairs) } else { price(pairs) };
            let gain = if start == 0 { 0.0 } else { gains[start] };
            let score = best[start].0 + gain - price - broken;
            if score > here.0 {
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
