//! A cue that names a move the dance does not hold.

use crate::check::scene::Scene;
use crate::check::types::{Finding, Needs, Rule, Severity};

pub(in crate::check) const RULE: Rule = Rule {
    id: "unknown-move",
    name: "Unknown move",
    severity: Severity::Problem,
    needs: Needs::Dance,
    asks: "Every move that a cue names is in the dance.",
    why: "Without the move there are no gentle versions and no caution to show, and the class would read its bare \
          identifier.",
    source: "our decision",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let unknown = scene.steps.iter().filter_map(|step| {
        let id = step.cue.movement.as_ref().filter(|_| step.movement.is_none())?;
        Some(RULE.at_cue(
            step,
            format!("The dance holds no move '{}'.", id.0),
            "Choose a move from the move book, or add this one to it.",
        ))
    });
    unknown.collect()
}

#[cfg(test)]
mod tests {
    use crate::check::sketch::{dance, found, places};

    #[test]
    fn a_move_that_the_dance_does_not_hold_is_reported() {
        let dance = dance().cue(0.0, 8.0, "march").cue(8.0, 8.0, "moonwalk");
        assert_eq!(places(&found("unknown-move", &dance)), [8.0]);
    }

    #[test]
    fn free_words_need_no_move() {
        let mut dance = dance().cue(0.0, 8.0, "moonwalk").saying("find a partner");
        dance.cues[0].movement = None;
        assert!(found("unknown-move", &dance).is_empty());
    }
}
