//! Bars: where they start, how many beats they hold, and how sure each is.

use crate::grid::Anchor;
use crate::listening::evidence::{Evidence, FPS, Passage};
use crate::listening::pulse::Settings;
use crate::listening::types::{Metre, Sureness};
use crate::units::Seconds;

/// Metres that are looked for without being asked.
const METRES: [u8; 4] = [2, 3, 4, 6];
/// Price of a bar that is cut short or stretched, and of a change of metre at a bar line.
const SLIP: f32 = 10.0;
const CHANGE: f32 = 18.0;
/// A bar of six is two of three unless the sound says otherwise: price a beat.
const SIX: f32 = 0.3;
/// Four beats in thirds are two bars of two (6/8) unless the sound says otherwise: 12/8 is rare. Price a beat.
const TWELVE_EIGHT: f32 = 0.1;
/// What an anchor is worth: more than any piece's evidence, so that it holds.
const ANCHORED: f32 = 1e6;
/// Beats to either side over which a feature is compared.
const AROUND: usize = 12;
/// Weights of the features of [`columns`], and the constant.
const WEIGHTS: [f32; 7] = [0.6, 0.29, 0.15, 0.2, 0.05, 0.1, 0.2];
const CONSTANT: f32 = -0.1;

/// First beats of bars (ascending) and the metres they keep.
pub(crate) fn find(
    evidence: &Evidence,
    beats: &[Seconds],
    ternary: &[bool],
    anchors: &[Anchor],
    settings: &Settings,
) -> (Vec<usize>, Vec<Metre>) {
    if beats.is_empty() {
        return (Vec::new(), Vec::new());
    }
    let mut gain = downbeat_scores(evidence, beats, settings);
    let mut wanted: Vec<Option<u8>> = vec![None; beats.len()];
    let mut metres = METRES.to_vec();
    for anchor in anchors {
        match *anchor {
            Anchor::BarStart { at } | Anchor::CountOne { at } => {
                if let Some(beat) = nearest(beats, at) {
                    gain[beat] = ANCHORED;
                }
            }
            Anchor::Metre { from, beats: count } if (1..=16).contains(&count) => {
                let first = nearest(beats, from).unwrap_or(0);
                wanted[first..].fill(Some(count));
                if !metres.contains(&count) {
                    metres.push(count);
                }
            }
            _ => {}
        }
    }
    let path = best_positions(&gain, ternary, &wanted, &metres);
    let bars: Vec<usize> =
        path.iter().enumerate().filter(|(_, (_, position))| *position == 0).map(|(beat, _)| beat).collect();
    let metres = metres_of(&bars, ternary, |bar| path[bar].0);
    (bars, metres)
}

/// The metres of bars that are known, each as long as until the next; the last as long as the one before it.
pub(crate) fn of_known(bars: &[usize], ternary: &[bool]) -> Vec<Metre> {
    let length = |bar: usize| {
        let next = bars.partition_point(|start| *start <= bar).min(bars.len().saturating_sub(1));
        match (bars.get(next.saturating_sub(1)), bars.get(next)) {
            (Some(from), Some(to)) if to > from => u8::try_from(to - from).unwrap_or(u8::MAX),
            _ => u8::try_from(ternary.len() - bar).unwrap_or(u8::MAX),
        }
    };
    metres_of(bars, ternary, length)
}

/// Where the metre changes; `beats_of` tells the beats of the bar that starts on a beat.
fn metres_of(bars: &[usize], ternary: &[bool], beats_of: impl Fn(usize) -> u8) -> Vec<Metre> {
    let mut out: Vec<Metre> = Vec::new();
    for (n, &bar) in bars.iter().enumerate() {
        let end = bars.get(n + 1).copied().unwrap_or(ternary.len());
        let in_three = ternary[bar..end].iter().filter(|t| **t).count() * 2 > end - bar;
        let metre = Metre { from: bar, beats: beats_of(bar), compound: in_three };
        if out.last().is_none_or(|last| (last.beats, last.compound) != (metre.beats, metre.compound)) {
            out.push(metre);
        }
    }
    out
}

