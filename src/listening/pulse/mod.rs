//! The pulse: deciding on beats, bars and phrases from the evidence and the teacher's anchors.
//!
//! [`decode`] is pure and quick, so that it can run again at every correction. It decides the beats first (search,
//! then placing), the bars on the beats, and the phrases on the bars.

mod arrivals;
mod before;
mod constraints;
mod freedom;
mod given;
mod leaving;
mod picked;
mod pins;
mod place;
mod prices;
mod remembered;
mod reread;
mod scores;
mod search;
mod settings;
mod tapped;

pub use pins::TAP_LEAD;
pub use remembered::Remembered;
pub use settings::Settings;

use super::evidence::Evidence;
use super::form::{bars, phrases};
use super::types::{Metre, Pulse, SHORTEST, Sureness};
use crate::grid::{Anchor, Grid};
use crate::units::Seconds;
use before::Searched;
use constraints::Constraints;
use given::Given;
use pins::Pin;
use reread::Rereading;
use scores::{Scores, scores};
use search::{Search, Step};

/// Fewer beats than this are none.
const FEWEST: usize = 4;
/// There is a beat where the network is surer than this of a tenth of the beats (log-odds). Measured: speech, wind, drones,
/// and knocks and notes at random times, reach -.11; rendered music is above .1 but for single tunes.
const SURE_IN_PLACES: f32 = -0.05;
/// Where it is not, there may be one if the middle bar is so sure: all those reach .66, knocks at random .70.
const NO_BEAT: f32 = 0.68;
/// Or so sure, if beat lengths change by less than `EVEN` from one to the next: speech changes by .05 and more.
const NO_EVEN_BEAT: f32 = 0.62;
const EVEN: f32 = 0.032;
/// A beat is clear if the middle bar is so sure, and the network in places.
const CLEAR: f32 = 0.7;

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
    decode_remembering(evidence, anchors, settings, &mut Remembered::default())
}

/// [`decode_with`] for someone who asks again and again: `remembered` must come from the same evidence and settings.
#[must_use]
pub fn decode_remembering(
    evidence: &Evidence,
    anchors: &[Anchor],
    settings: &Settings,
    remembered: &mut Remembered,
) -> HeardGrid {
    let scores = remembered.scores.take().unwrap_or_else(|| scores(evidence, settings));
    let heard = decode_scores(evidence, anchors, settings, &scores, remembered);
    remembered.scores = Some(scores);
    heard
}

fn decode_scores(
    evidence: &Evidence,
    anchors: &[Anchor],
    settings: &Settings,
    scores: &Scores,
    remembered: &mut Remembered,
) -> HeardGrid {
    if let Some(given) = Given::of(anchors, evidence.length) {
        return given.heard(evidence, settings, scores);
    }
    let pins = pins::pins(anchors, scores.beat.len());
    if pins.is_empty() {
        if evidence.length.0 < SHORTEST.0 {
            return HeardGrid::none(Pulse::TooShort);
        }
        if evidence.silent {
            return HeardGrid::none(Pulse::Silent);
        }
    }
    let suited = &suited(settings, scores, evidence, remembered);
    let path = match Rereading::new(anchors) {
        Some(reading) => reread(&reading, settings, suited, scores, &pins, evidence, remembered),
        None => pinned(settings, suited, scores, &pins, evidence, remembered),
    };
    let placed = place::placed(evidence, &path, &pins);
    if placed.is_empty() || (pins.is_empty() && placed.len() < FEWEST) {
        return HeardGrid::none(Pulse::None);
    }
    let beats: Vec<Seconds> = placed.iter().map(|(_, at)| *at).collect();
    let ternary: Vec<bool> = placed.iter().map(|(step, _)| step.ternary).collect();
    let (bars, metres) = bars::find(evidence, &beats, &ternary, anchors, settings);
    let sureness = bars::sureness(evidence, &beats, &bars);
    // Where the teacher works at the grid there is a beat; how sure it is remains to be seen.
    let pulse = match verdict(evidence, &beats, &sureness) {
        Pulse::None if anchors.is_empty() => return HeardGrid::none(Pulse::None),
        Pulse::None => Pulse::Unsure,
        found => found,
    };
    let phrases = phrases::find(evidence, &beats, &bars, anchors);
    // The parts are ascending by construction; an empty grid is the honest answer if that were ever untrue.
    let grid = Grid::new(beats, bars, phrases).unwrap_or_default();
    HeardGrid { pulse, grid, sureness, metres }
}

/// Whether a class can follow: by whether the network is sure of any beats at all, how sure the middle bar is, and how even
/// the beats are.
fn verdict(evidence: &Evidence, beats: &[Seconds], sureness: &[Sureness]) -> Pulse {
    let bars: Vec<f32> = sureness.iter().map(|s| s.0).collect();
    let (Some(middle), Some(surest)) =
        (quantile(&bars, 0.5), quantile(&bars::network_odds(evidence, beats), 0.9))
    else {
        return Pulse::None;
    };
    let even = || freedom::wandering(&beats.iter().map(|beat| beat.0).collect::<Vec<f64>>()) < EVEN;
    if surest >= SURE_IN_PLACES {
        if middle >= CLEAR { Pulse::Clear } else { Pulse::Unsure }
    } else if middle >= NO_BEAT || (middle >= NO_EVEN_BEAT && even()) {
        Pulse::Unsure
    } else {
        Pulse::None
    }
}

/// The value under which `share` of the values lie; `None` without any.
fn quantile(values: &[f32], share: f32) -> Option<f32> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f32::total_cmp);
    sorted.get((share * sorted.len() as f32) as usize).copied()
}

