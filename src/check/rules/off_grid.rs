//! Cues between the counts.

use crate::check::scene::Scene;
use crate::check::types::{Finding, Fix, Needs, Rule, Severity};
use crate::units::Beat;

pub(in crate::check) const RULE: Rule = Rule {
    id: "off-grid",
    name: "Cue between two counts",
    severity: Severity::Warning,
    needs: Needs::Dance,
    asks: "Every cue begins on a count.",
    why: "A class can begin together on a beat that it hears, not between two.",
    source: "common practice, no source",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let between = scene.steps.iter().filter(|step| !step.cue.at.is_whole());
    between
        .map(|step| {
            let at = step.cue.at;
            RULE.at_cue(
                step,
                format!("'{}' begins {:.2} of a count after the beat.", step.named(), at.0 - at.0.floor()),
                "Move it to the nearest count.",
            )
            .mended_by(Fix::MoveTo { cue: step.index, to: Beat(at.0.round()) })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::sketch::{dance, found, places};

    #[test]
    fn only_a_cue_between_counts_is_off_the_grid() {
        let dance = dance().cue(0.001, 8.0, "march").cue(8.5, 8.0, "clap").cue(16.0, 8.0, "march");
        let findings = found("off-grid", &dance);
        assert_eq!(places(&findings), [8.5]);
        assert_eq!(findings[0].fix, Some(Fix::MoveTo { cue: 1, to: Beat(9.0) }));
    }
}
