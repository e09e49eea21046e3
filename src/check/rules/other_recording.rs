//! A recording of another length.

use crate::check::scene::Scene;
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::units::Seconds;

/// Our decision: half a second is half a count at 60 BPM. Whether samples are the same is told by their hash, elsewhere.
const SAME_LENGTH: Seconds = Seconds(0.5);

pub(in crate::check) const RULE: Rule = Rule {
    id: "other-recording",
    name: "Another recording",
    severity: Severity::Problem,
    needs: Needs::Recording,
    asks: "The recording is as long as the one the dance was made for.",
    why: "Another performance or transfer has other times; every cue would be off.",
    source: "our decision",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let Some(heard) = scene.heard else { return Vec::new() };
    let made_for = scene.dance.recording.length();
    // A dance that does not say how long its recording is cannot be compared.
    if made_for.0 <= 0.0 || heard.length.since(made_for).0.abs() <= SAME_LENGTH.0 {
        return Vec::new();
    }
    vec![RULE.about_dance(
        format!("The recording lasts {}, but the dance was made for one of {made_for}.", heard.length),
        "Find the recording it was made for, or carry the dance across to this one.",
    )]
}

#[cfg(test)]
mod tests {
    use crate::check::sketch::{dance, found_in, heard};
    use crate::units::Seconds;

    #[test]
    fn another_length_is_another_recording() {
        let dance = dance();
        let mut heard = heard(&dance);
        assert!(found_in("other-recording", &dance, &heard).is_empty());
        heard.length = Seconds(90.0);
        let findings = found_in("other-recording", &dance, &heard);
        assert_eq!(
            findings[0].message,
            "The recording lasts 1:30.0, but the dance was made for one of 0:33.0."
        );
    }
}
