//! Calls longer than a glance.

use crate::check::scene::Scene;
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::dance::reading::count_words;

/// Reference: 1 to 4 words a cue (four words take a first-grader 4.0 s at 60 words a minute, Hasbrouck and Tindal 2017).
const MOST_WORDS: usize = 4;

pub(in crate::check) const RULE: Rule = Rule {
    id: "too-many-words",
    name: "Too many words",
    severity: Severity::Warning,
    needs: Needs::Dance,
    asks: "A call, and the call of each gentle version, has at most four words.",
    why: "Half of the six-year-olds need four seconds for four words; more is a sentence, and a sentence is not \
          read while moving.",
    source: "four words from Hasbrouck and Tindal 2017 (60 words a minute in grade 1); the limit is our decision",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let long = |words: &str| Some(count_words(words)).filter(|&words| words > MOST_WORDS);
    let mut findings: Vec<Finding> = Vec::new();
    for step in &scene.steps {
        if let Some(words) = long(step.words) {
            findings.push(RULE.at_cue(
                step,
                format!("'{}' has {words} words; {MOST_WORDS} can be read at a glance.", step.named()),
                "Say it in four words or fewer.",
            ));
        }
    }
    for (entry, step) in scene.moves_used() {
        for (version, gentle) in [("seated", &entry.seated), ("low-impact", &entry.low_impact)] {
            if let Some(words) = long(&gentle.words) {
                findings.push(RULE.at_cue(
                    step,
                    format!(
                        "The {version} version of '{}' has {words} words; {MOST_WORDS} can be read at a glance.",
                        entry.words
                    ),
                    "Say it in four words or fewer.",
                ));
            }
        }
    }
    findings
}

#[cfg(test)]
mod tests {
    use crate::check::sketch::{dance, found, places};

    #[test]
    fn four_words_pass_and_five_do_not() {
        let dance = dance()
            .cue(0.0, 8.0, "march")
            .saying("turn around very slowly")
            .cue(8.0, 8.0, "march")
            .saying("turn around very, very slowly");
        assert_eq!(places(&found("too-many-words", &dance)), [8.0]);
    }

    #[test]
    fn gentle_versions_are_read_too() {
        let dance = dance()
            .cue(0.0, 8.0, "march")
            .with("march", |entry| entry.seated.words = "march with both feet sitting".into());
        assert_eq!(places(&found("too-many-words", &dance)), [0.0]);
    }
}
