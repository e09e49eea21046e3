//! The pulse: deciding on beats, bars and phrases from the evidence and the teacher's anchors.
//!
//! [`decode`] is pure and quick, so that it can run again at every correction. It decides the beats first (search,
//! then placing), the bars on the beats, and the phrases on the bars.

mod pins;
mod place;
mod reread;
mod search;
mod settings;

pub use settings::Settings;

use super::evidence::{Evidence, Pace, peak};
use super::form::{bars, phrases};
use super::types::{Metre, Pulse, SHORTEST, Sureness};
use crate::grid::{Anchor, Grid};
use crate::units::Seconds;
use pins::Pin;
use reread::Rereading;
use search::{BINS_PER_OCTAVE, Constraints, HeardJump, STEP, STEPS_PER_SECOND, Scores, Search, Step};

/// Fewer beats than this are none.
const FEWEST: usize = 4;
/// Median probability of a beat under which there is none, whatever else.
const NOT_HEARD: f32 = 0.5;
/// Clarity (see [`verdict`]) under which there is no beat, and under which the teacher should listen for herself.
const NO_BEAT: f32 = 0.74;
const UNSURE: f32 = 0.92;

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
    decode_with(evidence, anchors, &Settings::default())
}

/// [`decode`] with other settings than those that ship: for measuring.
#[must_use]
pub fn decode_with(evidence: &Evidence, anchors: &[Anchor], settings: &Settings) -> HeardGrid {
    let scores = scores(evidence, settings);
    let pins = pins::pins(anchors, scores.beat.len());
    if pins.is_empty() {
        if evidence.length.0 < SHORTEST.0 {
            return HeardGrid::none(Pulse::TooShort);
        }
        if evidence.silent {
            return HeardGrid::none(Pulse::Silent);
        }
    }
    let path = match Rereading::new(anchors) {
        Some(reading) => reread(&reading, settings, &scores, &pins, evidence),
        None => search(settings, &scores, &pins, |_| ()),
    };
    let placed = place::placed(evidence, &path, &pins);
    let steadiness = mean_of(&evidence.pace.steadiness);
    let beats: Vec<Seconds> = placed.iter().map(|(_, at)| *at).collect();
    let found = verdict(evidence, &beats, steadiness);
    if beats.is_empty() || (pins.is_empty() && (beats.len() < FEWEST || found == Pulse::None)) {
        return HeardGrid::none(Pulse::None);
    }
    // Where the teacher has tapped there is a beat; how sure the rest is remains to be seen.
    let pulse = if found == Pulse::None { Pulse::Unsure } else { found };
    let ternary: Vec<bool> = placed.iter().map(|(step, _)| step.ternary).collect();
    let (bars, metres) = bars::find(evidence, &beats, &ternary, anchors);
    let phrases = phrases::find(evidence, &beats, &bars, anchors);
    let sureness = bars::sureness(evidence, &beats, &bars);
    // The parts are ascending by construction; an empty grid is the honest answer if that were ever untrue.
    let grid = Grid::new(beats, bars, phrases).unwrap_or_default();
    HeardGrid { pulse, grid, sureness, metres }
}

/// Whether these beats are a beat: by how strongly they are heard, how regular they are, and whether the rhythm of
/// one stretch is that of the next. The weights are ours, set on drones, noise, babble and rendered music.
fn verdict(evidence: &Evidence, beats: &[Seconds], steadiness: f32) -> Pulse {
    let mut heard = bars::probabilities(evidence, beats);
    let lengths: Vec<f64> = beats.windows(2).map(|w| w[1].0 - w[0].0).collect();
    let mut uneven: Vec<f32> =
        lengths.windows(2).map(|w| ((w[1] - w[0]).abs() / (0.5 * (w[0] + w[1]))) as f32).collect();
    let (heard, uneven) = (median(&mut heard), median(&mut uneven));
    let clarity = heard + 0.4 * steadiness - 2.0 * (uneven - 0.03).max(0.0);
    eprintln!("heard {heard:.3} steady {steadiness:.3} uneven {uneven:.3} clarity {clarity:.3}");
    if heard < NOT_HEARD || clarity < NO_BEAT {
        Pulse::None
    } else if clarity < UNSURE {
        Pulse::Unsure
    } else {
        Pulse::Clear
    }
}

fn median(x: &mut [f32]) -> f32 {
    x.sort_by(f32::total_cmp);
    x.get(x.len() / 2).copied().unwrap_or(0.0)
}

fn mean_of(x: &[f32]) -> f32 {
    x.iter().sum::<f32>() / x.len().max(1) as f32
}

/// The best path that obeys the pins and whatever `more` asks.
fn search(
    settings: &Settings,
    scores: &Scores,
    pins: &[Pin],
    more: impl FnOnce(&mut Constraints),
) -> Vec<Step> {
    let mut constraints = Constraints::none(scores.beat.len());
    more(&mut constraints);
    if pins.is_empty() {
        return Search::new(settings, scores, &constraints).run();
    }
    let mut scores = scores.clone();
    pins::constrain(pins, &mut constraints, &mut scores);
    Search::new(settings, &scores, &constraints).run()
}

