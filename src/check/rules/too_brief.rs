//! Moves over before they are seen.

use crate::check::scene::Scene;
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::check::wording::{counts, seconds};
use crate::dance::reading::SHORTEST_SHOWN;

pub(in crate::check) const RULE: Rule = Rule {
    id: "too-brief",
    name: "Move shown too briefly",
    severity: Severity::Warning,
    needs: Needs::Beats,
    asks: "Every move stays on the screen for at least two seconds.",
    why: "Words that go sooner are noticed but not read. A move ends where the next one begins.",
    source: "DCMP Captioning Key: two seconds at least for a caption",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    for step in &scene.steps {
        let shown = scene.seconds(step.until).since(scene.seconds(step.cue.at));
        // A move that is over as it begins is an overlap.
        if step.lasts().0 > 0.0 && shown.0 < SHORTEST_SHOWN.0 - 1e-4 {
            findings.push(RULE.at_cue(
                step,
                format!("'{}' is shown for {} ({}).", step.named(), seconds(shown), counts(step.lasts())),
                format!("Let it last at least {}.", seconds(SHORTEST_SHOWN)),
            ));
        }
    }
    findings
}

#[cfg(test)]
mod tests {
    use crate::check::sketch::{dance, found, places};

    /// At 120 BPM four counts are exactly two seconds.
    #[test]
    fn two_seconds_are_enough_and_less_is_not() {
        let dance = dance().cue(0.0, 4.0, "march").cue(4.0, 3.0, "clap").cue(8.0, 8.0, "sway");
        assert_eq!(places(&found("too-brief", &dance)), [4.0]);
    }

    #[test]
    fn the_next_cue_cuts_a_move_short() {
        let dance = dance().cue(0.0, 8.0, "march").cue(2.0, 8.0, "clap");
        assert_eq!(places(&found("too-brief", &dance)), [0.0]);
    }
}
