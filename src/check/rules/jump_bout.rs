//! Jumping without a rest.

use crate::check::replacing::replaced;
use crate::check::scene::{Scene, Step};
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::check::wording::counts;
use crate::dance::{Move, StepKind};
use crate::units::{Beat, Counts};

/// Common practice, no source: 8 to 16 jumps, then as much time at low impact.
const MOST_JUMPS: f64 = 16.0;

pub(in crate::check) const RULE: Rule = Rule {
    id: "jump-bout",
    name: "Too many jumps in a row",
    severity: Severity::Warning,
    needs: Needs::Dance,
    asks: "After at most sixteen jumps comes at least as much time without jumping or running.",
    why: "Landing is hard work for growing joints, on hard floors above all. A rest shorter than the jumping before it \
          does not end the bout: the jumps after it are counted on. Running is no rest.",
    source: "common practice, no source",
    look,
};

/// Jumps that have not been rested from.
struct Bout<'s, 'a> {
    /// Where it began.
    first: &'s Step<'a>,
    jumps: f64,
    /// How long was jumped.
    counts: f64,
    /// How long was rested since the last jump.
    rested: f64,
}

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    let mut bout: Option<Bout<'_, '_>> = None;
    let mut until: Option<Beat> = None;
    let mut finish = |bout: Option<Bout<'_, '_>>| {
        if let Some(bout) = bout.filter(|bout| bout.jumps > MOST_JUMPS) {
            let finding = RULE.at_cue(
                bout.first,
                format!(
                    "{:.0} jumps begin here without an equal rest ({} of jumping).",
                    bout.jumps,
                    counts(Counts(bout.counts))
                ),
                format!("After {MOST_JUMPS:.0} jumps, give as many counts without jumping or running."),
            );
            let calm = |entry: &Move| !matches!(entry.step, StepKind::Jump | StepKind::Run);
            findings.push(replaced(scene, bout.first, finding, calm));
        }
    };
    for step in &scene.steps {
        let kind = step.movement.map(|entry| entry.step);
        let gap = until.map_or(0.0, |until| step.cue.at.since(until).0.max(0.0));
        if let Some(open) = &mut bout {
            open.rested += gap;
        }
        if kind == Some(StepKind::Jump) {
            if bout.as_ref().is_some_and(|open| open.rested >= open.counts) {
                finish(bout.take());
            }
            let per_count = step.movement.map_or(0.0, |entry| entry.steps_per_count.max(0.0));
            let open = bout.get_or_insert(Bout { first: step, jumps: 0.0, counts: 0.0, rested: 0.0 });
            open.jumps += step.lasts().0 * per_count;
            open.counts += step.lasts().0;
            open.rested = 0.0;
        } else if kind != Some(StepKind::Run)
            && let Some(open) = &mut bout
        {
            open.rested += step.lasts().0;
        }
        until = Some(step.until);
    }
    finish(bout);
    findings
}

#[cfg(test)]
mod tests {
    use crate::check::sketch::{dance, dance_at, found, places};
    use crate::check::types::Fix;

    /// Reference signal T15: 32 jumps in a row are more than 16.
    #[test]
    fn thirty_two_jumps_in_a_row_are_too_many() {
        let findings = found("jump-bout", &dance_at(168.0, 64).cue(0.0, 32.0, "jump"));
        assert_eq!(places(&findings), [0.0]);
        assert_eq!(findings[0].message, "32 jumps begin here without an equal rest (32 counts of jumping).");
        assert!(matches!(findings[0].fix, Some(Fix::ReplaceMove { cue: 0, .. })), "{findings:?}");
    }

    #[test]
    fn sixteen_jumps_and_as_long_a_rest_may_be_repeated() {
        let dance = dance()
            .cue(0.0, 16.0, "jump")
            .cue(16.0, 16.0, "sway")
            .cue(32.0, 16.0, "jump")
            .cue(48.0, 16.0, "walk");
        assert!(found("jump-bout", &dance).is_empty());
    }

    #[test]
    fn a_short_rest_or_a_run_does_not_end_a_bout() {
        for between in ["sway", "run"] {
            let rest = if between == "run" { 16.0 } else { 4.0 };
            let dance = dance().cue(0.0, 12.0, "jump").cue(12.0, rest, between).cue(12.0 + rest, 8.0, "jump");
            assert_eq!(places(&found("jump-bout", &dance)), [0.0], "{between}");
        }
    }

    #[test]
    fn a_gap_without_a_cue_is_a_rest() {
        assert!(found("jump-bout", &dance().cue(0.0, 12.0, "jump").cue(24.0, 12.0, "jump")).is_empty());
    }

    #[test]
    fn jumps_on_every_second_count_are_half_as_many() {
        let dance = dance().cue(0.0, 32.0, "jump").with("jump", |entry| entry.steps_per_count = 0.5);
        assert!(found("jump-bout", &dance).is_empty());
    }
}
