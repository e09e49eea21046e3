//! The recording is missing.

use crate::check::rules::RULES;
use crate::check::scene::Scene;
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::check::wording::number;

pub(in crate::check) const RULE: Rule = Rule {
    id: "not-heard",
    name: "Recording not heard",
    severity: Severity::Note,
    needs: Needs::Dance,
    asks: "The recording is there to be compared with.",
    why: "Whether moves meet the music's turns, loudness and rests cannot be told without it.",
    source: "our decision",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    if scene.heard.is_some() {
        return Vec::new();
    }
    let left_out = RULES.iter().filter(|rule| rule.needs.recording()).count();
    vec![RULE.about_dance(
        format!("The recording was not heard, so {} that need it were left out.", number(left_out, "rule")),
        "Put the recording back beside the dance, and check again.",
    )]
}

#[cfg(test)]
mod tests {
    use crate::check::check;
    use crate::check::sketch::{dance, found};

    #[test]
    fn a_missing_recording_is_said_once() {
        let dance = dance().cue(0.0, 8.0, "march");
        let report = check(&dance, None);
        assert_eq!(report.findings.iter().filter(|finding| finding.rule == "not-heard").count(), 1);
        assert_eq!((report.turns, report.median_distance), (0, None));
        assert!(found("not-heard", &dance).is_empty());
    }
}
