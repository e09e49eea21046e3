//! Openings: how much speaks for a phrase to begin with each bar.
//!
//! A phrase is known by coming again. Laid over itself some bars later, a piece agrees with itself from where
//! something comes again to where it has come again, and both ends are edges of phrases, in the first place as in the
//! second. Where nothing comes again, a new sound and the breath at the end of a phrase have to do. The weights were
//! fitted on rendered dances whose strains are known (`docs/measurements.md`) and rounded.

use super::likeness::{Bar, SLOTS};

/// Weights: something begins or ends to agree; colour and level change; bars of one sound give way to bars of another;
/// the bar before thins out; it falls quiet.
const REPEAT: f32 = 1.6;
const SOUND: f32 = 2.0;
const BLOCK: f32 = 7.0;
const THIN: f32 = 0.4;
const QUIET: f32 = 0.5;
/// Bars on either side over which agreement is compared, and how much it has to change to count.
const AROUND: usize = 5;
const CLEAR: f32 = 0.4;
/// What comes again is sought this many bars later. Fewer is a pattern within a phrase; more is a second or two of work
/// in an hour of music, and found no more.
const LAGS: std::ops::RangeInclusive<usize> = 3..=64;
/// Bars on either side over which sound is compared, alone and as blocks; and a difference that is small (natural
/// logarithm).
const NEAR: usize = 2;
const FAR: usize = 4;
const SMALL: f32 = 0.1;
/// What comes again and how phrases end is weighed against the piece's own spread, since it depends on length, touch and
/// room; this much is added to it, so that murmur is not made large.
const STILL_REPEAT: f32 = 0.02;
const STILL: f32 = 0.1;

/// One number a bar, around 0; the first bar needs none.
pub(super) fn gains(bars: &[Bar]) -> Vec<f32> {
    let columns = [
        (REPEAT, standardised(repeats(bars), |spread| spread + STILL_REPEAT, 6.0)),
        (SOUND, standardised(sounds(bars), |_| 1.0, 2.0)),
        (BLOCK, standardised(blocks(bars), |_| 1.0, 2.0)),
        (THIN, standardised(thins(bars), |spread| spread + STILL, 4.0)),
        (QUIET, standardised(quiets(bars), |spread| spread + STILL, 4.0)),
    ];
    let mut out = vec![0.0; bars.len()];
    for (weight, column) in columns {
        out.iter_mut().zip(&column).for_each(|(sum, value)| *sum += weight * value);
    }
    out
}

/// How much agreement with what is some bars later, or was some bars earlier, begins or ends at each bar.
fn repeats(bars: &[Bar]) -> Vec<f32> {
    let count = bars.len();
    let lags: Vec<(usize, Vec<f32>)> = LAGS
        .take_while(|lag| *lag < count)
        .map(|lag| (lag, bars.iter().zip(&bars[lag..]).map(|(now, then)| now.alike(then)).collect()))
        .collect();
    // Before the first bar and after the last nothing agrees more than usual.
    let usual = median(lags.iter().flat_map(|(_, along)| along).copied().collect());
    let mut out = vec![0.0; count + 1];
    for (lag, along) in &lags {
        for at in 0..=along.len() {
            let before = &along[at.saturating_sub(AROUND)..at];
            let after = &along[at..(at + AROUND).min(along.len())];
            let share = match (before.len(), after.len()) {
                (0, n) | (n, 0) => n,
                (a, b) => a.min(b),
            } as f32
                / AROUND as f32;
            let change = (mean(before).unwrap_or(usual) - mean(after).unwrap_or(usual)).abs();
            let worth = share * (change - CLEAR).max(0.0);
            out[at] += worth;
            out[at + lag] += worth;
        }
    }
    out.truncate(count);
    out
}

