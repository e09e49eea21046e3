//! Turns on the dance's counts, and how far the nearest cue is from each.

use super::scene::{Scene, Step};
use super::types::Landing;
use crate::dance::reading::SHORTEST_SHOWN;
use crate::dance::{MoveId, StepKind};
use crate::listening::{Turn, TurnKind};
use crate::units::{Beat, Counts, Seconds};

/// A cue within this many counts meets a turn: the figure that the report states. Our decision.
pub(super) const MET: Counts = Counts(1.0);

/// Distances this close to a limit are at it. Our decision: 25 ms at 120 BPM, less than any turn is heard to.
const SLACK: Counts = Counts(0.05);

/// A sudden turn, a rest or a fermata is seen to be missed from here on. Our decision: less than a whole count,
/// because turns are heard to 0.2 s (reference signal T7), half a count at 150 BPM.
const PUNCTUAL: Counts = Counts(0.75);

/// The start of a gradual change is heard to one second (reference signal T6), so no cue is called late within it.
const GRADUAL: Seconds = Seconds(1.0);

/// A cue "a beat or two" off is meant for this turn; further away it is not. Our decision.
const NEARBY: Counts = Counts(2.5);

/// A freeze this close to a rest is meant for it. Our decision: one bar of four.
const FREEZE_NEARBY: Counts = Counts(4.0);

/// Turns less sure than this are not asked for. Listening gives a half to the smallest change that counts on a sure beat
/// (`docs/turns.md`), so what lies below is smaller than that or stands on a doubtful beat. Our decision.
const SURE_ENOUGH: f32 = 0.5;

/// A turn that a dance should show, on the dance's beats.
#[derive(Debug, Clone, Copy)]
pub(super) struct Shown {
    /// What changes.
    pub(super) kind: TurnKind,
    /// Where it begins.
    pub(super) at: Beat,
    /// How long it goes on; nothing for a sudden change.
    pub(super) lasts: Counts,
    /// The nearest step, as an index into the scene's steps, and how many counts later than the turn it begins.
    pub(super) nearest: Option<(usize, Counts)>,
}

/// How a turn is met.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Meeting {
    /// A cue begins with it.
    Met,
    /// A step (index into the scene's steps) begins some counts later, or earlier when negative.
    Nearly(usize, Counts),
    /// No cue is near.
    Missed,
}

/// The turns of the recording that lie in the grid and are sure enough to be asked for.
pub(super) fn shown(scene: &Scene<'_>) -> Vec<Shown> {
    let grid = &scene.dance.grid;
    let Some(heard) = scene.heard.filter(|_| !grid.is_empty()) else { return Vec::new() };
    let place = |turn: &Turn| {
        let at = grid.beat_at(turn.start);
        let nearest = scene
            .steps
            .iter()
            .enumerate()
            .map(|(place, step)| (place, step.cue.at.since(at)))
            .min_by(|a, b| a.1.0.abs().total_cmp(&b.1.0.abs()));
        let lasts = grid.beat_at(turn.end).since(at);
        Shown { kind: turn.kind, at, lasts, nearest }
    };
    heard
        .turns
        .iter()
        .filter(|turn| turn.start.0.is_finite() && turn.sureness.0 >= SURE_ENOUGH)
        .map(place)
        // A change before the first beat or under the last one leaves nothing to dance.
        .filter(|turn| turn.at.0 >= -MET.0 && turn.at.0 < grid.end().0 - MET.0)
        .collect()
}

/// Its name in a sentence, as musicians say it.
pub fn name(kind: TurnKind) -> &'static str {
    match kind {
        TurnKind::Crescendo => "crescendo",
        TurnKind::Diminuendo => "diminuendo",
        TurnKind::SubitoLoud => "subito forte",
        TurnKind::SubitoSoft => "subito piano",
        TurnKind::Accelerando => "accelerando",
        TurnKind::Ritardando => "ritardando",
        TurnKind::SuddenlyFaster => "sudden quickening",
        TurnKind::SuddenlySlower => "sudden slowing",
        TurnKind::ATempo => "return to the tempo",
        TurnKind::Rest => "rest",
        TurnKind::Fermata => "fermata",
    }
}

