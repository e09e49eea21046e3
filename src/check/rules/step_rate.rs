//! Steps faster or slower than children's legs.

use crate::check::scene::Scene;
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::dance::{Move, StepKind};

pub(in crate::check) const RULE: Rule = Rule {
    id: "step-rate",
    name: "Steps too fast or too slow for the body",
    severity: Severity::Warning,
    needs: Needs::Beats,
    asks: "Steps a minute stay where the kind of step can be done: walking up to 136, marching 100 to 126 (or slow, 60 \
           to 65), running 150 to 210, jumping up to 150.",
    why: "Between 136 and 161 steps a minute, people of 6 to 20 years begin to run, so a quicker walk turns into one. A \
          run below 150 is a walk. Jumps faster than 150 a minute land hard: every second beat is enough. \
          Claps, turns and side steps have no published limit and are left to the move book's own range.",
    source: "walk: Journal of Sports Sciences 2021 (136 to 161 a minute, 6 to 20 years); run: Schepens et al. 1998, range \
             ours; march: drill practice 112 to 120 and 60 to 65, with 4 either way, widened for children by us; jump: \
             hopping studied at 80 to 200 a minute (Journal of Experimental Biology 2017), limit ours",
    look,
};

/// Steps a minute that a kind of step allows, as bands; `None` when nothing published limits it.
fn bands(kind: StepKind) -> Option<&'static [(f64, f64)]> {
    match kind {
        StepKind::Walk => Some(&[(0.0, 136.0)]),
        // 100 to 126 and 60 to 65, with the drill's tolerance of 4.
        StepKind::March => Some(&[(56.0, 69.0), (96.0, 130.0)]),
        StepKind::Run => Some(&[(150.0, 210.0)]),
        StepKind::Jump => Some(&[(0.0, 150.0)]),
        StepKind::Freeze | StepKind::Still | StepKind::BodySound | StepKind::Turn | StepKind::Side => None,
    }
}

fn name(kind: StepKind) -> &'static str {
    match kind {
        StepKind::Walk => "walking",
        StepKind::March => "marching",
        StepKind::Run => "running",
        StepKind::Jump => "jumping",
        StepKind::Turn => "turning",
        StepKind::Side => "side steps",
        StepKind::BodySound => "body sounds",
        StepKind::Still => "moving on the spot",
        StepKind::Freeze => "a freeze",
    }
}

/// The steps a minute, counted in whole steps, when they lie outside every band.
fn outside(entry: &Move, rate: f64) -> Option<(f64, f64, f64)> {
    let bands = bands(entry.step)?;
    let rate = rate.round();
    let inside = bands.iter().any(|&(low, high)| (low..=high).contains(&rate));
    let distance = |&(low, high): &(f64, f64)| (low - rate).max(rate - high);
    let nearest = bands.iter().min_by(|a, b| distance(a).total_cmp(&distance(b)))?;
    (!inside && rate.is_finite()).then_some((rate, nearest.0, nearest.1))
}

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    for step in &scene.steps {
        let Some(entry) = step.movement.filter(|entry| entry.steps_per_count > 0.0) else { continue };
        let mut tempi: Vec<f64> = scene.tempi_under(step).iter().map(|tempo| tempo.0).collect();
        if tempi.is_empty() {
            continue;
        }
        // The median: a few quick counts at the end are carried by the swing.
        tempi.sort_by(f64::total_cmp);
        let rate = tempi[tempi.len() / 2] * entry.steps_per_count;
        let Some((rate, low, high)) = outside(entry, rate) else { continue };
        let kind = name(entry.step);
        let unit = if entry.step == StepKind::Jump { "jumps" } else { "steps" };
        let (limit, remedy) = match (rate > high, entry.step) {
            (true, StepKind::Jump) => {
                (format!("{kind} lands softly up to {high:.0}"), "Jump on every second count only.")
            }
            (true, StepKind::Walk) => {
                (format!("above {high:.0}, {kind} turns into running"), "Step on every second count, or run.")
            }
            (true, _) => (
                format!("{kind} works up to {high:.0}"),
                "Step on every second count, or choose a calmer move.",
            ),
            (false, StepKind::Run) => {
                (format!("{kind} needs {low:.0} or more"), "Run twice as fast, or walk.")
            }
            (false, _) => {
                (format!("{kind} needs {low:.0} or more"), "Step twice as fast, or choose a calmer move.")
            }
        };
        findings.push(RULE.at_cue(
            step,
            format!("'{}' makes {rate:.0} {unit} a minute here; {limit}.", step.named()),
            remedy,
        ));
    }
    findings
}

#[cfg(test)]
mod tests {
    use crate::check::sketch::{dance_at, found, places};

    /// Whether a kind of step on every beat is reported at a tempo.
    fn fires(id: &str, bpm: f64) -> bool {
        !found("step-rate", &dance_at(bpm, 64).cue(16.0, 8.0, id)).is_empty()
    }

    /// The published limits: reference values, bodies and tempo.
    #[test]
    fn each_kind_of_step_has_its_published_limits() {
        for (id, inside, outside) in [
            ("walk", [60.0, 136.0], [138.0, 160.0]),
            ("march", [100.0, 126.0], [90.0, 132.0]),
            ("march", [60.0, 65.0], [50.0, 75.0]),
            ("run", [150.0, 210.0], [140.0, 216.0]),
            ("jump", [100.0, 150.0], [152.0, 168.0]),
        ] {
            assert!(inside.iter().all(|&bpm| !fires(id, bpm)), "{id} within {inside:?}");
            assert!(outside.iter().all(|&bpm| fires(id, bpm)), "{id} beyond {outside:?}");
        }
        assert!(!fires("clap", 180.0) && !fires("freeze", 180.0));
    }

    /// Reference signal T15: a jump on every beat at 168 BPM for 32 counts is above 150 a minute.
    #[test]
    fn jumping_on_every_beat_at_168_is_too_fast() {
        let findings = found("step-rate", &dance_at(168.0, 64).cue(0.0, 32.0, "jump"));
        assert_eq!(places(&findings), [0.0]);
        assert_eq!(
            findings[0].message,
            "'jump' makes 168 jumps a minute here; jumping lands softly up to 150."
        );
        assert_eq!(findings[0].remedy, "Jump on every second count only.");
    }

    #[test]
    fn half_as_many_steps_bring_a_fast_beat_into_reach() {
        let dance =
            dance_at(168.0, 64).cue(0.0, 16.0, "jump").with("jump", |entry| entry.steps_per_count = 0.5);
        assert!(found("step-rate", &dance).is_empty());
    }
}
