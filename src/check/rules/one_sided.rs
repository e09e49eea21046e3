//! One-sided moves that are not mirrored, and legs that land more often than the other.

use crate::check::scene::{Scene, Step};
use crate::check::types::{Finding, Fix, Needs, Rule, Severity};
use crate::check::wording::{counts, number};
use crate::dance::{Move, Side, StepKind};
use crate::units::Counts;

/// Our decision: one eight more on one side is a phrase that ended; more is a habit.
const UNEVEN: f64 = 8.0;

/// Hops on one leg before the other takes over: the lower end of what both legs together should jump in a bout, since one
/// takes all of it. Common practice, no source.
const MOST_HOPS: f64 = 8.0;

pub(in crate::check) const RULE: Rule = Rule {
    id: "one-sided",
    name: "Left and right uneven",
    severity: Severity::Note,
    needs: Needs::Dance,
    asks: "A one-sided move goes to both sides for about as long, and each leg hops about as often, at most eight times \
           before the other takes over.",
    why: "Both legs and both arms should learn it, and none should tire. What lands is counted by hops, over all moves that \
          hop on one leg, the rest by counts. Uses without a side are not counted for either, but are named when the \
          move is used more than once, and hops without a side are taken to stay on the leg of the hops before.",
    source: "alternating sides, and eight hops: common practice, no source; eight counts: our decision",
    look,
};

/// How often a leg lands in a count of a move: never unless it hops to one side.
fn hops(entry: &Move) -> f64 {
    let hops = entry.one_sided && entry.step == StepKind::Jump && entry.steps_per_count.is_finite();
    if hops { entry.steps_per_count.max(0.0) } else { 0.0 }
}

fn hops_in(step: &Step<'_>) -> f64 {
    step.movement.map_or(0.0, hops) * step.lasts().0
}

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let mut findings: Vec<Finding> = legs(scene).into_iter().chain(in_a_row(scene)).collect();
    for (entry, _) in scene.moves_used().into_iter().filter(|(entry, _)| entry.one_sided) {
        let uses: Vec<&Step<'_>> =
            scene.steps.iter().filter(|step| step.cue.movement.as_ref() == Some(&entry.id)).collect();
        let unsaid = uses.iter().filter(|step| step.cue.side.is_none()).count();
        let uneven = if hops(entry) > 0.0 { None } else { uneven(&uses, |step| step.lasts().0) };
        if let Some((left, right, turned)) = uneven {
            let message = format!(
                "'{}' goes left for {} and right for {}.",
                entry.words,
                counts(Counts(left)),
                counts(Counts(right))
            );
            findings.push(mirrored(RULE.about_dance(message, "Mirror every second one."), turned));
        } else if unsaid > 0 && uses.len() > 1 {
            let message = format!(
                "'{}' is one-sided, and {unsaid} of its {} cues do not say which side.",
                entry.words,
                uses.len()
            );
            let first = uses.iter().find(|step| step.cue.side.is_none());
            let [left, right] = totals(&uses, |step| step.lasts().0);
            let side = if left > right { Side::Right } else { Side::Left };
            let finding = RULE.about_dance(message, "Give each a side, left and right in turn.");
            findings.push(match first {
                Some(step) => finding.mended_by(Fix::Side { cue: step.index, side }),
                None => finding,
            });
        }
    }
    findings
}

/// What is done to the left and to the right.
fn totals(uses: &[&Step<'_>], much: impl Fn(&Step<'_>) -> f64) -> [f64; 2] {
    [Side::Left, Side::Right].map(|side| {
        // Not of an empty sum: that is -0, and said so.
        uses.iter().filter(|step| step.cue.side == Some(side)).fold(0.0, |sum, step| sum + much(step))
    })
}

/// Left and right where they differ by more than an eight, and the use that makes them even when it goes the other way.
type Uneven<'s, 'a> = (f64, f64, Option<(&'s Step<'a>, Side)>);