/// How a turn is met by the cue nearest to it.
pub(super) fn meeting(scene: &Scene<'_>, turn: &Shown) -> Meeting {
    let Some((place, off)) = turn.nearest else { return Meeting::Missed };
    let distance = off.0.abs();
    let gradual = matches!(
        turn.kind,
        TurnKind::Crescendo | TurnKind::Diminuendo | TurnKind::Accelerando | TurnKind::Ritardando
    );
    let punctual = if gradual {
        let late = scene.seconds(turn.at.plus(off)).since(scene.seconds(turn.at));
        distance <= MET.0 + SLACK.0 || late.0.abs() <= GRADUAL.0
    } else {
        distance <= PUNCTUAL.0
    };
    let start = scene.steps[place].cue.at;
    // A cue that belongs to another turn should stay there.
    let taken = scene.turns.iter().any(|other| start.since(other.at).0.abs() < distance - 1e-6);
    match () {
        () if punctual => Meeting::Met,
        () if distance <= NEARBY.0 && !taken => Meeting::Nearly(place, off),
        () if distance <= MET.0 + SLACK.0 => Meeting::Met,
        () => Meeting::Missed,
    }
}

/// The freeze that was meant for a rest and is off it, with how many counts later it begins.
///
/// `None` when a freeze begins with the rest, when none is near, when the nearest is nearer to another rest, or when the rest
/// comes so near the last beat that no freeze could begin with it and be seen: the last pose begins before it then.
pub(super) fn stray_freeze<'s, 'a>(scene: &'s Scene<'a>, turn: &Shown) -> Option<(&'s Step<'a>, Counts)> {
    let grid = &scene.dance.grid;
    let left = grid.seconds_at(grid.end()).since(scene.seconds(turn.at));
    if turn.kind != TurnKind::Rest || left.0 < SHORTEST_SHOWN.0 {
        return None;
    }
    let (step, off) = freezes(scene)
        .map(|step| (step, step.cue.at.since(turn.at)))
        .min_by(|a, b| a.1.0.abs().total_cmp(&b.1.0.abs()))?;
    let distance = off.0.abs();
    let mut rests = scene.turns.iter().filter(|other| other.kind == TurnKind::Rest);
    let taken = rests.any(|other| step.cue.at.since(other.at).0.abs() < distance - 1e-6);
    (distance > PUNCTUAL.0 && distance <= FREEZE_NEARBY.0 && !taken).then_some((step, off))
}

/// Whether the class stands still already when a turn begins, so that a rest or a fermata is shown without a new cue.
pub(super) fn frozen(scene: &Scene<'_>, turn: &Shown) -> bool {
    freezes(scene).any(|step| step.cue.at.0 <= turn.at.0 + PUNCTUAL.0 && turn.at.0 < step.until.0)
}

fn freezes<'s, 'a>(scene: &'s Scene<'a>) -> impl Iterator<Item = &'s Step<'a>> {
    scene.steps.iter().filter(|step| step.movement.is_some_and(|entry| entry.step == StepKind::Freeze))
}

/// The move of the book that is stillness.
const FREEZE: &str = "freeze";

/// Freezes that would show a rest: as long as it, or longer where that is too short to be read and answered.
pub(super) fn freezes_for(turn: &Shown) -> [(MoveId, Counts); 5] {
    let long = turn.lasts.0.ceil().max(2.0);
    [0.0, 1.0, 2.0, 4.0, 6.0].map(|more| (MoveId(FREEZE.into()), Counts(long + more)))
}

/// Each turn with the cue nearest to it.
pub(super) fn landings(scene: &Scene<'_>) -> Vec<Landing> {
    let landing = |turn: &Shown| Landing {
        kind: turn.kind,
        at: turn.at,
        cue: turn.nearest.map(|(place, _)| scene.steps[place].index),
        off: turn.nearest.map(|(_, off)| off),
        met: turn.nearest.is_some_and(|(_, off)| off.0.abs() <= MET.0 + SLACK.0),
    };
    scene.turns.iter().map(landing).collect()
}

/// Median distance from a turn to its nearest cue; `None` without turns or cues.
pub(super) fn median_distance(landings: &[Landing]) -> Option<Counts> {
    let mut distances: Vec<f64> =
        landings.iter().filter_map(|landing| landing.off).map(|off| off.0.abs()).collect();
    distances.sort_by(f64::total_cmp);
    let half = distances.len() / 2;
    match distances.len() {
        0 => None,
        n if n % 2 == 1 => Some(Counts(distances[half])),
        _ => Some(Counts(0.5 * (distances[half - 1] + distances[half]))),
    }
}
