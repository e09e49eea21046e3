//! One move for too long.

use crate::check::replacing::replaced;
use crate::check::scene::Scene;
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::check::wording::counts;
use crate::units::Counts;

/// Common practice, no source: once through a tune of 64 counts.
const LONGEST: Counts = Counts(64.0);

pub(in crate::check) const RULE: Rule = Rule {
    id: "same-move-long",
    name: "The same move for long",
    severity: Severity::Note,
    needs: Needs::Dance,
    asks: "No move goes on for more than 64 counts.",
    why: "Sixty-four counts are once through a dance tune of four phrases; after that attention goes, and one group of \
          muscles has done all the work.",
    source: "common practice, no source",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let runs =
        scene.runs(|before, after| before.movement.is_some() && before.cue.movement == after.cue.movement);
    let mut findings = Vec::new();
    for run in runs {
        let ([first, ..], Some(middle)) = (run, run.get(run.len() / 2)) else { continue };
        let lasts = Counts(run.iter().map(|step| step.lasts().0).sum());
        if lasts.0 > LONGEST.0 {
            let finding = RULE.at_cue(
                first,
                format!("'{}' goes on for {}.", first.named(), counts(lasts)),
                "Vary it: another direction, another level, another move.",
            );
            findings.push(replaced(scene, middle, finding, |_| true));
        }
    }
    findings
}

#[cfg(test)]
mod tests {
    use crate::check::sketch::{dance_at, found, places};
    use crate::check::types::Fix;

    #[test]
    fn sixty_four_counts_of_one_move_are_enough() {
        let dance = dance_at(120.0, 256)
            .cue(0.0, 32.0, "march")
            .cue(32.0, 32.0, "march")
            .cue(64.0, 8.0, "clap")
            .cue(72.0, 64.0, "sway")
            .cue(136.0, 8.0, "sway");
        let findings = found("same-move-long", &dance);
        assert_eq!(places(&findings), [72.0]);
        assert!(matches!(findings[0].fix, Some(Fix::ReplaceMove { cue: 4, .. })), "{findings:?}");
    }
}