fn uneven<'s, 'a>(uses: &[&'s Step<'a>], much: impl Fn(&Step<'_>) -> f64) -> Option<Uneven<'s, 'a>> {
    let [left, right] = totals(uses, &much);
    if (left - right).abs() <= UNEVEN {
        return None;
    }
    let (from, to) = if left > right { (Side::Left, Side::Right) } else { (Side::Right, Side::Left) };
    let over = (left - right).abs();
    let turned = uses
        .iter()
        .filter(|step| step.cue.side == Some(from))
        .min_by(|a, b| (over - 2.0 * much(a)).abs().total_cmp(&(over - 2.0 * much(b)).abs()))
        .filter(|step| (over - 2.0 * much(step)).abs() <= UNEVEN);
    Some((left, right, turned.map(|&step| (step, to))))
}

fn mirrored(finding: Finding, turned: Option<(&Step<'_>, Side)>) -> Finding {
    match turned {
        Some((step, side)) => finding.mended_by(Fix::Side { cue: step.index, side }),
        None => finding,
    }
}

/// Legs that land more often than the other over the whole dance.
fn legs(scene: &Scene<'_>) -> Option<Finding> {
    let uses: Vec<&Step<'_>> = scene.steps.iter().filter(|step| hops_in(step) > 0.0).collect();
    let (left, right, turned) = uneven(&uses, hops_in)?;
    let message = format!(
        "The left leg takes {} and the right {}.",
        number(left.round() as usize, "hop"),
        number(right.round() as usize, "hop")
    );
    Some(mirrored(RULE.about_dance(message, "Hop on the other leg every second time."), turned))
}

/// Hops on one leg that go on for too long.
fn in_a_row(scene: &Scene<'_>) -> Vec<Finding> {
    let same = |before: &Step<'_>, after: &Step<'_>| {
        let sides = (before.cue.side, after.cue.side);
        hops_in(before) > 0.0 && hops_in(after) > 0.0 && (sides.0 == sides.1 || sides.1.is_none())
    };
    let mut findings = Vec::new();
    for run in scene.runs(same) {
        let total = run.iter().fold(0.0, |sum, step| sum + hops_in(step));
        let Some(first) = run.first().filter(|_| total > MOST_HOPS) else { continue };
        let leg = match first.cue.side {
            Some(Side::Left) => "the left leg",
            Some(Side::Right) => "the right leg",
            None => "one leg",
        };
        let message = format!("{total:.0} hops in a row land on {leg} here.");
        let remedy = format!("Change legs after {MOST_HOPS:.0} hops.");
        findings.push(RULE.at_cue(first, message, remedy));
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::sketch::{dance, found, places};
    use crate::dance::Dance;

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

    /// The dance with `jump` as a hop on one leg.
    fn hopping(dance: Dance) -> Dance {
        dance.with("jump", |entry| entry.one_sided = true)
    }

    #[test]
    fn hops_are_counted_by_leg_over_all_moves_that_hop() {
        let dance = |per_count: f64| {
            let dance = dance()
                .cue(0.0, 8.0, "jump")
                .to(Side::Left)
                .cue(16.0, 8.0, "walk")
                .to(Side::Left)
                .cue(32.0, 4.0, "jump")
                .to(Side::Right);
            hopping(dance).with("walk", |entry| {
                entry.one_sided = true;
                entry.step = StepKind::Jump;
                entry.steps_per_count = per_count;
            })
        };
        // 8 + 4 hops left, 4 right: an eight more. 8 + 8 and 4: too many.
        assert!(found("one-sided", &dance(0.5)).is_empty());
        let findings = found("one-sided", &dance(1.0));
        assert_eq!(findings.len(), 1, "{findings:?}");
        assert_eq!(findings[0].message, "The left leg takes 16 hops and the right 4 hops.");
        assert_eq!(findings[0].fix, Some(Fix::Side { cue: 0, side: Side::Right }));
    }

    #[test]
    fn eight_hops_in_a_row_are_enough_for_a_leg() {
        let hops = |second: Side| {
            hopping(dance().cue(0.0, 6.0, "jump").to(Side::Left).cue(6.0, 6.0, "jump").to(second))
        };
        assert!(found("one-sided", &hops(Side::Right)).is_empty());
        let findings = found("one-sided", &hops(Side::Left));
        assert_eq!(places(&findings), [0.0]);
        let words: Vec<&str> = findings.iter().map(|finding| finding.message.as_str()).collect();
        assert_eq!(
            words,
            [
                "The left leg takes 12 hops and the right 0 hops.",
                "12 hops in a row land on the left leg here."
            ]
        );
        // A rest of a count or more between them, and jumps on both legs, are no row.
        let apart = dance().cue(0.0, 6.0, "jump").to(Side::Left).cue(8.0, 6.0, "jump").to(Side::Left);
        assert!(places(&found("one-sided", &hopping(apart))).is_empty());
        assert!(found("one-sided", &dance().cue(0.0, 12.0, "jump")).is_empty());
    }

    #[test]
    fn one_use_that_goes_the_other_way_is_offered_where_it_is_enough() {
        let sided = |first: f64| {
            let dance = dance().cue(0.0, first, "side").to(Side::Left).cue(32.0, 8.0, "side").to(Side::Left);
            found("one-sided", &dance.with("side", |entry| entry.one_sided = true)).remove(0).fix
        };
        assert_eq!(sided(8.0), Some(Fix::Side { cue: 0, side: Side::Right }));
        assert_eq!(sided(24.0), None, "neither 24 to 8 nor 8 to 24 is even");
    }
}
