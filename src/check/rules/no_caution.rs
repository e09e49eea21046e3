//! Moves that need a caution and have none.

use crate::check::scene::Scene;
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::dance::StepKind;

pub(in crate::check) const RULE: Rule = Rule {
    id: "no-caution",
    name: "Caution missing",
    severity: Severity::Warning,
    needs: Needs::Dance,
    asks: "Every move that jumps, runs or turns says what to watch for.",
    why: "Landing softly, room to run, changing direction when turning: the reminder belongs on the sheet, before the music \
          starts. Your school's own rules come first.",
    source: "afPE Safe Practice 2016 (landing, space); turning: common practice, no source",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (entry, step) in scene.moves_used() {
        let (doing, say) = match entry.step {
            StepKind::Jump => ("jumps", "Add one, such as landing softly with bent knees."),
            StepKind::Run => ("runs", "Add one, such as how much room is needed and which way round."),
            StepKind::Turn => ("turns", "Add one, such as changing direction and stopping when dizzy."),
            _ => continue,
        };
        if entry.caution.as_ref().is_none_or(|caution| caution.trim().is_empty()) {
            findings.push(RULE.at_cue(step, format!("'{}' {doing} and has no caution.", entry.words), say));
        }
    }
    findings
}

#[cfg(test)]
mod tests {
    use crate::check::sketch::{dance, found};

    #[test]
    fn jumping_running_and_turning_need_a_caution() {
        for (id, needed) in [("jump", 1), ("run", 1), ("turn", 1), ("march", 0)] {
            let dance = dance().cue(0.0, 8.0, id).cue(8.0, 8.0, id);
            assert!(found("no-caution", &dance).is_empty());
            let bare = dance.with(id, |entry| entry.caution = None);
            assert_eq!(found("no-caution", &bare).len(), needed, "{id}");
        }
    }
}