/// The best path that obeys the pins and whatever `more` asks.
fn search(
    settings: &Settings,
    scores: &Scores,
    pins: &[Pin],
    before: &mut Searched,
    more: impl FnOnce(&mut Constraints),
) -> Vec<Step> {
    let mut constraints = Constraints::none(scores.beat.len());
    // Where nothing speaks for a beat, every other step is fine enough for the beats of a pause.
    let least = settings.temper * settings.beat_least;
    for (t, allowed) in constraints.allowed.iter_mut().enumerate() {
        *allowed = t % 2 == 0 || scores.beat[t] > least;
    }
    more(&mut constraints);
    if pins.is_empty() {
        return Search::new(settings, scores, &constraints).run(before);
    }
    let mut scores = scores.clone();
    pins::constrain(pins, &mut constraints, &mut scores);
    Search::new(settings, &scores, &constraints).run(before)
}

/// The settings that suit the music, which are others where it is played freely: the beats that are found without the
/// teacher's say which it is, so that no correction changes it.
fn suited(
    settings: &Settings,
    scores: &Scores,
    evidence: &Evidence,
    remembered: &mut Remembered,
) -> Settings {
    let wandering = remembered.wandering.unwrap_or_else(|| {
        freedom::wandering(&seconds(&without_wishes(settings, scores, &[], evidence, remembered)))
    });
    remembered.wandering = Some(wandering);
    settings.suited_to(wandering)
}

/// The beats that are found with these pins and nothing else said.
fn without_wishes(
    settings: &Settings,
    scores: &Scores,
    pins: &[Pin],
    evidence: &Evidence,
    remembered: &mut Remembered,
) -> Vec<(Step, Seconds)> {
    let path =
        remembered.path(settings, pins, None, |searched| search(settings, scores, pins, searched, |_| ()));
    place::placed(evidence, &path, pins)
}

fn seconds(beats: &[(Step, Seconds)]) -> Vec<f64> {
    beats.iter().map(|(_, at)| at.0).collect()
}

/// The best path that obeys the pins, counted as the taps among them count what is heard without them.
///
/// Where they count every second or third beat that is heard, those are picked from the heard ones. Where that cannot be, or
/// not throughout, nothing but a firm tempo tells them from the others; so the settings for steady music then hold, however
/// freely it is played. Where they count two or three to a beat, the heard beats stay.
fn pinned(
    steady: &Settings,
    suited: &Settings,
    scores: &Scores,
    pins: &[Pin],
    evidence: &Evidence,
    remembered: &mut Remembered,
) -> Vec<Step> {
    // Beats given exactly say nothing of how beats are counted.
    if pins.iter().all(|pin| pin.exact) {
        return remembered
            .path(suited, pins, None, |searched| search(suited, scores, pins, searched, |_| ()));
    }
    let beats = without_wishes(suited, scores, &[], evidence, remembered);
    let heard = seconds(&beats);
    let counts = tapped::counts(&heard, pins, &scores.slowing);
    let picked =
        tapped::every(&counts).and_then(|every| picked::picked(evidence, &beats, every, pins, suited));
    if let Some(path) = picked {
        return path;
    }
    let counted = tapped::counted(&heard, &counts, scores.beat.len());
    let divided = tapped::divided(&heard, &counts);
    let as_heard = tapped::as_heard(&heard, pins);
    let settings = if counted.iter().any(Option::is_some) { steady } else { suited };
    remembered.path(settings, pins, None, |searched| {
        let path = search(settings, scores, pins, searched, |constraints| {
            constraints.counted.clone_from(&counted);
            constraints.as_heard.clone_from(&as_heard);
            for divided in &divided {
                reread::loosen(divided.stretch.start, constraints);
                reread::loosen(divided.stretch.end, constraints);
                reread::keep_near(&divided.beats, &heard, divided.stretch.clone(), pins, constraints);
            }
        });
        if path.len() >= FEWEST || divided.is_empty() {
            return path;
        }
        // What was laid out and what was tapped contradict each other: then the taps are the better guide.
        search(settings, scores, pins, searched, |constraints| {
            (constraints.counted, constraints.as_heard) = (counted, as_heard);
        })
    })
}

/// The best path that reads on differently from where the teacher says so: what she says refers to what her taps and beats
/// before it have left.
fn reread(
    reading: &Rereading,
    steady: &Settings,
    suited: &Settings,
    scores: &Scores,
    pins: &[Pin],
    evidence: &Evidence,
    remembered: &mut Remembered,
) -> Vec<Step> {
    let before: Vec<Pin> = pins.iter().filter(|pin| pin.at < reading.from()).cloned().collect();
    let path = pinned(steady, suited, scores, &before, evidence, remembered);
    let heard = seconds(&place::placed(evidence, &path, &before));
    let every_second = |beats: &[f64]| -> Vec<f64> {
        let all: Vec<Seconds> = beats.iter().copied().map(Seconds).collect();
        let counted = picked::every(evidence, &all, 2, all.get(..1).unwrap_or_default(), suited);
        counted.into_iter().map(|beat| beats[beat]).collect()
    };
    let path = remembered.path(suited, pins, Some(reading), |searched| {
        search(suited, scores, pins, searched, |constraints| {
            reading.constrain(&heard, every_second, pins, constraints);
        })
    });
    // Wishes that contradict one another leave no path: then the beats as heard are the better answer.
    if path.len() >= FEWEST { path } else { pinned(steady, suited, scores, pins, evidence, remembered) }
}
