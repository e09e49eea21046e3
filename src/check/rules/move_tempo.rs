//! Moves at a tempo that their makers did not mean.

use crate::check::replacing::replaced;
use crate::check::scene::{Scene, Step};
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::dance::Move;
use crate::units::Bpm;

/// Our decision, as for tempo words: three beats a minute beyond a limit are no other tempo.
const TOLERANCE: Bpm = Bpm(3.0);

/// Fewer counts than this (or than half the move) outside the range are a passing ritardando. Our decision.
const PASSING: usize = 4;

pub(in crate::check) const RULE: Rule = Rule {
    id: "move-tempo",
    name: "Tempo outside the move's range",
    severity: Severity::Warning,
    needs: Needs::Beats,
    asks: "The music under a move is neither slower nor faster than the move book says the move can be done.",
    why: "Every move has tempi at which it looks and feels right. A few counts outside, as in a ritardando, are no fault: \
          four counts or half the move must lie outside.",
    source: "the move book's ranges; three beats a minute of tolerance are our decision",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    for step in &scene.steps {
        let Some(entry) = step.movement else { continue };
        let Some((reached, fast)) = outside(scene.tempi_under(step), entry) else { continue };
        let remedy = if fast {
            "Choose a calmer move, or the same one at half speed."
        } else {
            "Choose a livelier move, or the same one at double speed."
        };
        let message = format!(
            "'{}' works at {:.0} to {:.0} counts a minute; here they reach {reached:.0}.",
            step.named(),
            entry.tempo.slowest.0,
            entry.tempo.fastest.0
        );
        let finding = RULE.at_cue(step, message, remedy);
        findings.push(replaced(scene, step, finding, |entry| fits(scene, step, entry)));
    }
    findings
}

/// The tempo furthest outside a move's range, and whether it is above, when enough counts lie outside.
fn outside(tempi: &[Bpm], entry: &Move) -> Option<(f64, bool)> {
    let enough = PASSING.min(tempi.len().div_ceil(2));
    let (mut slow, mut fast) = (0, 0);
    let (mut least, mut most) = (f64::INFINITY, f64::NEG_INFINITY);
    for tempo in tempi {
        slow += usize::from(tempo.0 < entry.tempo.slowest.0 - TOLERANCE.0);
        fast += usize::from(tempo.0 > entry.tempo.fastest.0 + TOLERANCE.0);
        least = least.min(tempo.0);
        most = most.max(tempo.0);
    }
    if enough == 0 || slow.max(fast) < enough {
        return None;
    }
    Some(if fast >= slow { (most, true) } else { (least, false) })
}

/// Whether the tempo in a step's place is one at which a move works.
pub(super) fn fits(scene: &Scene<'_>, step: &Step<'_>, entry: &Move) -> bool {
    outside(scene.tempi_under(step), entry).is_none()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::sketch::{dance_at, found, places};

    #[test]
    fn the_move_books_range_is_kept_with_three_beats_a_minute_to_spare() {
        let at = |bpm| {
            let dance = dance_at(bpm, 64).cue(16.0, 8.0, "march").with("march", |entry| {
                entry.tempo.slowest = Bpm(100.0);
                entry.tempo.fastest = Bpm(126.0);
            });
            found("move-tempo", &dance)
        };
        assert!(at(97.5).is_empty());
        assert!(at(128.5).is_empty());
        assert_eq!(places(&at(96.0)), [16.0]);
        assert_eq!(at(140.0)[0].message, "'march' works at 100 to 126 counts a minute; here they reach 140.");
    }
}
