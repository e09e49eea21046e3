//! Turning one way for too long.

use crate::check::replacing::replaced;
use crate::check::scene::Scene;
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::check::wording::counts;
use crate::dance::{Move, StepKind};
use crate::units::Counts;

/// Our decision: two eights. Common practice asks for alternating directions and gives no number.
const LONGEST: Counts = Counts(16.0);

pub(in crate::check) const RULE: Rule = Rule {
    id: "long-turning",
    name: "Turning one way for long",
    severity: Severity::Warning,
    needs: Needs::Dance,
    asks: "After sixteen counts of turning the direction changes, or something else comes.",
    why: "Turning makes dizzy, and dizzy children fall into each other. Turns without a side are taken to go the same way.",
    source: "alternating directions: common practice, no source; sixteen counts: our decision",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let runs = scene.runs(|before, after| {
        let turning = |kind: Option<StepKind>| kind == Some(StepKind::Turn);
        turning(before.movement.map(|entry| entry.step))
            && turning(after.movement.map(|entry| entry.step))
            && before.cue.side == after.cue.side
    });
    let mut findings = Vec::new();
    for run in runs {
        let ([first, ..], Some(middle)) = (run, run.get(run.len() / 2)) else { continue };
        let turns = first.movement.is_some_and(|entry| entry.step == StepKind::Turn);
        let lasts = Counts(run.iter().map(|step| step.lasts().0).sum());
        if turns && lasts.0 > LONGEST.0 {
            let finding = RULE.at_cue(
                first,
                format!("'{}' turns the same way for {}.", first.named(), counts(lasts)),
                "Change direction, or stand and sway in between.",
            );
            let still = |entry: &Move| entry.step != StepKind::Turn;
            findings.push(replaced(scene, middle, finding, still));
        }
    }
    findings
}

#[cfg(test)]
mod tests {
    use crate::check::sketch::{dance, found, places};
    use crate::check::types::Fix;
    use crate::dance::Side;

    #[test]
    fn sixteen_counts_one_way_are_enough() {
        assert!(found("long-turning", &dance().cue(0.0, 16.0, "turn")).is_empty());
        assert_eq!(places(&found("long-turning", &dance().cue(0.0, 24.0, "turn"))), [0.0]);
        let same = dance().cue(0.0, 16.0, "turn").cue(16.0, 8.0, "turn");
        let findings = found("long-turning", &same);
        assert_eq!(places(&findings), [0.0]);
        assert!(matches!(findings[0].fix, Some(Fix::ReplaceMove { cue: 1, .. })), "{findings:?}");
        let other = dance().cue(0.0, 16.0, "turn").to(Side::Left).cue(16.0, 16.0, "turn").to(Side::Right);
        assert!(found("long-turning", &other).is_empty());
    }
}
