//! Where cues go when the grid beneath them is decoded again.

use super::cues::{SHORTEST, rounded};
use crate::dance::Dance;
use crate::grid::Grid;
use crate::units::{Beat, Counts};

/// What a cue keeps when the grid changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Follow {
    /// Its beat number: beats were nudged, stretched or shifted, and the cue goes with its own. Nothing about the cues
    /// changes.
    #[default]
    Counts,
    /// The music it lies on: beats were put in, taken out, doubled or halved, and the cue goes to the beat that
    /// now sounds where its own did. Where the beat is twice or half as fast, its counts and lead double or halve.
    Music,
    /// Its count in its phrase: count one was moved, and the cue goes along with it.
    Phrases,
}

/// Moves the cues, prompts and silenced findings of `dance`, whose grid is still the old one, to the same music in
/// `new`. None is lost, and none overlaps that did not before.
pub(super) fn to_same_music(dance: &mut Dance, new: &Grid) {
    let old = std::mem::take(&mut dance.grid);
    let place = |at: Beat| same_music(&old, new, at);
    let mut end_before = None;
    let mut old_end = None;
    for cue in &mut dance.cues {
        let overlapped = old_end.is_some_and(|end: Beat| cue.at.0 < end.0 - SHORTEST);
        old_end = Some(cue.end());
        let scale = level(&old, new, cue.at);
        let (mut at, end) = (place(cue.at), place(cue.end()));
        // Where many old beats became few, cues would fall on one another: each begins where the one before ends.
        if let Some(Beat(before)) = end_before.filter(|_| !overlapped) {
            at = Beat(at.0.max(before));
        }
        let counts =
            if end.0 - at.0 > SHORTEST { end.0 - at.0 } else { cue.counts.0.min(1.0) * scale.min(1.0) };
        cue.at = Beat(rounded(at.0));
        cue.counts = Counts(rounded(counts));
        cue.lead = cue.lead.map(|lead| Counts(rounded(lead.0 * scale)));
        end_before = Some(cue.end());
    }
    for prompt in &mut dance.prompts {
        prompt.at = place(prompt.at);
    }
    // Where the level changes, half beats and whole ones are rounded side by side, and may change places.
    dance.cues.sort_by(|a, b| a.at.total_cmp(&b.at));
    dance.prompts.sort_by(|a, b| a.at.total_cmp(&b.at));
    for silenced in &mut dance.silenced {
        silenced.at = silenced.at.map(place);
    }
    dance.grid = old;
}

/// The farthest that a phrase takes its cues along, in beats.
const ALONG: usize = 4;

/// Moves the cues, prompts and silenced findings of `dance`, whose grid is still the old one, to the same counts of the
/// phrases in `new`. None is lost, and none overlaps that did not before.
pub(super) fn to_same_counts(dance: &mut Dance, new: &Grid) {
    let shifts = shifts(&dance.grid, new);
    let place = |at: Beat| {
        let phrase = shifts.partition_point(|(start, _)| *start as f64 <= at.0 + SHORTEST);
        // The pickup goes with the first phrase.
        let shift = shifts.get(phrase.saturating_sub(1)).map_or(0.0, |(_, shift)| *shift);
        Beat(rounded((at.0 + shift).max(0.0)))
    };
    let old: Vec<(Beat, Beat)> = dance.cues.iter().map(|cue| (cue.at, cue.end())).collect();
    let mut end_before = Beat(0.0);
    for (n, cue) in dance.cues.iter_mut().enumerate() {
        let overlaps = |n: usize| n > 0 && n < old.len() && old[n].0.0 < old[n - 1].1.0 - SHORTEST;
        cue.at = place(cue.at);
        if !overlaps(n) {
            // A sum of two thousandths is not always the nearest number to one.
            cue.at = Beat(rounded(cue.at.0.max(end_before.0)));
        }
        let next = old.get(n + 1).filter(|_| !overlaps(n + 1)).map(|next| place(next.0));
        let until = next.filter(|next| next.0 - cue.at.0 > SHORTEST).map_or(f64::INFINITY, |next| next.0);
        let end = if cue.at < new.end() { until.min(new.end().0) } else { until };
        cue.counts = Counts(rounded(cue.counts.0.min(end - cue.at.0)));
        end_before = cue.end();
    }
    dance.cues.sort_by(|a, b| a.at.total_cmp(&b.at));
    for prompt in &mut dance.prompts {
        prompt.at = place(prompt.at);
    }
    dance.prompts.sort_by(|a, b| a.at.total_cmp(&b.at));
    for silenced in &mut dance.silenced {
        silenced.at = silenced.at.map(place);
    }
}

/// Where each old phrase starts, and by how many beats the phrase there starts later now. A phrase that is gone goes
/// with the one before it.
fn shifts(old: &Grid, new: &Grid) -> Vec<(usize, f64)> {
    let starts: Vec<usize> = new.phrases().iter().map(|phrase| phrase.start).collect();
    let mut shift = 0.0;
    old.phrase_spans()
        .map(|phrase| {
            let now = new.beat_at(old.seconds_at(phrase.start)).0.round().max(0.0) as usize;
            let room = ALONG.min((phrase.counts().0 / 2.0) as usize);
            let near = starts.iter().filter(|start| start.abs_diff(now) <= room);
            if let Some(&start) = near.min_by_key(|start| start.abs_diff(now)) {
                shift = start as f64 - phrase.start.0;
            }
            (phrase.start.index(), shift)
        })
        .collect()
}

/// The position in `new` that sounds where `at` does in `old`.
///
/// A whole beat goes to a whole beat (to a half one where the level is halved); what lies between beats keeps its
/// share of the way.
fn same_music(old: &Grid, new: &Grid, at: Beat) -> Beat {
    let step = level(old, new, at).min(1.0);
    let whole = Beat(at.0.floor());
    let snapped = |whole: Beat| (new.beat_at(old.seconds_at(whole)).0 / step).round() * step;
    let (from, to) = (snapped(whole), snapped(whole.plus(Counts(1.0))));
    let share = if at.is_whole() { (at.0 - whole.0).round() } else { at.0 - whole.0 };
    Beat(rounded((from + (to - from) * share).max(0.0)))
}

/// How many new beats one old beat holds at a position, to the nearest power of two from 1/4 to 4.
fn level(old: &Grid, new: &Grid, at: Beat) -> f64 {
    let there = new.beat_at(old.seconds_at(at));
    let ratio = new.tempo_at(there).0 / old.tempo_at(at).0;
    // A beat of no length gives no number, which rounds and clamps to NaN: the level is then unchanged.
    let power = ratio.log2().round().clamp(-2.0, 2.0);
    if power.is_finite() { power.exp2() } else { 1.0 }
}
