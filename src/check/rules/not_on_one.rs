//! Moves that begin inside a bar.

use crate::check::scene::Scene;
use crate::check::turns::MET;
use crate::check::types::{Finding, Fix, Needs, Rule, Severity};
use crate::units::Beat;

pub(in crate::check) const RULE: Rule = Rule {
    id: "not-on-one",
    name: "Move not on a bar's first beat",
    severity: Severity::Note,
    needs: Needs::Beats,
    asks: "A move begins on the first beat of a bar, or where the music turns.",
    why: "Dancers change on count one because they feel it coming. Where the music itself turns inside a bar, the turn \
          is heard and the cue belongs to it.",
    source: "contra calling and group exercise instruction: changes begin on count one",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let grid = &scene.dance.grid;
    if grid.bars().is_empty() {
        return Vec::new();
    }
    let mut findings = Vec::new();
    for step in scene.steps.iter().filter(|step| step.cue.at.is_whole() && step.cue.at.0 > -0.5) {
        let beat = step.cue.at.0.round() as usize;
        let one = grid.bars().binary_search(&beat).is_ok() || grid.phrases().iter().any(|p| p.start == beat);
        let turned = scene.turns.iter().any(|turn| turn.at.since(step.cue.at).0.abs() <= MET.0);
        // The very beginning and what lies outside the music have no bar to be measured by.
        if one || turned || beat >= grid.len() || beat < grid.bars()[0] {
            continue;
        }
        let after = grid.bars().partition_point(|&bar| bar < beat);
        let before = grid.bars()[after - 1];
        let nearest = match grid.bars().get(after) {
            Some(&next) if next - beat < beat - before => next,
            _ => before,
        };
        findings.push(
            RULE.at_cue(
                step,
                format!("'{}' begins on beat {} of a bar.", step.named(), beat - before + 1),
                "Move it to the bar's first beat, unless you hear a reason there.",
            )
            .mended_by(Fix::MoveTo { cue: step.index, to: Beat::from(nearest) }),
        );
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::sketch::{dance, found, found_in, heard, places};
    use crate::listening::TurnKind;

    #[test]
    fn a_move_inside_a_bar_is_noted() {
        let dance = dance().cue(0.0, 7.0, "march").cue(7.0, 9.0, "clap").cue(16.0, 8.0, "march");
        let findings = found("not-on-one", &dance);
        assert_eq!(places(&findings), [7.0]);
        assert_eq!(findings[0].fix, Some(Fix::MoveTo { cue: 1, to: Beat(8.0) }));
    }

    #[test]
    fn a_turn_inside_a_bar_excuses_its_cue() {
        let dance = dance().cue(0.0, 7.0, "march").cue(7.0, 9.0, "clap");
        assert!(found_in("not-on-one", &dance, &heard(&dance).turn(TurnKind::SubitoLoud, 7.0)).is_empty());
    }
}
