//! A cue without a place or a length.

use crate::check::scene::{Scene, usable};
use crate::check::types::{Finding, Fix, Needs, Rule, Severity};

pub(in crate::check) const RULE: Rule = Rule {
    id: "unusable-cue",
    name: "Cue without a place or a length",
    severity: Severity::Problem,
    needs: Needs::Dance,
    asks: "Every cue begins on a count and lasts longer than nothing.",
    why: "A cue that lasts no counts, or whose position is no number, can never be shown. No other rule looks at it.",
    source: "our decision",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let unusable = scene.dance.cues.iter().enumerate().filter(|(_, cue)| !usable(cue));
    unusable
        .map(|(index, cue)| {
            let message = if cue.at.0.is_finite() {
                format!("The cue lasts {} counts.", cue.counts.0)
            } else {
                "The cue's position is not a number.".to_owned()
            };
            let finding = RULE.about_dance(message, "Give it a place and a length, or take it out.");
            Finding { at: cue.at.0.is_finite().then_some(cue.at), cue: Some(index), ..finding }
                .mended_by(Fix::Remove { cue: index })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use crate::check::sketch::{dance, found};

    #[test]
    fn a_cue_needs_a_place_and_a_length() {
        assert!(found("unusable-cue", &dance().cue(0.0, 8.0, "march")).is_empty());
        for (at, counts) in [(0.0, 0.0), (0.0, -4.0), (0.0, f64::NAN), (0.0, f64::INFINITY), (f64::NAN, 8.0)]
        {
            let findings = found("unusable-cue", &dance().cue(at, counts, "march"));
            assert_eq!(findings.len(), 1, "{at}, {counts}");
            assert_eq!(findings[0].cue, Some(0));
        }
    }
}
