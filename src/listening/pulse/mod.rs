//! The pulse: deciding on beats, bars and phrases from the evidence and the teacher's anchors.
//!
//! [`decode`] is pure and quick, so that it can run again at every correction. It decides the beats first (search,
//! then placing), the bars on the beats, and the phrases on the bars.

mod pins;
mod place;
mod search;

use super::evidence::{Evidence, peak};
use super::form::{bars, phrases};
use super::types::{Metre, Pulse, SHORTEST, Sureness};
use crate::grid::{Anchor, Grid};
use crate::units::Seconds;
use search::{Constraints, STEP, Scores, Search};

/// Odds are tempered: neighbouring frames and repeated patterns are not independent witnesses.
const TEMPER: f32 = 0.5;
/// Added to the odds of a beat before tempering.
const BEAT_BIAS: f32 = 0.3;
/// No frame says more than this for or against a beat.
const BEAT_RANGE: (f32, f32) = (-4.0, 5.0);
/// Price of a tempo jump where nothing else changes, and at the most striking change of level and colour.
const JUMP_PRICE: (f32, f32) = (25.0, 4.0);
/// Change (dB) from which a jump grows cheaper, and at which it is cheapest.
const JUMP_NOVELTY: (f32, f32) = (6.0, 12.0);

/// The grid as heard, with how sure it is.
#[derive(Debug, Clone, PartialEq)]
pub struct HeardGrid {
    /// Whether there is a beat.
    pub pulse: Pulse,
    /// Beats, bars and phrases; empty unless the pulse is clear or unsure.
    pub grid: Grid,
    /// One entry a bar.
    pub sureness: Vec<Sureness>,
    /// Beats in a bar, by first beat.
    pub metres: Vec<Metre>,
}

impl HeardGrid {
    fn none(pulse: Pulse) -> Self {
        Self { pulse, grid: Grid::default(), sureness: Vec::new(), metres: Vec::new() }
    }
}

/// Decides on the grid. Every anchor inside the recording is honoured; others are passed over.
#[must_use]
pub fn decode(evidence: &Evidence, anchors: &[Anchor]) -> HeardGrid {
    let mut scores = scores(evidence);
    let steps = scores.beat.len();
    let pins = pins::pins(anchors, steps);
    if pins.is_empty() {
        if evidence.length.0 < SHORTEST.0 {
            return HeardGrid::none(Pulse::TooShort);
        }
        if evidence.silent {
            return HeardGrid::none(Pulse::Silent);
        }
    }
    let mut constraints = Constraints::none(steps);
    pins::constrain(&pins, &mut constraints, &mut scores.beat);
    let path = Search::new(&scores, &constraints).run();
    let placed = place::placed(evidence, &path, &pins);
    if placed.len() < 4 {
        return HeardGrid::none(Pulse::None);
    }
    let beats: Vec<Seconds> = placed.iter().map(|(_, at)| *at).collect();
    let ternary: Vec<bool> = placed.iter().map(|(step, _)| step.ternary).collect();
    let (bars, metres) = bars::find(evidence, &beats, &ternary, anchors);
    let phrases = phrases::find(evidence, &beats, &bars, anchors);
    let sureness = bars::sureness(evidence, &beats, &bars);
    // The parts are ascending by construction; an empty grid is the honest answer if that were ever untrue.
    let grid = Grid::new(beats, bars, phrases).unwrap_or_default();
    HeardGrid { pulse: Pulse::Clear, grid, sureness, metres }
}

/// The evidence as the search reads it.
fn scores(evidence: &Evidence) -> Scores {
    let likelihood = &evidence.likelihood;
    let tempered = |odds: f32| TEMPER * (odds + BEAT_BIAS).clamp(BEAT_RANGE.0, BEAT_RANGE.1);
    let beat: Vec<f32> = stepped(&likelihood.beat).map(tempered).collect();
    let sub = stepped(&likelihood.sub).map(|odds| TEMPER * odds).collect();
    let jump = stepped(&peak(&evidence.novelty, 30))
        .map(|novelty| {
            let share = (novelty - JUMP_NOVELTY.0) / (JUMP_NOVELTY.1 - JUMP_NOVELTY.0);
            JUMP_PRICE.0 + (JUMP_PRICE.1 - JUMP_PRICE.0) * share.clamp(0.0, 1.0)
        })
        .collect();
    let heard = |o: &&f32| **o > 0.2;
    let first = evidence.onset.iter().take_while(|o| !heard(o)).count() / STEP;
    let last = evidence.onset.iter().rev().take_while(|o| !heard(o)).count() / STEP;
    let steps = beat.len();
    Scores { beat, sub, jump, sounding: first.min(steps)..steps.saturating_sub(last) }
}

/// The larger of each two frames.
fn stepped(x: &[f32]) -> impl Iterator<Item = f32> + '_ {
    x.chunks(STEP).map(|frames| frames.iter().copied().fold(f32::MIN, f32::max))
}
