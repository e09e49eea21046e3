//! Phrases: groups of bars that belong together, and letters for those that sound alike.

use super::bars::{apart, nearest};
use crate::grid::{Anchor, Phrase};
use crate::listening::evidence::{Evidence, Passage};
use crate::units::Seconds;

/// Longest phrase, in bars.
const LONGEST: usize = 12;
/// Difference under which two phrases carry the same letter, and under which they are the same but for a prime.
const ALIKE: f32 = 0.12;
const SAME: f32 = 0.05;

/// Price of a phrase of so many bars: four and eight are usual, five to seven occur, others need a reason.
fn length_price(bars: usize) -> f32 {
    match bars {
        8 => 0.0,
        4 => 0.4,
        6 => 1.5,
        5 | 7 => 2.0,
        2 | 3 => 3.0,
        1 => 5.0,
        _ => 3.0,
    }
}

/// Phrases on bar starts, ascending; every `CountOne` starts one. Without bars there are none.
pub(crate) fn find(
    evidence: &Evidence,
    beats: &[Seconds],
    bars: &[usize],
    anchors: &[Anchor],
) -> Vec<Phrase> {
    if bars.is_empty() {
        return Vec::new();
    }
    let passages = passages(evidence, beats, bars);
    let mut must = vec![false; bars.len()];
    for anchor in anchors {
        if let Anchor::CountOne { at } = *anchor
            && let Some(bar) = nearest(beats, at).and_then(|beat| bars.binary_search(&beat).ok())
        {
            must[bar] = true;
        }
    }
    let heard: Vec<usize> =
        boundaries(&novelty(&passages), &must).into_iter().map(|start| bars[start]).collect();
    letters(&told(heard, beats, anchors), &passages, bars)
}

/// A count one this near to the start of a known phrase (in beats) corrects it; a real phrase is longer.
const ONES_APART: usize = 4;

/// Phrases that are known (their first beats, ascending), but for what the teacher has said since. Their letters are
/// kept while they all have one and nothing was said; else they are heard.
pub(crate) fn of_known(
    evidence: &Evidence,
    beats: &[Seconds],
    bars: &[usize],
    known: Vec<Phrase>,
    anchors: &[Anchor],
) -> Vec<Phrase> {
    let mut starts: Vec<usize> = known.iter().map(|phrase| phrase.start).collect();
    for anchor in anchors {
        if let Anchor::CountOne { at } = *anchor
            && let Some(one) = nearest(beats, at)
        {
            starts.retain(|start| start.abs_diff(one) >= ONES_APART);
            starts.push(one);
        }
    }
    starts.sort_unstable();
    let starts = told(starts, beats, anchors);
    let same = starts.iter().eq(known.iter().map(|phrase| &phrase.start));
    if same && known.iter().all(|phrase| !phrase.letter.is_empty()) {
        return known;
    }
    if bars.is_empty() {
        // Without bars nothing is compared: each phrase is one of its own.
        return starts.iter().enumerate().map(|(n, &start)| Phrase { start, letter: name(n) }).collect();
    }
    letters(&starts, &passages(evidence, beats, bars), bars)
}

/// What each bar sounds like.
fn passages(evidence: &Evidence, beats: &[Seconds], bars: &[usize]) -> Vec<Passage> {
    let edges: Vec<f64> = bars.iter().map(|&bar| beats[bar].0).chain([evidence.length.0]).collect();
    edges.windows(2).map(|e| evidence.texture.passage(e[0], e[1])).collect()
}

/// Phrase starts (beats) with those of a given length where the teacher has said one.
fn told(heard: Vec<usize>, beats: &[Seconds], anchors: &[Anchor]) -> Vec<usize> {
    // The later word about the same beat counts.
    let mut lengths: Vec<(usize, usize)> = Vec::new();
    let mut ones = Vec::new();
    for anchor in anchors {
        match *anchor {
            Anchor::PhraseLength { from, counts } if (1..=256).contains(&counts) => {
                if let Some(from) = nearest(beats, from) {
                    lengths.retain(|other| other.0 != from);
                    lengths.push((from, usize::from(counts)));
                }
            }
            Anchor::CountOne { at } => ones.extend(nearest(beats, at)),
            _ => {}
        }
    }
    let Some(first) = lengths.iter().map(|length| length.0).min() else { return heard };
    lengths.sort_unstable();
    ones.sort_unstable();
    let mut starts: Vec<usize> = heard.into_iter().filter(|&start| start < first).collect();
    for (n, &(from, counts)) in lengths.iter().enumerate() {
        let end = lengths.get(n + 1).map_or(beats.len(), |next| next.0);
        let mut at = from;
        while at < end {
            starts.push(at);
            let one = ones.iter().find(|&&one| at < one && one < at + counts);
            at = one.copied().unwrap_or(at + counts);
        }
    }
    starts
}

