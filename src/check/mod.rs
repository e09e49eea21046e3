//! The check: does every cue land, can it be read in time, can children do it at that speed?
//!
//! Pure: a dance and what was heard go in, findings come out. Each rule is a file of its own in `rules`; the table
//! [`RULES`] is the only list of them, and `docs/rules.md` is written from it.

mod page;
mod replacing;
mod rules;
mod scene;
mod turns;
mod types;
mod wording;

#[cfg(test)]
mod sentences;
#[cfg(test)]
mod sketch;

pub use page::rules_page;
pub use rules::RULES;
pub use turns::name as turn_name;
pub use types::{Finding, Fix, Hushed, Landing, Needs, Report, Rule, Severity};
pub(crate) use wording::counts;

use crate::dance::{Cue, Dance, Move, MoveBook, MoveId, Silenced};
use crate::listening::Listening;
use crate::units::{Beat, Counts};
use scene::{Scene, Step};
use std::sync::LazyLock;

/// The moves that come with the program, read once.
static BUILT_IN: LazyLock<MoveBook> = LazyLock::new(MoveBook::built_in);

/// Looks at a dance by every rule; moves that would fit better are taken from the dance and the moves that come with the
/// program. See [`check_with`].
#[must_use]
pub fn check(dance: &Dance, heard: Option<&Listening>) -> Report {
    check_with(dance, heard, &BUILT_IN)
}

/// Looks at a dance by every rule.
///
/// Where a move does not fit its place, one of the dance's own or of `book` is offered that does, if there is one.
///
/// `heard` is `None` when the recording is missing: the rules that need it are left out, and one note says so.
/// Counts are those of the dance's own grid, whatever was heard since. A dance without beats is judged by the
/// rules that need none. No dance makes this panic, however odd.
#[must_use]
pub fn check_with(dance: &Dance, heard: Option<&Listening>, book: &MoveBook) -> Report {
    let scene = Scene::new(dance, heard, Some(book));
    let mut findings = found(&scene);
    let mut hushed = Vec::new();
    findings.retain(|finding| {
        let silenced = dance.silenced.iter().find(|silenced| covers(silenced, finding));
        hushed.extend(silenced.map(|by| Hushed { finding: finding.clone(), reason: by.reason.clone() }));
        silenced.is_none()
    });
    // The sort is stable, so findings of one place keep the rules' order within a severity.
    findings.sort_by(|a, b| {
        let place = |finding: &Finding| finding.at.map_or(f64::NEG_INFINITY, |at| at.0);
        place(a).total_cmp(&place(b)).then(b.severity.cmp(&a.severity))
    });
    let landings = turns::landings(&scene);
    Report {
        findings,
        silenced: hushed.len(),
        hushed,
        turns_met: landings.iter().filter(|landing| landing.met).count(),
        turns: landings.len(),
        median_distance: turns::median_distance(&landings),
        landings,
    }
}

/// Moves that would not do where they are to be pinned, by the rules that look at a move in its place alone, each with the
/// reason in a few words. `places` says where a move would stand: all of them must do.
#[must_use]
pub fn unsuited<'a>(
    dance: &Dance,
    heard: Option<&Listening>,
    moves: impl Iterator<Item = &'a Move>,
    places: impl Fn(&Move) -> Vec<(Beat, Counts)>,
) -> Vec<(MoveId, &'static str)> {
    if dance.grid.is_empty() {
        return Vec::new();
    }
    let scene = Scene::new(dance, heard, None);
    let why = |entry: &Move| {
        places(entry).into_iter().find_map(|(at, counts)| {
            let cue = Cue::new(at, counts, entry.id.clone());
            let step =
                Step { index: 0, cue: &cue, movement: Some(entry), words: &entry.words, until: cue.end() };
            rules::unsuited(&scene, &step, entry)
        })
    };
    moves.filter_map(|entry| Some((entry.id.clone(), why(entry)?))).collect()
}

/// What the rules find, in their order, silenced or not.
fn found(scene: &Scene<'_>) -> Vec<Finding> {
    let can = |rule: &&Rule| {
        (scene.heard.is_some() || !rule.needs.recording())
            && (!scene.dance.grid.is_empty() || !rule.needs.beats())
    };
    RULES.iter().filter(can).flat_map(|rule| (rule.look)(scene)).collect()
}

/// Whether the teacher has silenced a finding. Places agree within half a count, since turns move a little
/// whenever a recording is heard again.
fn covers(silenced: &Silenced, finding: &Finding) -> bool {
    silenced.rule == finding.rule
        && match (silenced.at, finding.at) {
            (None, _) => true,
            (Some(there), Some(here)) => (there.0 - here.0).abs() < 0.5,
            (Some(_), None) => false,
        }
}

#[cfg(test)]
mod tests;
