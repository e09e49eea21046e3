//! Phrases: groups of bars that belong together, as heard and as the teacher says.

use super::bars::nearest;
use super::division::{self, Spans};
use super::letters::{letters, name};
use super::likeness::Bar;
use super::openings;
use crate::grid::{Anchor, Phrase};
use crate::listening::evidence::Evidence;
use crate::units::Seconds;

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
    let sounds = Bar::all(evidence, beats, bars);
    let ones: Vec<usize> = anchors.iter().filter_map(|anchor| count_one(anchor, beats)).collect();
    let must: Vec<bool> = bars.iter().map(|bar| ones.contains(bar)).collect();
    let spans = Spans::of(beats.len(), bars);
    let starts = division::divide(&openings::gains(&sounds), &spans, &must);
    let corrected = |start: &usize| ones.iter().any(|one| (1..ONES_APART).contains(&start.abs_diff(*one)));
    let heard: Vec<usize> = starts
        .into_iter()
        .map(|bar| bars[bar])
        .filter(|start| ones.contains(start) || !corrected(start))
        .collect();
    letters(&told(heard, beats, anchors), &sounds, bars)
}

/// A count one this near to the start of a phrase that is known or heard (in beats) corrects it; a real phrase is longer.
const ONES_APART: usize = 4;

/// The beat that is said to be a count one.
fn count_one(anchor: &Anchor, beats: &[Seconds]) -> Option<usize> {
    if let Anchor::CountOne { at } = *anchor { nearest(beats, at) } else { None }
}

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
    for one in anchors.iter().filter_map(|anchor| count_one(anchor, beats)) {
        starts.retain(|start| start.abs_diff(one) >= ONES_APART);
        starts.push(one);
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
    letters(&starts, &Bar::all(evidence, beats, bars), bars)
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
            _ => ones.extend(count_one(anchor, beats)),
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
