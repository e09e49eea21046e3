//! Another move for a place where one does not fit, or one where none is: the remedy that the editor applies in one step.
//!
//! A move is offered only after the whole check has looked at the dance with it: what was found must be gone, and nothing
//! may be found that was not there before.

use super::found;
use super::rules::suits;
use super::scene::{Scene, Step};
use super::types::{Finding, Fix};
use crate::dance::edit::{apply, plan};
use crate::dance::{Dance, Entry, Move, MoveId, StepKind};
use crate::listening::Articulation;
use crate::units::{Beat, Counts};

/// Moves that are tried on the whole dance before none is offered. Our decision.
const MOST_TRIED: usize = 8;

/// Cues that all tries of one check look at together. Our decision: the check of a thousand cues that all do not fit must
/// still be done before the teacher looks up. It gives a dance of sixty cues 666 tries, and one of a thousand 40; where
/// they are used up the finding stands without a move, and gets one once those before it are mended.
const MOST_LOOKED_AT: usize = 40_000;

/// How many tries a check of so many cues has.
pub(super) fn tries(cues: usize) -> usize {
    MOST_LOOKED_AT / cues.max(1)
}

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
        if !scene.may_try() {
            break;
        }
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

/// The finding with a move to begin at a count where none does, if one of some moves and lengths does not bring other
/// faults. The first that does is offered.
pub(super) fn pinned(
    scene: &Scene<'_>,
    finding: Finding,
    at: Beat,
    offers: impl IntoIterator<Item = (MoveId, Counts)>,
) -> Finding {
    let fixes = offers.into_iter().map(|(movement, counts)| Fix::Pin { at, counts, movement });
    let bare = finding.remedy.clone();
    let finding = tried(scene, finding, fixes);
    let Some(Fix::Pin { movement, .. }) = &finding.fix else { return finding };
    let own = scene.dance.moves.iter().find(|entry| entry.id == *movement);
    let entry = own.or_else(|| scene.book?.get(movement));
    let remedy = entry.map_or_else(|| bare.clone(), |entry| format!("{bare} '{}' fits.", entry.words));
    Finding { remedy, ..finding }
}

/// The finding with the first of some remedies after which it is gone and nothing else is found.
pub(super) fn tried(scene: &Scene<'_>, finding: Finding, fixes: impl IntoIterator<Item = Fix>) -> Finding {
    let Some(book) = scene.book else { return finding };
    let before = scene.faults.get_or_init(|| faults(&found(&Scene::new(scene.dance, scene.heard, None))));
    // A new cue gives those after it another number.
    let unnumbered = |faults: &Faults| {
        let mut faults: Faults = faults.iter().map(|&(rule, at, _)| (rule, at, None)).collect();
        faults.sort_unstable();
        faults
    };
    let before = unnumbered(before);
    let here = (finding.rule, finding.at.map(|at| at.0.to_bits()), None);
    for fix in fixes.into_iter().take(MOST_TRIED) {
        if !scene.may_try() {
            break;
        }
        let mut changed = scene.dance.clone();
        let done = plan(&changed, book, &fix.command()).and_then(|planned| apply(&mut changed, planned.edit));
        if done.is_err() {
            continue;
        }
        let after = unnumbered(&faults(&found(&Scene::new(&changed, scene.heard, None))));
        if !after.contains(&here) && is_within(&after, &before) {
            return finding.mended_by(fix);
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
