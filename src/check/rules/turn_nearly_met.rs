//! Moves a beat or two before or after the turn they are meant for.

use crate::check::scene::Scene;
use crate::check::turns::{Meeting, meeting, name, stray_freeze};
use crate::check::types::{Finding, Fix, Needs, Rule, Severity};
use crate::check::wording::counts;
use crate::units::{Beat, Counts};

pub(in crate::check) const RULE: Rule = Rule {
    id: "turn-nearly-met",
    name: "Cue a beat or two off its turn",
    severity: Severity::Warning,
    needs: Needs::BeatsAndRecording,
    asks: "A move that is meant for a turn begins with it, not a beat or two beside it.",
    why: "The eye notices a late change more than none. A sudden turn is heard to a fifth of a second, so a whole count \
          beside it is seen; the start of a gradual change is heard to a second, so nothing within it is called late.",
    source: "our decision; accuracy of listening from its own tests (0.2 s sudden, 1 s gradual)",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    for turn in scene.turns.iter().filter(|turn| stray_freeze(scene, turn).is_none()) {
        let Meeting::Nearly(place, off) = meeting(scene, turn) else { continue };
        let step = &scene.steps[place];
        // Said and mended in whole counts: the turn itself falls between two.
        let to = Beat(turn.at.0.round());
        let distance = counts(Counts(step.cue.at.since(to).0.abs()));
        let (side, back) = if off.0 > 0.0 { ("after", "earlier") } else { ("before", "later") };
        findings.push(
            RULE.at_cue(
                step,
                format!("'{}' begins {distance} {side} the {}.", step.named(), name(turn.kind)),
                format!("Move it {distance} {back}."),
            )
            .mended_by(Fix::MoveTo { cue: step.index, to }),
        );
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::sketch::{dance, found_in, heard, places};
    use crate::listening::TurnKind;

    #[test]
    fn a_beat_or_two_beside_a_sudden_turn_is_seen() {
        for (start, message) in [
            (15.0, "'march' begins 1 count before the subito forte."),
            (17.0, "'march' begins 1 count after the subito forte."),
            (18.0, "'march' begins 2 counts after the subito forte."),
        ] {
            let dance = dance().cue(start, 8.0, "march");
            let findings =
                found_in("turn-nearly-met", &dance, &heard(&dance).turn(TurnKind::SubitoLoud, 16.0));
            assert_eq!(places(&findings), [start]);
            assert_eq!(findings[0].message, message);
            assert_eq!(findings[0].fix, Some(Fix::MoveTo { cue: 0, to: Beat(16.0) }));
        }
        for start in [16.0, 19.0] {
            let dance = dance().cue(start, 8.0, "march");
            let heard = heard(&dance).turn(TurnKind::SubitoLoud, 16.0);
            assert!(found_in("turn-nearly-met", &dance, &heard).is_empty());
        }
    }

    /// At 120 BPM two counts are one second.
    #[test]
    fn nothing_within_a_second_of_a_gradual_change_is_late() {
        let at = |start| {
            let dance = dance().cue(start, 8.0, "march");
            places(&found_in("turn-nearly-met", &dance, &heard(&dance).turn(TurnKind::Crescendo, 16.0)))
        };
        assert!(at(18.0).is_empty());
        assert_eq!(at(18.5), [18.5]);
    }

    #[test]
    fn a_cue_that_meets_another_turn_stays_there() {
        let dance = dance().cue(16.0, 8.0, "march");
        let heard = heard(&dance).turn(TurnKind::SubitoLoud, 16.0).turn(TurnKind::SubitoSoft, 18.0);
        assert!(found_in("turn-nearly-met", &dance, &heard).is_empty());
        assert_eq!(places(&found_in("turn-missed", &dance, &heard)), [18.0]);
    }
}
