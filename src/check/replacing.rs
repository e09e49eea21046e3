//! Another move for a place where one does not fit: the remedy that the editor applies in one step.
//!
//! A move is offered only after the whole check has looked at the dance with it: what was found must be gone, and nothing
//! may be found that was not there before.

use super::found;
use super::rules::suits;
use super::scene::{Scene, Step};
use super::types::{Finding, Fix};
use crate::dance::{Dance, Entry, Move, StepKind};
use crate::listening::Articulation;
use crate::units::Beat;

/// Moves that are tried on the whole dance before none is offered. Our decision: the check of a long dance with many
/// faults must still be done before the teacher looks up.
const MOST_TRIED: usize = 8;

/// What was found: rule, place and cue, and how often.
pub(super) type Faults = Vec<(&'static str, Option<u64>, Option<usize>)>;

fn faults(findings: &[Finding]) -> Faults {
    let place = |at: Beat| at.0.to_bits();
    let mut faults: Faults =
        findings.iter().map(|finding| (finding.rule, finding.at.map(place), finding.cue)).collect();
    faults.sort_unstable();
    faults
}

/// The finding with a move that fits in the step's place, where the dance or the book has one. `fits` is what the rule asks
/// of a move there, told in advance so that few moves need be tried.
pub(super) fn replaced(
    scene: &Scene<'_>,
    step: &Step<'_>,
    finding: Finding,
    fits: impl Fn(&Move) -> bool,
) -> Finding {
    let Some((book, old)) = scene.book.zip(step.movement) else { return finding };
    let dance = scene.dance;
    let aim = scene.music_energy(step).unwrap_or(old.energy.level());
    let notes = scene.phrase_under(step).map(|phrase| phrase.articulation);
    let notes = notes.filter(|&notes| notes != Articulation::Unclear);
    // The dance's own moves are known to the class; the dance's copy of a move goes before the book's.
    let own = dance.moves.iter().filter(|entry| {
        let listed = book.entries().iter().find(|listed| listed.movement.id == entry.id);
        listed.map_or(entry.step != StepKind::Freeze, Entry::is_everyday)
    });
    let known = |entry: &Move| dance.moves.iter().any(|own| own.id == entry.id);
    let others = book.entries().iter().filter(|entry| entry.is_everyday()).map(|entry| &entry.movement);
    let mut candidates: Vec<&Move> = own
        .chain(others.filter(|entry| !known(entry)))
        .filter(|entry| entry.id != old.id && fits(entry) && suits(scene, step, entry))
        .collect();
    // The sort is stable: of equals the dance's own come first, then the book's order.
    candidates.sort_by_key(|entry| {
        let energy = 2 * entry.energy.level().abs_diff(aim);
        let unlike = notes.is_some_and(|notes| !entry.suits.contains(&notes));
        energy + u8::from(unlike) + u8::from(entry.step != old.step) + u8::from(!known(entry))
    });
    let before = scene.faults.get_or_init(|| faults(&found(&Scene::new(dance, scene.heard, None))));
    let here = (finding.rule, finding.at.map(|at| at.0.to_bits()), finding.cue);
    for entry in candidates.into_iter().take(MOST_TRIED) {
        let changed = with(dance, step.index, entry);
        let after = faults(&found(&Scene::new(&changed, scene.heard, None)));
        if !after.contains(&here) && is_within(&after, before) {
            let remedy = format!("{} '{}' fits.", finding.remedy, entry.words);
            return Finding { remedy, ..finding }
                .mended_by(Fix::ReplaceMove { cue: step.index, to: entry.id.clone() });
        }
    }
    finding
}

/// The dance with another move in a cue, as the editor would write it.
fn with(dance: &Dance, cue: usize, entry: &Move) -> Dance {
    let mut dance = dance.clone();
    if let Some(cue) = dance.cues.get_mut(cue) {
        cue.movement = Some(entry.id.clone());
        cue.words = None;
        cue.side = cue.side.filter(|_| entry.one_sided);
    }
    if !dance.moves.iter().any(|own| own.id == entry.id) {
        dance.moves.push(entry.clone());
    }
    dance
}

/// Whether every fault of `after` is one of `before`, as often as it is there. Both are sorted.
fn is_within(after: &Faults, before: &Faults) -> bool {
    let mut before = before.iter();
    after.iter().all(|fault| before.any(|other| other == fault))
}
