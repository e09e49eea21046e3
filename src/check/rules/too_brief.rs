//! Moves over before they are seen.

use crate::check::replacing::tried;
use crate::check::scene::Scene;
use crate::check::types::{Finding, Fix, Needs, Rule, Severity};
use crate::check::wording::{counts, seconds};
use crate::dance::reading::SHORTEST_SHOWN;
use crate::units::Counts;

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
            let finding = RULE.at_cue(
                step,
                format!("'{}' is shown for {} ({}).", step.named(), seconds(shown), counts(step.lasts())),
                format!("Let it last at least {}.", seconds(SHORTEST_SHOWN)),
            );
            let after = scene.seconds(step.cue.at).plus(SHORTEST_SHOWN);
            let least = scene.dance.grid.beat_at(after).since(step.cue.at);
            let longer =
                |more: f64| Fix::Last { cue: step.index, counts: Counts((least.0 - 1e-3).ceil() + more) };
            findings.push(tried(scene, finding, [0.0, 1.0, 2.0].map(longer)));
        }
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::sketch::{dance, found, places};

    /// At 120 BPM four counts are exactly two seconds.
    #[test]
    fn two_seconds_are_enough_and_less_is_not() {
        let dance = dance().cue(0.0, 4.0, "march").cue(4.0, 3.0, "clap").cue(8.0, 8.0, "sway");
        let findings = found("too-brief", &dance);
        assert_eq!(places(&findings), [4.0]);
        assert_eq!(findings[0].fix, Some(Fix::Last { cue: 1, counts: Counts(4.0) }), "there is room for it");
    }

    #[test]
    fn the_next_cue_cuts_a_move_short() {
        let dance = dance().cue(0.0, 8.0, "march").cue(2.0, 8.0, "clap");
        assert_eq!(places(&found("too-brief", &dance)), [0.0]);
    }
}
