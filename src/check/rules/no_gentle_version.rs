//! Moves that not every child can join.

use crate::check::scene::Scene;
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::check::wording::list;

pub(in crate::check) const RULE: Rule = Rule {
    id: "no-gentle-version",
    name: "Gentle version missing",
    severity: Severity::Warning,
    needs: Needs::Dance,
    asks: "Every move used has a seated and a low-impact version, with words and how to do it.",
    why: "Some pupils cannot jump, run or stand. They dance the same counts with everyone, not at the edge.",
    source: "afPE Safe Practice 2016 (adaptations for pupils with additional needs); the two versions are our decision",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (entry, step) in scene.moves_used() {
        let missing: Vec<String> = [("seated", &entry.seated), ("low-impact", &entry.low_impact)]
            .into_iter()
            .filter(|(_, gentle)| gentle.words.trim().is_empty() || gentle.how.trim().is_empty())
            .map(|(version, _)| version.to_owned())
            .collect();
        if !missing.is_empty() {
            let versions = if missing.len() == 1 { "version" } else { "versions" };
            findings.push(RULE.at_cue(
                step,
                format!("'{}' has no {} {versions}.", entry.words, list(&missing)),
                "Say how to do it sitting and without jumping, in the same counts.",
            ));
        }
    }
    findings
}

#[cfg(test)]
mod tests {
    use crate::check::sketch::{dance, found};

    #[test]
    fn a_move_needs_both_gentle_versions_once() {
        let dance = dance().cue(0.0, 8.0, "march").cue(8.0, 8.0, "march");
        assert!(found("no-gentle-version", &dance).is_empty());
        let findings =
            found("no-gentle-version", &dance.with("march", |entry| entry.seated.how = "  ".into()));
        assert_eq!(findings.len(), 1);
        assert_eq!(findings[0].message, "'march' has no seated version.");
    }
}