/// The beat nearest to an instant, if the instant is within a beat or so of the grid.
pub(crate) fn nearest(beats: &[Seconds], at: Seconds) -> Option<usize> {
    let after = beats.partition_point(|beat| beat.0 < at.0);
    let distance = |beat: &usize| (beats[*beat].0 - at.0).abs();
    let best = [after.checked_sub(1), (after < beats.len()).then_some(after)]
        .into_iter()
        .flatten()
        .min_by(|a, b| distance(a).total_cmp(&distance(b)))?;
    (at.0.is_finite() && distance(&best) < 2.0).then_some(best)
}

/// For each beat, (metre, position in the bar) of the best path.
fn best_positions(gain: &[f32], ternary: &[bool], wanted: &[Option<u8>], metres: &[u8]) -> Vec<(u8, u8)> {
    let states: Vec<(u8, u8)> = metres.iter().flat_map(|&m| (0..m).map(move |p| (m, p))).collect();
    let first_of = |metre: u8| states.iter().position(|s| *s == (metre, 0)).unwrap_or(0);
    let score_here = |beat: usize, (metre, position): (u8, u8)| {
        let mut score = if position == 0 {
            gain[beat]
        } else if gain[beat] >= ANCHORED {
            -ANCHORED
        } else {
            0.0
        };
        if metre == 6 {
            score -= SIX;
        }
        if metre == 4 && ternary[beat] {
            score -= TWELVE_EIGHT;
        }
        if wanted[beat].is_some_and(|w| w != metre) {
            score -= ANCHORED;
        }
        score
    };
    let mut scores: Vec<f32> = states.iter().map(|&s| score_here(0, s)).collect();
    let mut back: Vec<Vec<u16>> = Vec::with_capacity(gain.len());
    for beat in 1..gain.len() {
        let best_of = |from: &mut dyn Iterator<Item = usize>| {
            from.max_by(|&a, &b| scores[a].total_cmp(&scores[b])).unwrap_or(0)
        };
        let last_of_any = best_of(&mut (0..states.len()).filter(|&s| states[s].1 + 1 == states[s].0));
        let mut next = Vec::with_capacity(states.len());
        let mut from = Vec::with_capacity(states.len());
        for (index, &(metre, position)) in states.iter().enumerate() {
            let first = first_of(metre);
            let regular = if position == 0 { first + usize::from(metre) - 1 } else { index - 1 };
            let mut best = (scores[regular], regular);
            if position == 0 {
                // A bar cut short, or a new metre.
                let cut = best_of(&mut (first..first + usize::from(metre)));
                for (source, price) in [(cut, SLIP), (last_of_any, CHANGE)] {
                    if scores[source] - price > best.0 {
                        best = (scores[source] - price, source);
                    }
                }
            } else if position + 1 == metre && scores[index] - SLIP > best.0 {
                // A bar that is stretched.
                best = (scores[index] - SLIP, index);
            }
            next.push(best.0 + score_here(beat, (metre, position)));
            from.push(best.1 as u16);
        }
        scores = next;
        back.push(from);
    }
    let mut state = (0..states.len()).max_by(|&a, &b| scores[a].total_cmp(&scores[b])).unwrap_or(0);
    let mut path = vec![states[state]];
    for from in back.iter().rev() {
        state = usize::from(from[state]);
        path.push(states[state]);
    }
    path.reverse();
    path
}

/// What is heard of bars at each beat: one column a feature, each against the beats around. For fitting [`decode`].
///
/// [`decode`]: crate::listening::decode
#[must_use]
pub fn bar_features(evidence: &Evidence, beats: &[Seconds]) -> Vec<Vec<f32>> {
    let mut columns = columns(evidence, beats);
    columns.iter_mut().for_each(|column| standardise(column));
    columns
}

/// Log-odds that each beat starts a bar.
fn downbeat_scores(evidence: &Evidence, beats: &[Seconds], settings: &Settings) -> Vec<f32> {
    let columns = bar_features(evidence, beats);
    let heard = near_beats(&evidence.likelihood.downbeat, beats);
    (0..beats.len())
        .map(|beat| {
            let plain =
                columns.iter().zip(WEIGHTS).map(|(column, weight)| weight * column[beat]).sum::<f32>();
            settings.bar_plain * (CONSTANT + plain)
                + settings.bar_network * (heard[beat] + settings.bar_bias).clamp(-5.0, 5.0)
        })
        .collect()
}

