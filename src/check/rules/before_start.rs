//! Cues and prompts before the first beat.

use crate::check::scene::Scene;
use crate::check::types::{Finding, Fix, Needs, Rule, Severity};
use crate::check::wording::counts;
use crate::units::{Beat, Counts};

pub(in crate::check) const RULE: Rule = Rule {
    id: "before-start",
    name: "Before the first beat",
    severity: Severity::Problem,
    needs: Needs::Beats,
    asks: "No cue and no prompt lies before the first beat.",
    why: "There is no count to begin on. The counting-in belongs to the screen, not to the dance.",
    source: "our decision",
    look,
};

/// Positions are saved to a thousandth.
const ROUNDING: f64 = 0.0015;

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let early = |at: Beat| Some(Counts(-at.0)).filter(|early| early.0 > ROUNDING);
    let cues = scene.steps.iter().filter_map(|step| {
        let finding = RULE.at_cue(
            step,
            format!("'{}' begins {} before the first beat.", step.named(), counts(early(step.cue.at)?)),
            "Move it to the first beat or later.",
        );
        Some(finding.mended_by(Fix::MoveTo { cue: step.index, to: Beat(0.0) }))
    });
    let prompts = scene.dance.prompts.iter().filter_map(|prompt| {
        let message = format!(
            "The question '{}' comes {} before the first beat.",
            prompt.question,
            counts(early(prompt.at)?)
        );
        Some(RULE.at(prompt.at, message, "Move it to the first beat or later."))
    });
    cues.chain(prompts).collect()
}

#[cfg(test)]
mod tests {
    use crate::check::sketch::{dance, found, places};

    #[test]
    fn the_first_beat_is_not_too_early() {
        assert!(found("before-start", &dance().cue(0.0, 8.0, "march")).is_empty());
        let findings = found("before-start", &dance().cue(-2.0, 8.0, "march"));
        assert_eq!(places(&findings), [-2.0]);
        assert_eq!(findings[0].message, "'march' begins 2 counts before the first beat.");
    }
}
