//! What is done to whole phrases: repeating them, mirroring them.

use super::EditError;
use super::cues::{erase, part, rounded};
use crate::dance::{Cue, Dance, Side};
use crate::grid::PhraseSpan;
use crate::units::Beat;

/// Writes what stands in a phrase into other phrases, count by count, and says how many there were.
///
/// What is held over from the phrase before begins the copy; what is held into the next one ends with it. Only as
/// many counts as the phrase has (or the other one, if it is shorter) are written over.
pub(super) fn repeat(
    dance: &Dance,
    cues: &mut Vec<Cue>,
    phrase: usize,
    into: &[usize],
    mirror: bool,
) -> Result<usize, EditError> {
    let source = span(dance, phrase)?;
    let row: Vec<Cue> = cues
        .iter()
        .filter_map(|cue| part(cue, later(cue.at, source.start), earlier(cue.end(), source.end)))
        .collect();
    if row.is_empty() {
        return Err(EditError::NothingToRepeat { number: phrase + 1 });
    }
    let mut targets: Vec<usize> = into.iter().copied().filter(|&target| target != phrase).collect();
    targets.sort_unstable();
    targets.dedup();
    if targets.is_empty() {
        return Err(EditError::NowhereToRepeat { number: phrase + 1 });
    }
    for &target in &targets {
        let target = span(dance, target)?;
        let end = earlier(target.end, target.start.plus(source.counts()));
        erase(cues, target.start, end);
        for cue in &row {
            let at = target.start.plus(cue.at.since(source.start));
            let moved = Cue { at: Beat(rounded(at.0)), ..cue.clone() };
            let Some(mut copy) = part(&moved, moved.at, earlier(moved.end(), end)) else { continue };
            if mirror {
                copy.side = copy.side.map(other);
            }
            let index = cues.partition_point(|other| other.at <= copy.at);
            cues.insert(index, copy);
        }
    }
    Ok(targets.len())
}

/// Turns the sides of all cues that begin in a stretch.
pub(super) fn mirror(cues: &mut [Cue], from: Beat, to: Beat) -> Result<(), EditError> {
    let mut turned = false;
    for cue in cues.iter_mut().filter(|cue| cue.at >= from && cue.at < to) {
        turned |= cue.side.is_some();
        cue.side = cue.side.map(other);
    }
    if turned { Ok(()) } else { Err(EditError::NothingToMirror) }
}

fn span(dance: &Dance, phrase: usize) -> Result<PhraseSpan<'_>, EditError> {
    let mut spans = dance.grid.phrase_spans();
    let have = spans.len();
    spans.nth(phrase).ok_or(EditError::NoPhrase { number: phrase + 1, have })
}

fn other(side: Side) -> Side {
    match side {
        Side::Left => Side::Right,
        Side::Right => Side::Left,
    }
}

fn earlier(a: Beat, b: Beat) -> Beat {
    Beat(a.0.min(b.0))
}

fn later(a: Beat, b: Beat) -> Beat {
    Beat(a.0.max(b.0))
}
