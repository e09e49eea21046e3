//! Leads shorter than dancers are used to.

use crate::check::scene::Scene;
use crate::check::types::{Finding, Fix, Needs, Rule, Severity};
use crate::check::wording::counts;
use crate::dance::reading::{NEW_MOVE_LEAD, SAME_MOVE_LEAD};

pub(in crate::check) const RULE: Rule = Rule {
    id: "short-lead",
    name: "Short lead",
    severity: Severity::Note,
    needs: Needs::Dance,
    asks: "A new move is called at least four counts before it begins, a repeated one at least two.",
    why: "Dancers finish what they do and begin on the next count one; a call inside the last counts breaks both moves, \
          even where there was time to read it.",
    source: "group exercise instruction: four-beat calls for new moves, two-beat calls for known ones",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (place, step) in scene.steps.iter().enumerate() {
        let again = place.checked_sub(1).is_some_and(|before| scene.steps[before].says_same_as(step));
        let least = if again { SAME_MOVE_LEAD } else { NEW_MOVE_LEAD };
        if let Some(lead) = step.cue.lead.filter(|lead| lead.0 < least.0) {
            findings.push(
                RULE.at_cue(
                    step,
                    format!(
                        "The call appears {} before the move; dancers are used to {}.",
                        counts(lead),
                        counts(least)
                    ),
                    format!("Let the call appear at least {} before it.", counts(least)),
                )
                .mended_by(Fix::Lead { cue: step.index, counts: least }),
            );
        }
    }
    findings
}

#[cfg(test)]
mod tests {
    use crate::check::sketch::{dance, found, places};

    #[test]
    fn new_moves_want_four_counts_and_repeated_ones_two() {
        let dance = dance()
            .cue(0.0, 8.0, "march")
            .lead(4.0)
            .cue(8.0, 8.0, "march")
            .lead(2.0)
            .cue(16.0, 8.0, "clap")
            .lead(3.0)
            .cue(24.0, 8.0, "clap")
            .lead(1.0);
        assert_eq!(places(&found("short-lead", &dance)), [16.0, 24.0]);
    }
}
