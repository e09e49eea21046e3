//! Where cues go when a grid is repaired.

use crate::dance::edit::Follow;
use crate::grid::Grid;
use crate::grid::mend::Repair;
use crate::units::Beat;

/// A beat that is farther from its number than this is another beat.
const SAME_NUMBER: f64 = 0.75;

/// Where cues go after a gesture that made `new` of `old`. Count one takes its cues along, if `along`; where beats were
/// put in, taken out, doubled or halved, cues stay on their music; else each stays on its own beat.
#[must_use]
pub fn follow(repair: &Repair, old: &Grid, new: &Grid, along: bool) -> Follow {
    let renumbered = || {
        let (first, last) = match (new.beats().first(), new.beats().last()) {
            (Some(first), Some(last)) => (first.0, last.0),
            _ => return false,
        };
        let within = old.beats().iter().enumerate().filter(|(_, at)| (first..=last).contains(&at.0));
        within.map(|(beat, at)| new.beat_at(*at).since(Beat::from(beat)).0).any(|off| off.abs() > SAME_NUMBER)
    };
    match repair {
        Repair::CountOne { .. } if along => Follow::Phrases,
        _ if renumbered() => Follow::Music,
        _ => Follow::Counts,
    }
}
