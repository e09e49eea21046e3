//! Cues on paper: putting one down, rubbing out what lies beneath, cutting and joining.

use super::EditError;
use super::command::Over;
use crate::dance::{Cue, Dance};
use crate::units::{Beat, Counts};

/// Anything shorter is nothing: just over the thousandth of a count with which a dance is saved.
pub(super) const SHORTEST: f64 = 0.0015;
const _: () = assert!(SHORTEST > 0.001, "what is saved as a thousandth of a count must be too short");

/// A position or span as it is saved, so that a dance in hand equals the dance on disk.
pub(super) fn rounded(counts: f64) -> f64 {
    // Adding zero turns minus zero into zero.
    (counts * 1e3).round() / 1e3 + 0.0
}

/// Rounds a position and refuses one outside the music. A grid without beats has no end.
pub(super) fn position(dance: &Dance, at: Beat, what: &str) -> Result<Beat, EditError> {
    let at = rounded(at.0);
    if !at.is_finite() || at < 0.0 {
        return Err(EditError::BeforeTheMusic { what: what.to_owned() });
    }
    if !dance.grid.is_empty() && at > dance.grid.end().0 - SHORTEST {
        return Err(EditError::AfterTheMusic {
            what: what.to_owned(),
            beat: Beat(at).index().saturating_add(1),
            have: dance.grid.len(),
        });
    }
    Ok(Beat(at))
}

/// Rounds a span that begins `at`, ends it with the music, and refuses one of no length.
pub(super) fn length(dance: &Dance, at: Beat, counts: Counts, what: &str) -> Result<Counts, EditError> {
    let until_end = if dance.grid.is_empty() { counts } else { dance.grid.end().since(at) };
    let counts = rounded(counts.0.min(until_end.0));
    if counts.is_finite() && counts > SHORTEST {
        Ok(Counts(counts))
    } else {
        Err(EditError::NoLength { what: what.to_owned() })
    }
}

/// Puts a cue in its place and returns its index.
pub(super) fn put(cues: &mut Vec<Cue>, cue: Cue, over: Over) -> usize {
    if over == Over::Erase {
        erase(cues, cue.at, cue.end());
    }
    let index = cues.partition_point(|other| other.at <= cue.at);
    cues.insert(index, cue);
    index
}

/// Rubs out a stretch. What sticks out on either side stays; a cue that sticks out on both becomes two.
pub(super) fn erase(cues: &mut Vec<Cue>, from: Beat, to: Beat) {
    let touched = |cue: &Cue| {
        if cue.counts.0 > SHORTEST {
            cue.at.0 < to.0 - SHORTEST && cue.end().0 > from.0 + SHORTEST
        } else {
            cue.at >= from && cue.at < to
        }
    };
    if !cues.iter().any(touched) {
        return;
    }
    let mut rests = Vec::new();
    let mut kept = Vec::with_capacity(cues.len() + 1);
    for cue in cues.drain(..) {
        if !touched(&cue) {
            kept.push(cue);
            continue;
        }
        rests.extend(part(&cue, to, cue.end()));
        kept.extend(part(&cue, cue.at, from));
    }
    for rest in rests {
        let index = kept.partition_point(|other| other.at <= rest.at);
        kept.insert(index, rest);
    }
    *cues = kept;
}

/// The part of a cue from one position to another, or nothing when that is too short.
pub(super) fn part(cue: &Cue, from: Beat, to: Beat) -> Option<Cue> {
    let (at, counts) = (rounded(from.0), rounded(to.0 - from.0));
    (counts > SHORTEST).then(|| Cue { at: Beat(at), counts: Counts(counts), ..cue.clone() })
}
