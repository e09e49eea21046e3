//! One-sided moves that are not mirrored.

use crate::check::scene::Scene;
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::check::wording::counts;
use crate::dance::Side;
use crate::units::Counts;

/// Our decision: one eight more on one side is a phrase that ended; more is a habit.
const UNEVEN: Counts = Counts(8.0);

pub(in crate::check) const RULE: Rule = Rule {
    id: "one-sided",
    name: "Left and right uneven",
    severity: Severity::Note,
    needs: Needs::Dance,
    asks: "A one-sided move goes to both sides for about as long.",
    why: "Both legs and both arms should learn it, and none should tire. Uses without a side are not counted for \
          either, but are named when the move is used more than once.",
    source: "alternating sides: common practice, no source; eight counts: our decision",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (entry, _) in scene.moves_used().into_iter().filter(|(entry, _)| entry.one_sided) {
        let uses = || scene.steps.iter().filter(|step| step.cue.movement.as_ref() == Some(&entry.id));
        let total =
            |side| uses().filter(|step| step.cue.side == side).map(|step| step.lasts().0).sum::<f64>();
        let (left, right) = (total(Some(Side::Left)), total(Some(Side::Right)));
        let unsaid = uses().filter(|step| step.cue.side.is_none()).count();
        if (left - right).abs() > UNEVEN.0 {
            findings.push(RULE.about_dance(
                format!(
                    "'{}' goes left for {} and right for {}.",
                    entry.words,
                    counts(Counts(left)),
                    counts(Counts(right))
                ),
                "Mirror every second one.",
            ));
        } else if unsaid > 0 && uses().count() > 1 {
            findings.push(RULE.about_dance(
                format!(
                    "'{}' is one-sided, and {unsaid} of its {} cues do not say which side.",
                    entry.words,
                    uses().count()
                ),
                "Give each a side, left and right in turn.",
            ));
        }
    }
    findings
}

#[cfg(test)]
mod tests {
    use crate::check::sketch::{dance, found};
    use crate::dance::Side;

    #[test]
    fn sides_should_balance_to_an_eight() {
        let sided = |right: f64| {
            dance()
                .with("side", |entry| entry.one_sided = true)
                .cue(0.0, 16.0, "side")
                .to(Side::Left)
                .cue(16.0, right, "side")
                .to(Side::Right)
        };
        assert!(found("one-sided", &sided(8.0)).is_empty());
        let findings = found("one-sided", &sided(4.0));
        assert_eq!(findings[0].message, "'side' goes left for 16 counts and right for 4 counts.");
        assert!(found("one-sided", &sided(4.0).with("side", |entry| entry.one_sided = false)).is_empty());
    }

    #[test]
    fn a_repeated_one_sided_move_should_say_its_sides() {
        let one = dance().with("side", |entry| entry.one_sided = true).cue(0.0, 8.0, "side");
        assert!(found("one-sided", &one).is_empty());
        let findings = found("one-sided", &one.cue(8.0, 8.0, "side").to(Side::Left));
        assert_eq!(findings[0].message, "'side' is one-sided, and 1 of its 2 cues do not say which side.");
    }
}
