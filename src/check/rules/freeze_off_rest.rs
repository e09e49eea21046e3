//! Freezes beside the silence they are meant for.

use crate::check::scene::Scene;
use crate::check::turns::stray_freeze;
use crate::check::types::{Finding, Fix, Needs, Rule, Severity};
use crate::check::wording::counts;
use crate::units::{Beat, Counts};

pub(in crate::check) const RULE: Rule = Rule {
    id: "freeze-off-rest",
    name: "Freeze beside the rest",
    severity: Severity::Warning,
    needs: Needs::BeatsAndRecording,
    asks: "A freeze near a rest begins with the rest.",
    why: "Stopping when the sound stops is the clearest thing a class can show; stopping beside it teaches the opposite. \
          A freeze within four counts of a rest is taken to be meant for it.",
    source: "our decision",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let stray = scene.turns.iter().filter_map(|turn| stray_freeze(scene, turn).map(|found| (turn, found)));
    stray
        .map(|(turn, (step, off))| {
            // Said and mended in whole counts: the turn itself falls between two.
            let to = Beat(turn.at.0.round());
            let distance = counts(Counts(step.cue.at.since(to).0.abs()));
            let (side, back) = if off.0 > 0.0 { ("after", "earlier") } else { ("before", "later") };
            RULE.at_cue(
                step,
                format!("'{}' begins {distance} {side} the rest.", step.named()),
                format!("Move it {distance} {back}."),
            )
            .mended_by(Fix::MoveTo { cue: step.index, to })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use crate::check::sketch::{dance, found_in, heard, places};
    use crate::listening::TurnKind;

    #[test]
    fn a_freeze_beside_a_rest_is_reported_once() {
        let dance = dance().cue(8.0, 10.0, "march").cue(18.0, 4.0, "freeze");
        let heard = heard(&dance).turn(TurnKind::Rest, 16.0);
        let findings = found_in("freeze-off-rest", &dance, &heard);
        assert_eq!(places(&findings), [18.0]);
        assert_eq!(findings[0].message, "'freeze' begins 2 counts after the rest.");
        assert!(found_in("turn-missed", &dance, &heard).is_empty());
        assert!(found_in("turn-nearly-met", &dance, &heard).is_empty());
    }

    #[test]
    fn a_freeze_on_the_rest_or_far_from_it_is_as_it_should_be() {
        for at in [16.0, 24.0] {
            let dance = dance().cue(at, 4.0, "freeze");
            assert!(
                found_in("freeze-off-rest", &dance, &heard(&dance).turn(TurnKind::Rest, 16.0)).is_empty()
            );
        }
    }

    #[test]
    fn a_pose_before_a_rest_that_leaves_it_no_time_is_as_it_should_be() {
        // The sketch has 64 beats at 120 a minute: from beat 61 on, a freeze would be seen for a second and a half.
        let dance = dance().cue(58.0, 6.0, "freeze");
        assert!(found_in("freeze-off-rest", &dance, &heard(&dance).turn(TurnKind::Rest, 61.0)).is_empty());
        let with_room = heard(&dance).turn(TurnKind::Rest, 60.0);
        assert_eq!(places(&found_in("freeze-off-rest", &dance, &with_room)), [58.0]);
    }
}
