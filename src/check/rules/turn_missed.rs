//! Turns of the music that no move shows.

use crate::check::replacing::pinned;
use crate::check::scene::Scene;
use crate::check::turns::{Meeting, freezes_for, frozen, meeting, name, stray_freeze};
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::check::wording::counts;
use crate::dance::{MoveBook, MoveId};
use crate::listening::TurnKind;
use crate::units::{Beat, Counts};

pub(in crate::check) const RULE: Rule = Rule {
    id: "turn-missed",
    name: "Turn without a cue",
    severity: Severity::Warning,
    needs: Needs::BeatsAndRecording,
    asks: "Where the music turns (louder, softer, faster, slower, a rest), a move begins within a count.",
    why: "Showing the turns is what the lesson is for. The distance is taken from the start of the turn to the nearest \
          start of a cue; turns that were heard unsurely are not asked for, and a class that is frozen already shows a rest.",
    source: "our decision; what counts as a turn is stated with listening (changes under 1 LU or 2 % are never turns)",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    for turn in &scene.turns {
        if meeting(scene, turn) != Meeting::Missed || stray_freeze(scene, turn).is_some() {
            continue;
        }
        if matches!(turn.kind, TurnKind::Rest | TurnKind::Fermata) && frozen(scene, turn) {
            continue;
        }
        let message = match turn.nearest {
            None => format!("No move shows the {}: the dance has no cues.", name(turn.kind)),
            Some((_, off)) => format!(
                "No move shows the {}: the nearest cue begins {} {}.",
                name(turn.kind),
                // A tenth of a count: a turn is heard no better.
                counts(Counts((off.0.abs() * 10.0).round() / 10.0)),
                if off.0 > 0.0 { "later" } else { "earlier" }
            ),
        };
        let finding = RULE.at(turn.at, message, "Begin a move here that shows it.");
        let at = Beat(turn.at.0.round().max(0.0));
        findings.push(match turn.kind {
            TurnKind::Rest | TurnKind::Fermata => pinned(scene, finding, at, freezes_for(turn)),
            kind => pinned(scene, finding, at, showing(scene, kind, at)),
        });
    }
    findings
}

/// Moves of the book that make a turn visible, for as long as the cue under it goes on or until the next one, and for as
/// long as they last by themselves.
fn showing(scene: &Scene<'_>, kind: TurnKind, at: Beat) -> Vec<(MoveId, Counts)> {
    let under = scene.steps.iter().find(|step| step.cue.at.0 < at.0 && at.0 < step.until.0);
    let next = scene.steps.iter().map(|step| step.cue.at).find(|start| start.0 >= at.0);
    let until = under.map(|step| step.until).or(next).unwrap_or(scene.dance.grid.end());
    let room = until.since(at);
    let entries = scene.book.into_iter().flat_map(MoveBook::entries);
    entries
        .filter(|entry| entry.shows.contains(&kind) && entry.needs.is_empty())
        .flat_map(|entry| {
            let own = entry.movement.counts;
            [Some(room), (own.0 < room.0).then_some(own)]
                .into_iter()
                .flatten()
                .map(|counts| (entry.movement.id.clone(), counts))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::sketch::{dance, found_in, heard, places};
    use crate::check::types::Fix;
    use crate::listening::Sureness;

    #[test]
    fn a_turn_with_a_cue_within_a_count_is_not_missed() {
        let dance = dance().cue(16.0, 8.0, "march").cue(24.0, 8.0, "clap");
        for kind in [TurnKind::Crescendo, TurnKind::SubitoSoft, TurnKind::Accelerando, TurnKind::Rest] {
            for at in [15.4, 16.0, 16.6, 24.3] {
                assert!(
                    found_in("turn-missed", &dance, &heard(&dance).turn(kind, at)).is_empty(),
                    "{kind:?} {at}"
                );
            }
        }
    }

    #[test]
    fn a_turn_in_the_middle_of_a_move_is_missed() {
        let dance = dance().cue(16.0, 16.0, "march");
        let findings = found_in("turn-missed", &dance, &heard(&dance).turn(TurnKind::Crescendo, 24.0));
        assert_eq!(places(&findings), [24.0]);
        assert_eq!(
            findings[0].message,
            "No move shows the crescendo: the nearest cue begins 8 counts earlier."
        );
        let Some(Fix::Pin { at, .. }) = &findings[0].fix else { panic!("{findings:?}") };
        assert_eq!(*at, Beat(24.0));
    }

    #[test]
    fn a_class_that_is_frozen_already_shows_a_second_rest() {
        let dance = dance().cue(8.0, 8.0, "march").cue(16.0, 8.0, "freeze");
        let heard = heard(&dance).turn(TurnKind::Rest, 16.0).turn(TurnKind::Rest, 19.5);
        assert!(found_in("turn-missed", &dance, &heard).is_empty());
        assert!(found_in("freeze-off-rest", &dance, &heard).is_empty());
    }

    #[test]
    fn an_unsure_turn_is_not_asked_for() {
        let dance = dance().cue(16.0, 16.0, "march");
        let mut heard = heard(&dance).turn(TurnKind::Crescendo, 24.0);
        heard.turns[0].sureness = Sureness(0.1);
        assert!(found_in("turn-missed", &dance, &heard).is_empty());
    }

    #[test]
    fn turns_are_placed_by_the_dances_own_grid() {
        // The dance counts every second beat of what was heard: beat 24 there is beat 12 here.
        let twice = dance();
        let mut dance = crate::check::sketch::dance_at(60.0, 32).cue(12.0, 8.0, "march");
        dance.recording = twice.recording.clone();
        let heard = heard(&twice).turn(TurnKind::SubitoLoud, 24.0);
        assert!(found_in("turn-missed", &dance, &heard).is_empty());
    }

    #[test]
    fn a_change_under_the_last_beat_leaves_nothing_to_dance() {
        let dance = dance().cue(16.0, 16.0, "march");
        assert!(found_in("turn-missed", &dance, &heard(&dance).turn(TurnKind::Rest, 63.5)).is_empty());
    }
}
