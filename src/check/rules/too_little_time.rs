//! Calls that appear too late to be read and answered.

use crate::check::scene::Scene;
use crate::check::types::{Finding, Fix, Needs, Rule, Severity};
use crate::check::wording::{counts, seconds};
use crate::dance::reading::{reaction, time_needed};
use crate::units::{Beat, Seconds};

pub(in crate::check) const RULE: Rule = Rule {
    id: "too-little-time",
    name: "Too little time to read",
    severity: Severity::Warning,
    needs: Needs::Beats,
    asks: "From the call to the move there is time to read the words and to react, at the class's age.",
    why: "A call is read from when it appears, or from when the move before it has begun, whichever is later, since the \
          class answers one call at a time. Words take 60 / words-a-minute each; then the body needs a moment. A \
          call that says the same again only needs that moment.",
    source: "reading: Hasbrouck and Tindal 2017, median, spring; over 11 years BBC Subtitle Guidelines; reaction: \
             Developmental Medicine and Child Neurology 26 (1984), with an allowance of our own",
    look,
};

/// Times this close are equal: a tenth of a millisecond, the precision a grid is saved with.
const SAME_TIME: Seconds = Seconds(1e-4);

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let age = scene.dance.profile.age;
    let mut findings = Vec::new();
    for (place, step) in scene.steps.iter().enumerate() {
        let before = place.checked_sub(1).map(|before| &scene.steps[before]);
        let needed = match before {
            Some(before) if before.says_same_as(step) => reaction(age),
            _ => time_needed(step.words, age),
        };
        let start = scene.seconds(step.cue.at);
        let lead = scene.dance.lead_of(step.index);
        let called = start.since(scene.seconds(Beat(step.cue.at.0 - lead.0)));
        // Two cues on one count are another rule's matter.
        let free = before
            .filter(|before| before.cue.at.0 < step.cue.at.0)
            .map(|before| start.since(scene.seconds(before.cue.at)));
        let short = |time: Seconds| time.0 < needed.0 - SAME_TIME.0;
        if short(called) && step.cue.lead.is_some() {
            let enough = scene.dance.lead_needed(step.index);
            findings.push(
                RULE.at_cue(
                    step,
                    format!(
                        "'{}' takes {} to read and answer, but its call appears {} before it ({}).",
                        step.named(),
                        seconds(needed),
                        seconds(called),
                        counts(lead)
                    ),
                    format!("Let the call appear {} before it, or use fewer words.", counts(enough)),
                )
                .mended_by(Fix::Lead { cue: step.index, counts: enough }),
            );
        } else if short(called) {
            findings.push(RULE.at_cue(
                step,
                format!(
                    "'{}' takes {} to read and answer, longer than any call is shown before its move ({}).",
                    step.named(),
                    seconds(needed),
                    seconds(called)
                ),
                "Use fewer words.",
            ));
        } else if let Some(free) = free.filter(|&free| short(free)) {
            findings.push(RULE.at_cue(
                step,
                format!(
                    "'{}' takes {} to read and answer, but the move before it begins only {} earlier.",
                    step.named(),
                    seconds(needed),
                    seconds(free)
                ),
                "Let the move before it go on longer, or use fewer words.",
            ));
        }
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::sketch::{dance, found, places};
    use crate::units::Counts;

    const FOUR_WORDS: &str = "turn around very slowly";

    /// Reference signal T14: four words, grade 2 (7 years), 120 BPM. A lead of four counts is 2.0 s and fails
    /// (2.4 s of reading and 0.8 s to react); eight counts are 4.0 s and pass.
    #[test]
    fn four_words_in_grade_two_fail_with_four_counts_and_pass_with_eight() {
        let with = |lead| dance().cue(16.0, 8.0, "turn").saying(FOUR_WORDS).lead(lead);
        let findings = found("too-little-time", &with(4.0));
        assert_eq!(places(&findings), [16.0]);
        assert_eq!(
            findings[0].message,
            "'turn around very slowly' takes 3.2 s to read and answer, but its call appears 2.0 s before it (4 counts)."
        );
        assert_eq!(findings[0].fix, Some(Fix::Lead { cue: 0, counts: Counts(8.0) }));
        assert!(found("too-little-time", &with(8.0)).is_empty());
    }

    #[test]
    fn a_lead_left_to_the_words_is_long_enough() {
        assert!(found("too-little-time", &dance().cue(16.0, 8.0, "turn").saying(FOUR_WORDS)).is_empty());
    }

    #[test]
    fn a_call_is_read_after_the_move_before_it_has_begun() {
        let with =
            |before| dance().cue(16.0 - before, before, "clap").cue(16.0, 8.0, "turn").saying(FOUR_WORDS);
        assert_eq!(places(&found("too-little-time", &with(4.0))), [16.0]);
        assert!(found("too-little-time", &with(8.0)).is_empty());
    }

    #[test]
    fn the_same_again_needs_no_reading() {
        let dance =
            dance().cue(8.0, 4.0, "turn").saying(FOUR_WORDS).cue(12.0, 4.0, "turn").saying(FOUR_WORDS);
        assert!(found("too-little-time", &dance).is_empty());
    }
}
