//! Turns that are met by a move which goes the other way.

use crate::check::replacing::replaced;
use crate::check::scene::{Scene, Step};
use crate::check::turns::{Meeting, Shown, meeting, name};
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::dance::{Energy, Move, StepKind};
use crate::listening::TurnKind;

pub(in crate::check) const RULE: Rule = Rule {
    id: "turn-contradicted",
    name: "Move against the turn",
    severity: Severity::Note,
    needs: Needs::BeatsAndRecording,
    asks: "Where the music grows the new move asks no less of the body than the one before it, where it shrinks no more.",
    why: "A crescendo that is met by a calmer move is missed although a move begins with it: the class shows the opposite of \
          what it hears. The same energy is enough, since a move can itself be done larger or smaller. Freezes are left \
          out: standing still is a contrast of its own.",
    source: "our decision; a move's energy stands in the move book",
    look,
};

/// Which way a turn goes, when it goes one.
enum Way {
    Grows,
    Shrinks,
}

fn way(kind: TurnKind) -> Option<Way> {
    match kind {
        TurnKind::Crescendo | TurnKind::SubitoLoud | TurnKind::Accelerando | TurnKind::SuddenlyFaster => {
            Some(Way::Grows)
        }
        TurnKind::Diminuendo | TurnKind::SubitoSoft | TurnKind::Ritardando | TurnKind::SuddenlySlower => {
            Some(Way::Shrinks)
        }
        TurnKind::ATempo | TurnKind::Rest | TurnKind::Fermata => None,
    }
}

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    scene.turns.iter().filter_map(|turn| contradiction(scene, turn)).collect()
}

fn contradiction(scene: &Scene<'_>, turn: &Shown) -> Option<Finding> {
    let way = way(turn.kind)?;
    let (place, _) = turn.nearest.filter(|_| meeting(scene, turn) == Meeting::Met)?;
    let step = scene.steps.get(place)?;
    let before = scene.steps.get(place.checked_sub(1)?)?;
    let (old, new) = (energy(before)?.level(), energy(step)?.level());
    let (against, remedy) = match way {
        Way::Grows => (new < old, "Choose a livelier move here."),
        Way::Shrinks => (new > old, "Choose a calmer move here."),
    };
    let message = format!(
        "'{}' (energy {new} of 5) meets the {} after '{}' (energy {old}).",
        step.named(),
        name(turn.kind),
        before.named()
    );
    let fits = |entry: &Move| match way {
        Way::Grows => entry.energy.level() >= old,
        Way::Shrinks => entry.energy.level() <= old,
    };
    against.then(|| replaced(scene, step, RULE.at_cue(step, message, remedy), fits))
}

/// What a step asks of the body; `None` for free words and freezes.
fn energy(step: &Step<'_>) -> Option<Energy> {
    step.movement.filter(|entry| entry.step != StepKind::Freeze).map(|entry| entry.energy)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::sketch::{dance, found_in, heard, places};
    use crate::check::types::Fix;

    /// What is found when a move of energy `after` follows one of energy 3 at a turn.
    fn at_a(kind: TurnKind, after: u8) -> Vec<Finding> {
        let dance = dance()
            .cue(0.0, 16.0, "march")
            .cue(16.0, 16.0, "clap")
            .with("clap", |entry| entry.energy = Energy::new(after).expect("in range"));
        found_in("turn-contradicted", &dance, &heard(&dance).turn(kind, 16.0))
    }

    #[test]
    fn a_crescendo_met_by_a_calmer_move_is_noted() {
        let findings = at_a(TurnKind::Crescendo, 2);
        assert_eq!(places(&findings), [16.0]);
        assert_eq!(
            findings[0].message,
            "'clap' (energy 2 of 5) meets the crescendo after 'march' (energy 3)."
        );
        assert!(findings[0].remedy.starts_with("Choose a livelier move here. '"), "{findings:?}");
        assert!(matches!(findings[0].fix, Some(Fix::ReplaceMove { cue: 1, .. })), "{findings:?}");
        assert!(at_a(TurnKind::Diminuendo, 4)[0].remedy.starts_with("Choose a calmer move here."));
    }

    #[test]
    fn the_same_energy_and_the_right_way_are_as_they_should_be() {
        assert!(at_a(TurnKind::Crescendo, 3).is_empty());
        assert!(at_a(TurnKind::Accelerando, 5).is_empty());
        assert!(at_a(TurnKind::Ritardando, 1).is_empty());
        assert!(at_a(TurnKind::ATempo, 1).is_empty());
    }

    #[test]
    fn a_turn_that_no_move_meets_and_a_freeze_are_other_rules_business() {
        let far = dance().cue(0.0, 16.0, "march").cue(24.0, 8.0, "sway");
        assert!(found_in("turn-contradicted", &far, &heard(&far).turn(TurnKind::Crescendo, 16.0)).is_empty());
        let still = dance().cue(0.0, 16.0, "march").cue(16.0, 8.0, "freeze").with("freeze", |entry| {
            entry.energy = Energy::new(1).expect("in range");
        });
        assert!(
            found_in("turn-contradicted", &still, &heard(&still).turn(TurnKind::SubitoLoud, 16.0)).is_empty()
        );
    }
}
