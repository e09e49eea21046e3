//! Rests on which something other than stillness begins.

use crate::check::scene::Scene;
use crate::check::turns::{Meeting, meeting, stray_freeze};
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
            findings.push(RULE.at_cue(
                step,
                format!("'{}' begins where the music rests.", step.named()),
                "Put a freeze on the rest and let this move follow it.",
            ));
        }
    }
    findings
}

#[cfg(test)]
mod tests {
    use crate::check::sketch::{dance, found_in, heard, places};
    use crate::listening::TurnKind;

    #[test]
    fn a_rest_is_for_stillness() {
        let at_rest = |id| {
            let dance = dance().cue(16.0, 8.0, id);
            places(&found_in("rest-danced-through", &dance, &heard(&dance).turn(TurnKind::Rest, 16.0)))
        };
        assert_eq!(at_rest("march"), [16.0]);
        assert!(at_rest("freeze").is_empty());
        assert!(at_rest("sway").is_empty());
    }
}
