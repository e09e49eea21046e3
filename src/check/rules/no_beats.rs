//! A grid without beats.

use crate::check::scene::Scene;
use crate::check::types::{Finding, Needs, Rule, Severity};

pub(in crate::check) const RULE: Rule = Rule {
    id: "no-beats",
    name: "No beats to pin moves to",
    severity: Severity::Problem,
    needs: Needs::Dance,
    asks: "The dance's grid has beats.",
    why: "Without beats no cue has a time. Rules about time and tempo are not looked at.",
    source: "our decision",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    if !scene.dance.grid.is_empty() {
        return Vec::new();
    }
    vec![RULE.about_dance(
        "The grid has no beats, so no cue has a time.".into(),
        "Tap along with the recording on the count sheet, or choose music with a beat.",
    )]
}

#[cfg(test)]
mod tests {
    use crate::check::sketch::{dance, found};
    use crate::grid::Grid;

    #[test]
    fn an_empty_grid_is_a_problem() {
        let mut dance = dance().cue(0.0, 8.0, "march");
        assert!(found("no-beats", &dance).is_empty());
        dance.grid = Grid::default();
        assert_eq!(found("no-beats", &dance).len(), 1);
        assert!(found("past-end", &dance).is_empty(), "rules about time keep silent");
    }
}
