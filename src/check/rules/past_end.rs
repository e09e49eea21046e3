//! Cues and prompts after the music.

use crate::check::scene::Scene;
use crate::check::types::{Finding, Fix, Needs, Rule, Severity};
use crate::check::wording::counts;

pub(in crate::check) const RULE: Rule = Rule {
    id: "past-end",
    name: "Past the end",
    severity: Severity::Problem,
    needs: Needs::Beats,
    asks: "No cue begins or lasts beyond the last beat, and no prompt comes after it.",
    why: "What lies beyond the music is never shown, or ends before the class has done it.",
    source: "our decision",
    look,
};

/// Positions are saved to a thousandth.
const ROUNDING: f64 = 0.0015;

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let end = scene.dance.grid.end();
    let mut findings = Vec::new();
    for step in &scene.steps {
        let over = step.cue.end().since(end);
        if step.cue.at.0 >= end.0 - ROUNDING {
            findings.push(
                RULE.at_cue(
                    step,
                    format!(
                        "'{}' is on beat {:.0}, but the music ends after beat {:.0}.",
                        step.named(),
                        step.cue.at.0 + 1.0,
                        end.0
                    ),
                    "Move it earlier or take it out.",
                )
                .mended_by(Fix::Remove { cue: step.index }),
            );
        } else if over.0 > ROUNDING {
            let left = end.since(step.cue.at);
            findings.push(
                RULE.at_cue(
                    step,
                    format!("'{}' goes on for {} after the last beat.", step.named(), counts(over)),
                    format!("Let it last {}.", counts(left)),
                )
                .mended_by(Fix::Last { cue: step.index, counts: left }),
            );
        }
    }
    for prompt in scene.dance.prompts.iter().filter(|prompt| prompt.at.0 > end.0 + ROUNDING) {
        let message = format!("The question '{}' comes after the end of the music.", prompt.question);
        findings.push(RULE.at(prompt.at, message, "Move it to the last beat or earlier."));
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::sketch::{dance, found, places};
    use crate::units::Counts;

    #[test]
    fn a_move_may_end_with_the_last_beat_but_not_after() {
        assert!(found("past-end", &dance().cue(56.0, 8.0, "march")).is_empty());
        let findings = found("past-end", &dance().cue(56.0, 12.0, "march"));
        assert_eq!(places(&findings), [56.0]);
        assert_eq!(findings[0].fix, Some(Fix::Last { cue: 0, counts: Counts(8.0) }));
    }

    #[test]
    fn a_cue_after_the_music_is_reported_with_both_beats() {
        let findings = found("past-end", &dance().cue(64.0, 8.0, "march"));
        assert_eq!(findings[0].message, "'march' is on beat 65, but the music ends after beat 64.");
    }
}
