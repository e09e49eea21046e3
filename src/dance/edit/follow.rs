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
