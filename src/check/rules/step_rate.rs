//! Steps faster or slower than children's legs.

use crate::check::replacing::replaced;
use crate::check::scene::{Scene, Step};
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::dance::{Move, StepKind};

pub(in crate::check) const RULE: Rule = Rule {
    id: "step-rate",
    name: "Steps too fast or too slow for the body",
    severity: Severity::Warning,
    needs: Needs::Beats,
    asks: "Steps a minute stay where the kind of step can be done: walking up to 155 (8 to 11 years: 140; older: 136), \
           marching 100 to 126 (or slow, 60 to 65), running 150 to 210, jumping up to 150.",
    why: "Between 136 and 161 steps a minute, people of 6 to 20 years begin to run, so a quicker walk turns into one; short \
          legs step more often at the same pace, so small children still walk where adults run. A run below 150 is a walk. Jumps faster than 150 a minute land hard: every second beat is enough. \
          Claps, turns and side steps have no published limit and are left to the move book's own range.",
    source: "walk: Journal of Sports Sciences 2021 (136 to 161 a minute, 6 to 20 years), limits by age ours; run: Schepens et al. 1998, range \
             ours; march: drill practice 112 to 120 and 60 to 65, with 4 either way, widened for children by us; jump: \
             hopping studied at 80 to 200 a minute (Journal of Experimental Biology 2017), limit ours",
    look,
};

/// Steps a minute that a kind of step allows at an age, as bands; `None` when nothing published limits it.
fn bands(kind: StepKind, age: u8) -> Option<&'static [(f64, f64)]> {
    match (kind, age) {
        (StepKind::Walk, 0..=7) => Some(&[(0.0, 155.0)]),
        (StepKind::Walk, 8..=11) => Some(&[(0.0, 140.0)]),
        (StepKind::Walk, _) => Some(&[(0.0, 136.0)]),
        // 100 to 126 and 60 to 65, with the drill's tolerance of 4.
        (StepKind::March, _) => Some(&[(56.0, 69.0), (96.0, 130.0)]),
        (StepKind::Run, _) => Some(&[(150.0, 210.0)]),
        (StepKind::Jump, _) => Some(&[(0.0, 150.0)]),
        (StepKind::Freeze | StepKind::Still | StepKind::BodySound | StepKind::Turn | StepKind::Side, _) => {
            None
        }
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

/// The steps a minute that a move makes in a step's place, counted in whole steps, when they lie outside every band of its
/// kind, and the nearest band.
fn outside(scene: &Scene<'_>, step: &Step<'_>, entry: &Move) -> Option<(f64, f64, f64)> {
    let bands = bands(entry.step, scene.dance.profile.age).filter(|_| entry.steps_per_count > 0.0)?;
    let mut tempi: Vec<f64> = scene.tempi_under(step).iter().map(|tempo| tempo.0).collect();
    // The median: a few quick counts at the end are carried by the swing.
    tempi.sort_by(f64::total_cmp);
    let rate = (tempi.get(tempi.len() / 2)? * entry.steps_per_count).round();
    let inside = bands.iter().any(|&(low, high)| (low..=high).contains(&rate));
    let distance = |&(low, high): &(f64, f64)| (low - rate).max(rate - high);
    let nearest = bands.iter().min_by(|a, b| distance(a).total_cmp(&distance(b)))?;
    (!inside && rate.is_finite()).then_some((rate, nearest.0, nearest.1))
}

/// Whether legs can do a move at the tempo of a step's place.
pub(super) fn fits(scene: &Scene<'_>, step: &Step<'_>, entry: &Move) -> bool {
    outside(scene, step, entry).is_none()
}

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    for step in &scene.steps {
        let Some(entry) = step.movement else { continue };
        let Some((rate, low, high)) = outside(scene, step, entry) else { continue };
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
        let message = format!("'{}' makes {rate:.0} {unit} a minute here; {limit}.", step.named());
        let finding = RULE.at_cue(step, message, remedy);
        findings.push(replaced(scene, step, finding, |entry| fits(scene, step, entry)));
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
            ("walk", [60.0, 155.0], [157.0, 170.0]),
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

    /// Children of 7 walk freely at about 144 steps a minute (Sutherland et al. 1980, 1988), which is a run for adults.
    #[test]
    fn small_legs_walk_where_long_ones_run() {
        let at =
            |age, bpm| !found("step-rate", &dance_at(bpm, 64).aged(age).cue(16.0, 8.0, "walk")).is_empty();
        assert_eq!([6, 7, 8, 11, 12, 40].map(|age| at(age, 144.0)), [false, false, true, true, true, true]);
        assert_eq!([7, 8, 11, 12].map(|age| at(age, 138.0)), [false, false, false, true]);
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
        assert!(findings[0].remedy.starts_with("Jump on every second count only."));
    }

    #[test]
    fn half_as_many_steps_bring_a_fast_beat_into_reach() {
        let dance =
            dance_at(168.0, 64).cue(0.0, 16.0, "jump").with("jump", |entry| entry.steps_per_count = 0.5);
        assert!(found("step-rate", &dance).is_empty());
    }
}