/// Change of colour and level from the bars before to the bars that begin.
fn sounds(bars: &[Bar]) -> Vec<f32> {
    let around =
        |span: &[Bar], n: usize| span.iter().map(|bar| bar.sound[n]).sum::<f32>() / span.len() as f32;
    let change = |at: usize| {
        let (before, after) = (&bars[at.saturating_sub(NEAR)..at], &bars[at..(at + NEAR).min(bars.len())]);
        let columns = bars[at].sound.len();
        (0..columns).map(|n| (around(before, n) - around(after, n)).abs().min(2.0)).sum::<f32>()
            / columns as f32
    };
    from_the_second(bars, change)
}

/// How far the sound of the bars before is from that of the bars that begin, beyond what it changes among each of them:
/// near 1 where one sound gives way to another, 0 where it goes on changing as before. After the checkerboard of Foote
/// (Automatic audio segmentation using a measure of audio novelty, ICME 2000), as a share.
fn blocks(bars: &[Bar]) -> Vec<f32> {
    from_the_second(bars, |at| {
        let (before, after) = (&bars[at.saturating_sub(FAR)..at], &bars[at..(at + FAR).min(bars.len())]);
        let across: Vec<f32> = before.iter().flat_map(|a| after.iter().map(|b| a.difference(b))).collect();
        let across = mean(&across).unwrap_or(0.0);
        let among = |span: &[Bar]| {
            let pairs =
                span.iter().enumerate().flat_map(|(n, a)| span[n + 1..].iter().map(|b| a.difference(b)));
            mean(&pairs.collect::<Vec<f32>>())
        };
        let sides: Vec<f32> = [before, after].into_iter().filter_map(among).collect();
        let within = mean(&sides).unwrap_or(across);
        (across - within).max(0.0) / (across + within + SMALL)
    })
}

/// How few attacks the second half of the bar before has: a long note or a rest ends a phrase.
fn thins(bars: &[Bar]) -> Vec<f32> {
    from_the_second(bars, |at| -bars[at - 1].attacks[SLOTS / 2..].iter().sum::<f32>() / (SLOTS / 2) as f32)
}

/// How far the level falls at the end of the bar before, below what is usual around there.
fn quiets(bars: &[Bar]) -> Vec<f32> {
    from_the_second(bars, |at| {
        let around = &bars[at.saturating_sub(4)..(at + 4).min(bars.len())];
        let usual = median(around.iter().flat_map(|bar| bar.level).collect());
        let end = &bars[at - 1].level[SLOTS - 2..];
        usual - end.iter().copied().fold(f32::INFINITY, f32::min)
    })
}

/// One value a bar; the first has no bar before it and takes the mean of the others.
fn from_the_second(bars: &[Bar], value: impl Fn(usize) -> f32) -> Vec<f32> {
    let rest: Vec<f32> = (1..bars.len()).map(value).collect();
    let first = mean(&rest).unwrap_or(0.0);
    (0..bars.len().min(1)).map(|_| first).chain(rest.iter().copied()).collect()
}

/// Against the piece's own mean, in units that `scale` makes of its spread; what stands out beyond all measure is bounded.
fn standardised(mut column: Vec<f32>, scale: impl Fn(f32) -> f32, most: f32) -> Vec<f32> {
    let middle = mean(&column).unwrap_or(0.0);
    let square = column.iter().map(|v| (v - middle).powi(2)).sum::<f32>() / column.len().max(1) as f32;
    let unit = scale(square.sqrt());
    column.iter_mut().for_each(|v| *v = ((*v - middle) / unit).clamp(-0.5 * most, most));
    column
}

fn mean(x: &[f32]) -> Option<f32> {
    (!x.is_empty()).then(|| x.iter().sum::<f32>() / x.len() as f32)
}

/// The middle value; 0 of nothing.
fn median(mut x: Vec<f32>) -> f32 {
    let middle = x.len() / 2;
    if x.is_empty() { 0.0 } else { *x.select_nth_unstable_by(middle, f32::total_cmp).1 }
}
