//! Rests on which something other than stillness begins.

use crate::check::replacing::pinned;
use crate::check::scene::Scene;
use crate::check::turns::{Meeting, freezes_for, meeting, stray_freeze};
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::dance::StepKind;
use crate::listening::TurnKind;

pub(in crate::check) const RULE: Rule = Rule {
    id: "rest-danced-through",
    name: "Steps into a rest",
    severity: Severity::Note,
    needs: Needs::BeatsAndRecording,
    asks: "A move that begins with a rest is a freeze, or needs no steps.",
    why: "Steps in silence have nothing to follow, and the rest goes unseen.",
    source: "our decision",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    let rests = scene.turns.iter().filter(|turn| turn.kind == TurnKind::Rest);
    for turn in rests.filter(|turn| stray_freeze(scene, turn).is_none()) {
        let Some((place, _)) = turn.nearest.filter(|_| meeting(scene, turn) == Meeting::Met) else {
            continue;
        };
        let step = &scene.steps[place];
        let steps = step.movement.filter(|entry| !matches!(entry.step, StepKind::Freeze | StepKind::Still));
        if steps.is_some() {
            let finding = RULE.at_cue(
                step,
                format!("'{}' begins where the music rests.", step.named()),
                "Put a freeze on the rest and let this move follow it.",
            );
            findings.push(pinned(scene, finding, step.cue.at, freezes_for(turn)));
        }
    }
    findings
}

#[cfg(test)]
mod tests {
    use crate::check::sketch::{dance, found_in, heard, places};
    use crate::check::types::Fix;
    use crate::listening::TurnKind;
    use crate::units::Beat;

    #[test]
    fn a_rest_is_for_stillness() {
        let at_rest = |id| {
            let dance = dance().cue(16.0, 8.0, id);
            places(&found_in("rest-danced-through", &dance, &heard(&dance).turn(TurnKind::Rest, 16.0)))
        };
        assert_eq!(at_rest("march"), [16.0]);
        let marched = dance().cue(8.0, 8.0, "sway").cue(16.0, 16.0, "march");
        let found = found_in("rest-danced-through", &marched, &heard(&marched).turn(TurnKind::Rest, 16.0));
        let Some(Fix::Pin { at, movement, .. }) = &found[0].fix else { panic!("{found:?}") };
        assert_eq!((*at, movement.0.as_str()), (Beat(16.0), "freeze"));
        assert!(at_rest("freeze").is_empty());
        assert!(at_rest("sway").is_empty());
    }
}