/// How much each bar differs from those before it, in units of the piece's own spread.
fn novelty(passages: &[Passage]) -> Vec<f32> {
    let raw: Vec<f32> = (0..passages.len())
        .map(|n| {
            let mut sum = 0.0;
            for k in 1..=2 {
                if n >= k && n + k - 1 < passages.len() {
                    sum += difference(&passages[n - k], &passages[n + k - 1]);
                }
            }
            sum
        })
        .collect();
    let mean = raw.iter().sum::<f32>() / raw.len().max(1) as f32;
    let spread =
        (raw.iter().map(|v| (v - mean).powi(2)).sum::<f32>() / raw.len().max(1) as f32).sqrt() + 1e-6;
    raw.iter().map(|v| ((v - mean) / spread).clamp(-2.0, 4.0)).collect()
}

/// Distance of two bars in harmony, level and colour.
fn difference(a: &Passage, b: &Passage) -> f32 {
    let colour = a.colour.iter().zip(&b.colour).map(|(x, y)| (x - y).abs()).sum::<f32>() / 7.0;
    apart(&a.chroma, &b.chroma) + 0.1 * (a.level - b.level).abs().min(2.0) + 0.1 * colour.min(2.0)
}

/// The best division: boundaries on novel bars, phrases of usual lengths.
fn boundaries(novelty: &[f32], must: &[bool]) -> Vec<usize> {
    let count = novelty.len();
    // best[n]: the best division of the bars before n, with the start of its last phrase.
    let mut best: Vec<(f32, usize)> = vec![(0.0, 0)];
    for end in 1..=count {
        let mut here = (f32::MIN, 0);
        for length in 1..=LONGEST.min(end) {
            let start = end - length;
            let price = if end == count { 0.5 * length_price(length) } else { length_price(length) };
            let gain = if start == 0 { 0.0 } else { novelty[start] };
            let broken = must[start + 1..end].iter().filter(|m| **m).count() as f32 * 1e6;
            let score = best[start].0 + gain - price - broken;
            if score > here.0 {
                here = (score, start);
            }
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

/// Letters, in order of appearance, for phrases that start on these beats.
fn letters(starts: &[usize], passages: &[Passage], bars: &[usize]) -> Vec<Phrase> {
    let first_bars: Vec<usize> =
        starts.iter().map(|start| bars.partition_point(|bar| bar < start).min(bars.len() - 1)).collect();
    let mut heads: Vec<(usize, usize)> = Vec::new();
    starts
        .iter()
        .enumerate()
        .map(|(n, &beat)| {
            let start = first_bars[n];
            let end = first_bars.get(n + 1).copied().unwrap_or(passages.len());
            let span = |&(from, to): &(usize, usize)| {
                // A phrase shorter than a bar is compared by that bar.
                let length = (to - from).min(end - start).max(1);
                (0..length).map(|k| difference(&passages[from + k], &passages[start + k])).sum::<f32>()
                    / length as f32
            };
            let nearest = heads
                .iter()
                .enumerate()
                .map(|(letter, head)| (letter, span(head)))
                .min_by(|a, b| a.1.total_cmp(&b.1));
            let letter = match nearest {
                Some((letter, d)) if d < SAME => name(letter),
                Some((letter, d)) if d < ALIKE => format!("{}'", name(letter)),
                _ => {
                    heads.push((start, end));
                    name(heads.len() - 1)
                }
            };
            Phrase { start: beat, letter }
        })
        .collect()
}

/// A to Z, then A2 and so on.
fn name(index: usize) -> String {
    let letter = char::from(b'A' + (index % 26) as u8);
    if index < 26 { letter.to_string() } else { format!("{letter}{}", index / 26 + 1) }
}