/// The largest value of a curve around each beat.
fn near_beats(odds: &[f32], beats: &[Seconds]) -> Vec<f32> {
    let near = |beat: &Seconds| {
        let frame = (beat.0 * FPS as f64).round() as usize;
        let span = frame.saturating_sub(3)..(frame + 4).min(odds.len());
        odds.get(span).map_or(0.0, |near| near.iter().copied().fold(-10.0, f32::max))
    };
    beats.iter().map(near).collect()
}

/// One column a feature, one entry a beat.
fn columns(evidence: &Evidence, beats: &[Seconds]) -> Vec<Vec<f32>> {
    let heard = near_beats(&evidence.plain.downbeat, beats);
    let end = |n: usize| beats.get(n + 1).map_or(2.0 * beats[n].0 - beats[n.saturating_sub(1)].0, |b| b.0);
    let here: Vec<Passage> = (0..beats.len()).map(|n| evidence.texture.passage(beats[n].0, end(n))).collect();
    let pairs: Vec<Passage> = (0..beats.len())
        .map(|n| evidence.texture.passage(beats[n].0, end((n + 1).min(beats.len() - 1))))
        .collect();
    let change = |now: &[Passage], lag: usize, pick: fn(&Passage) -> &[f32]| -> Vec<f32> {
        (0..now.len())
            .map(|n| n.checked_sub(lag).map_or(0.0, |before| apart(pick(&now[before]), pick(&now[n]))))
            .collect()
    };
    vec![
        heard,
        change(&here, 1, |p| &p.chroma),
        change(&pairs, 2, |p| &p.chroma),
        change(&here, 1, |p| &p.bass),
        here.iter().map(|p| p.bass.iter().sum()).collect(),
        here.iter().map(|p| p.level).collect(),
        here.iter().map(|p| p.density).collect(),
    ]
}

/// 1 - cosine.
pub(crate) fn apart(a: &[f32], b: &[f32]) -> f32 {
    let dot = |x: &[f32], y: &[f32]| x.iter().zip(y).map(|(a, b)| a * b).sum::<f32>();
    let size = (dot(a, a) * dot(b, b)).sqrt();
    if size <= 0.0 { 0.0 } else { 1.0 - dot(a, b) / size }
}

/// Every entry against the mean and spread of the beats around it, within -3..3.
fn standardise(column: &mut [f32]) {
    let source = column.to_vec();
    let whole = spread(&source);
    for (n, value) in column.iter_mut().enumerate() {
        let around = &source[n.saturating_sub(AROUND)..(n + AROUND + 1).min(source.len())];
        let mean = around.iter().sum::<f32>() / around.len() as f32;
        let size = (spread(around).powi(2) + 1e-6 * whole * whole + 1e-9).sqrt();
        *value = ((*value - mean) / size).clamp(-3.0, 3.0);
    }
}

fn spread(x: &[f32]) -> f32 {
    let mean = x.iter().sum::<f32>() / x.len().max(1) as f32;
    (x.iter().map(|v| (v - mean).powi(2)).sum::<f32>() / x.len().max(1) as f32).sqrt()
}

/// How sure each bar is: the mean probability of its beats and of those of its neighbours.
pub(crate) fn sureness(evidence: &Evidence, beats: &[Seconds], bars: &[usize]) -> Vec<Sureness> {
    let network = network_odds(evidence, beats);
    let plain = near_beats(&evidence.plain.beat, beats);
    let probability: Vec<f32> =
        network.iter().zip(&plain).map(|(n, p)| logistic(0.5 * n + 0.5 * p + 0.7)).collect();
    (0..bars.len())
        .map(|n| {
            let from = bars[n.saturating_sub(1)];
            let to = bars.get(n + 2).copied().unwrap_or(beats.len());
            let near = &probability[from..to];
            Sureness(near.iter().sum::<f32>() / near.len().max(1) as f32)
        })
        .collect()
}

/// The network's odds of each beat, where it was laid.
pub(crate) fn network_odds(evidence: &Evidence, beats: &[Seconds]) -> Vec<f32> {
    near_beats(&evidence.likelihood.beat, beats)
}

fn logistic(odds: f32) -> f32 {
    1.0 / (1.0 + (-odds).exp())
}
