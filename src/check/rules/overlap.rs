//! Two moves at once.

use crate::check::scene::Scene;
use crate::check::types::{Finding, Fix, Needs, Rule, Severity};
use crate::check::wording::counts;

pub(in crate::check) const RULE: Rule = Rule {
    id: "overlap",
    name: "Two moves at once",
    severity: Severity::Problem,
    needs: Needs::Dance,
    asks: "A move is over when the next one begins.",
    why: "The screen shows one move. Where two overlap, the count sheet and the screen say different things, and two \
          cues on one count hide each other.",
    source: "our decision",
    look,
};

/// Overlaps up to this are rounding: positions are saved to a thousandth.
const ROUNDING: f64 = 0.0015;

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    for pair in scene.steps.windows(2) {
        let (before, step) = (&pair[0], &pair[1]);
        let over = before.cue.end().since(step.cue.at);
        if over.0 <= ROUNDING {
            continue;
        }
        let left = before.lasts();
        let finding = if left.0 <= ROUNDING {
            RULE.at_cue(
                step,
                format!("'{}' begins on the same count as '{}'.", step.named(), before.named()),
                "Take one of them out, or move it.",
            )
            .mended_by(Fix::Remove { cue: before.index })
        } else {
            RULE.at_cue(
                step,
                format!("'{}' begins {} before '{}' is over.", step.named(), counts(over), before.named()),
                format!("Let '{}' last {}.", before.named(), counts(left)),
            )
            .mended_by(Fix::Last { cue: before.index, counts: left })
        };
        findings.push(finding);
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::sketch::{dance, found, places};
    use crate::units::Counts;

    #[test]
    fn a_move_that_outlasts_the_next_ones_start_is_reported() {
        let dance = dance().cue(0.0, 8.0, "march").cue(8.0, 10.0, "clap").cue(16.0, 8.0, "sway");
        let findings = found("overlap", &dance);
        assert_eq!(places(&findings), [16.0]);
        assert_eq!(findings[0].message, "'sway' begins 2 counts before 'clap' is over.");
        assert_eq!(findings[0].fix, Some(Fix::Last { cue: 1, counts: Counts(8.0) }));
    }

    #[test]
    fn cues_in_the_wrong_order_are_put_in_order_first() {
        assert!(found("overlap", &dance().cue(8.0, 8.0, "march").cue(0.0, 8.0, "clap")).is_empty());
    }

    #[test]
    fn two_cues_on_one_count_hide_each_other() {
        let findings = found("overlap", &dance().cue(8.0, 8.0, "march").cue(8.0, 8.0, "clap"));
        assert_eq!(places(&findings), [8.0]);
        assert_eq!(findings[0].message, "'clap' begins on the same count as 'march'.");
    }
}
