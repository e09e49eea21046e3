//! Long stretches with nothing to do.

use crate::check::replacing::pinned;
use crate::check::scene::Scene;
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::check::wording::counts;
use crate::dance::MoveId;
use crate::units::{Beat, Counts};

/// The move of the book that asks for nothing but listening.
const LISTEN: &str = "listen";

/// Common practice, no source: two eights.
const LONGEST_GAP: Counts = Counts(16.0);

pub(in crate::check) const RULE: Rule = Rule {
    id: "gap",
    name: "Nothing to do",
    severity: Severity::Note,
    needs: Needs::Beats,
    asks: "No more than sixteen counts pass without a cue.",
    why: "Children without a task find one. If they should listen, say so in a cue.",
    source: "common practice, no source",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let end = scene.dance.grid.end();
    let starts = scene.steps.iter().map(|step| step.cue.at).chain([end]);
    let mut busy_until = Beat(0.0);
    let mut findings = Vec::new();
    for (place, start) in starts.enumerate() {
        let gap = Beat(start.0.min(end.0)).since(busy_until);
        if gap.0 > LONGEST_GAP.0 {
            let message = format!("For {} there is nothing to do.", counts(gap));
            let finding = RULE.at(busy_until, message, "Add a cue, if only to listen.");
            findings.push(pinned(scene, finding, busy_until, [(MoveId(LISTEN.into()), gap)]));
        }
        if let Some(step) = scene.steps.get(place) {
            busy_until = Beat(busy_until.0.max(step.cue.end().0));
        }
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::sketch::{dance, found, places};
    use crate::check::types::Fix;

    #[test]
    fn sixteen_counts_may_pass_and_seventeen_may_not() {
        let dance = dance().cue(16.0, 8.0, "march").cue(41.0, 8.0, "clap");
        let findings = found("gap", &dance);
        assert_eq!(places(&findings), [24.0]);
        assert_eq!(findings[0].message, "For 17 counts there is nothing to do.");
        let listen = Fix::Pin { at: Beat(24.0), counts: Counts(17.0), movement: MoveId("listen".into()) };
        assert_eq!(findings[0].fix, Some(listen));
    }

    #[test]
    fn a_dance_without_cues_is_one_gap() {
        assert_eq!(found("gap", &dance()).len(), 1);
    }
}