/// The best path that reads on differently from where the teacher says so.
fn reread(
    reading: &Rereading,
    settings: &Settings,
    scores: &Scores,
    pins: &[Pin],
    evidence: &Evidence,
) -> Vec<Step> {
    let before: Vec<Pin> = pins.iter().filter(|pin| pin.at < reading.from()).cloned().collect();
    let heard = place::placed(evidence, &search(settings, scores, &before, |_| ()), &before);
    let heard: Vec<f64> = heard.iter().map(|(_, at)| at.0).collect();
    let path = search(settings, scores, pins, |constraints| reading.constrain(&heard, pins, constraints));
    // Wishes that contradict one another leave no path: then the beats as heard are the better answer.
    if path.len() >= FEWEST { path } else { search(settings, scores, pins, |_| ()) }
}

/// The evidence as the search reads it.
fn scores(evidence: &Evidence, settings: &Settings) -> Scores {
    let likelihood = &evidence.likelihood;
    let tempered = |odds: f32| {
        settings.temper * (odds + settings.beat_bias).clamp(settings.beat_least, settings.beat_most)
    };
    let beat: Vec<f32> = stepped(&likelihood.beat).map(tempered).collect();
    let sub = stepped(&likelihood.sub).map(|odds| (settings.temper * odds).min(settings.sub_most)).collect();
    let mut jump: Vec<f32> = stepped(&peak(&evidence.novelty, 30))
        .map(|novelty| {
            let share = (novelty - settings.novelty_from) / (settings.novelty_to - settings.novelty_from);
            settings.jump + (settings.jump_marked - settings.jump) * share.clamp(0.0, 1.0)
        })
        .enumerate()
        .map(|(step, price)| {
            let steady = interpolated(&evidence.pace.steadiness, (step * STEP) as f32 / Pace::HOP as f32);
            price + settings.jump_against * steady.max(0.0)
        })
        .collect();
    let heard = |o: &&f32| **o > 0.2;
    let first = evidence.onset.iter().take_while(|o| !heard(o)).count() / STEP;
    let last = evidence.onset.iter().rev().take_while(|o| !heard(o)).count() / STEP;
    let steps = beat.len();
    let pace = &evidence.pace;
    let slowing = (0..steps)
        .map(|step| {
            let octaves = interpolated(&pace.octaves, (step * STEP) as f32 / Pace::HOP as f32);
            (-settings.pace * octaves * BINS_PER_OCTAVE).round() as i16
        })
        .collect();
    let heard_jumps = heard_jumps(pace, settings, steps);
    for heard in &heard_jumps {
        // Where a jump is heard, it is that one: a change of colour is no excuse for another.
        for price in &mut jump[heard.steps.clone()] {
            *price = price.max(settings.jump);
        }
    }
    let sounding = first.min(steps)..steps.saturating_sub(last);
    Scores { beat, sub, jump, sounding, slowing, heard_jumps }
}

/// The jumps of tempo that the search is offered; the more clearly heard, and the clearer than others nearby, the cheaper.
fn heard_jumps(pace: &Pace, settings: &Settings, steps: usize) -> Vec<HeardJump> {
    /// Seconds over which jumps are rivals, and strength that leaves no doubt.
    const RIVALS: f32 = 2.5;
    const CLEAR: f32 = 0.5;
    let step = |at: f32| ((at * STEPS_PER_SECOND).max(0.0) as usize).min(steps);
    pace.jumps
        .iter()
        .map(|heard| {
            let rivals = pace.jumps.iter().filter(|other| (other.at - heard.at).abs() <= RIVALS);
            let best = rivals.map(|other| other.strength).fold(0.0, f32::max);
            let clear = (heard.strength / CLEAR).min(1.0);
            let price = settings.jump * (1.0 - (1.0 - settings.jump_heard) * clear);
            HeardJump {
                steps: step(heard.at - 1.0)..step(heard.at + 1.0),
                bins: (-heard.octaves * BINS_PER_OCTAVE).round() as i16,
                clear: heard.strength >= 0.6 * CLEAR,
                price: price + settings.jump_rival * (1.0 - heard.strength / best.max(1e-6)),
            }
        })
        .collect()
}

/// The curve's value at a place between its entries, the ends held; 0 for an empty curve.
fn interpolated(curve: &[f32], at: f32) -> f32 {
    let Some(last) = curve.len().checked_sub(1) else { return 0.0 };
    let (before, rest) = (at as usize, at.fract());
    let value = |index: usize| curve[index.min(last)];
    value(before) + (value(before + 1) - value(before)) * rest
}

/// The larger of each two frames.
fn stepped(x: &[f32]) -> impl Iterator<Item = f32> + '_ {
    x.chunks(STEP).map(|frames| frames.iter().copied().fold(f32::MIN, f32::max))
}
