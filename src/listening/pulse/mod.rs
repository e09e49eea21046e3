//! The pulse: deciding on beats, bars and phrases from the evidence and the teacher's anchors.
//!
//! [`decode`] is pure and quick, so that it can run again at every correction. It decides the beats first (search,
//! then placing), the bars on the beats, and the phrases on the bars.

mod before;
mod given;
mod pins;
mod place;
mod prices;
mod reread;
mod search;
mod settings;
mod tapped;

pub use pins::TAP_LEAD;
pub use settings::Settings;

use super::evidence::{Evidence, Pace, peak};
use super::form::{bars, phrases};
use super::types::{Metre, Pulse, SHORTEST, Sureness};
use crate::grid::{Anchor, Grid};
use crate::units::Seconds;
use before::Searched;
use given::Given;
use pins::Pin;
use reread::Rereading;
use search::{BINS_PER_OCTAVE, Constraints, Either, HeardJump, STEP, STEPS_PER_SECOND, Scores, Search, Step};

/// Fewer beats than this are none.
const FEWEST: usize = 4;
/// Sureness of the middle bar under which there may be no beat, and from which it is clear. Measured: drones, noise and
/// speech reach .61, rendered music .7, the freest pianists .60.
const NO_BEAT: f32 = 0.62;
const CLEAR: f32 = 0.7;
/// There is a beat all the same where the network is surer than this of a tenth of the beats (log-odds). Measured: speech
/// reaches -.4, knocks at random .3, the freest pianists .5.
const SURE_IN_PLACES: f32 = 0.4;

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

/// What was searched for and found before, for the same evidence and settings: a correction of bars or phrases needs no
/// search at all, one of the level only its second half, and one more tap or nudged beat only what comes after it. What is
/// found does not depend on it. It takes up to 15 MB.
#[derive(Debug, Clone, Default)]
pub struct Remembered {
    scores: Option<Scores>,
    /// The latest last.
    paths: Vec<(Asked, Vec<Step>)>,
    searched: Searched,
}

/// What a search was asked for.
type Asked = (Vec<Pin>, Option<Rereading>);

/// The most paths that are remembered: a few steps back and forth.
const PATHS: usize = 8;

impl Remembered {
    /// The path that was found for this, or the one that `search` finds.
    fn path(
        &mut self,
        pins: &[Pin],
        reading: Option<&Rereading>,
        search: impl FnOnce(&mut Searched) -> Vec<Step>,
    ) -> Vec<Step> {
        let same = |asked: &Asked| asked.0 == pins && asked.1.as_ref() == reading;
        if let Some((_, path)) = self.paths.iter().find(|(asked, _)| same(asked)) {
            return path.clone();
        }
        let path = search(&mut self.searched);
        if self.paths.len() >= PATHS {
            self.paths.remove(0);
        }
        self.paths.push(((pins.to_vec(), reading.cloned()), path.clone()));
        path
    }
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
    let path = match Rereading::new(anchors) {
        Some(reading) => reread(&reading, settings, scores, &pins, evidence, remembered),
        None => pinned(settings, scores, &pins, evidence, remembered),
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
    let pulse = match verdict(&sureness, &bars::network_odds(evidence, &beats)) {
        Pulse::None if anchors.is_empty() => return HeardGrid::none(Pulse::None),
        Pulse::None => Pulse::Unsure,
        found => found,
    };
    let phrases = phrases::find(evidence, &beats, &bars, anchors);
    // The parts are ascending by construction; an empty grid is the honest answer if that were ever untrue.
    let grid = Grid::new(beats, bars, phrases).unwrap_or_default();
    HeardGrid { pulse, grid, sureness, metres }
}

/// Whether a class can follow: by how sure the middle bar is, and whether the network is sure of any beats at all.
fn verdict(sureness: &[Sureness], network: &[f32]) -> Pulse {
    let bars: Vec<f32> = sureness.iter().map(|s| s.0).collect();
    match (quantile(&bars, 0.5), quantile(network, 0.9)) {
        (Some(middle), _) if middle >= CLEAR => Pulse::Clear,
        (Some(middle), _) if middle >= NO_BEAT => Pulse::Unsure,
        (Some(_), Some(surest)) if surest >= SURE_IN_PLACES => Pulse::Unsure,
        _ => Pulse::None,
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

/// The best path that obeys the pins, counted as the taps among them count what is heard without them.
fn pinned(
    settings: &Settings,
    scores: &Scores,
    pins: &[Pin],
    evidence: &Evidence,
    remembered: &mut Remembered,
) -> Vec<Step> {
    let plain = |remembered: &mut Remembered| {
        remembered.path(pins, None, |searched| search(settings, scores, pins, searched, |_| ()))
    };
    if pins.iter().all(|pin| pin.exact) {
        return plain(remembered);
    }
    let heard = remembered.path(&[], None, |searched| search(settings, scores, &[], searched, |_| ()));
    let heard: Vec<f64> = place::placed(evidence, &heard, &[]).iter().map(|(_, at)| at.0).collect();
    let counted = tapped::counted(&heard, pins, scores.beat.len());
    remembered.path(pins, None, |searched| {
        search(settings, scores, pins, searched, |constraints| constraints.counted = counted)
    })
}

/// The best path that reads on differently from where the teacher says so.
fn reread(
    reading: &Rereading,
    settings: &Settings,
    scores: &Scores,
    pins: &[Pin],
    evidence: &Evidence,
    remembered: &mut Remembered,
) -> Vec<Step> {
    let before: Vec<Pin> = pins.iter().filter(|pin| pin.at < reading.from()).cloned().collect();
    let heard =
        remembered.path(&before, None, |searched| search(settings, scores, &before, searched, |_| ()));
    let heard: Vec<f64> = place::placed(evidence, &heard, &before).iter().map(|(_, at)| at.0).collect();
    let path = remembered.path(pins, Some(reading), |searched| {
        search(settings, scores, pins, searched, |constraints| reading.constrain(&heard, pins, constraints))
    });
    // Wishes that contradict one another leave no path: then the beats as heard are the better answer.
    if path.len() >= FEWEST {
        path
    } else {
        remembered.path(pins, None, |searched| search(settings, scores, pins, searched, |_| ()))
    }
}

/// The evidence as the search reads it.
fn scores(evidence: &Evidence, settings: &Settings) -> Scores {
    let likelihood = &evidence.likelihood;
    let tempered = |odds: f32| {
        settings.temper * (odds + settings.beat_bias).clamp(settings.beat_least, settings.beat_most)
    };
    let mixed = |network: &[f32], plain: &[f32], bias: f32| -> Vec<f32> {
        network.iter().zip(plain).map(|(n, p)| settings.network * (n + bias) + settings.plain * p).collect()
    };
    let plain = &evidence.plain;
    let beats = |network: &[f32]| -> Vec<f32> {
        stepped(&mixed(network, &plain.beat, settings.network_bias)).map(tempered).collect()
    };
    let subs = |network: &[f32]| -> Vec<f32> {
        stepped(&mixed(network, &plain.sub, settings.half_bias))
            .map(|odds| (settings.temper * odds).min(settings.sub_most))
            .collect()
    };
    let (beat, sub) = (beats(&likelihood.beat), subs(&likelihood.sub));
    let event: Vec<f32> = likelihood.beat.iter().zip(&likelihood.sub).map(|(b, s)| b.max(*s)).collect();
    let either = Either { beat: beats(&event), sub: subs(&event) };
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
    let mut steadiness: Vec<f32> = (0..steps)
        .map(|step| interpolated(&pace.steadiness, (step * STEP) as f32 / Pace::HOP as f32))
        .collect();
    for heard in heard_jumps.iter().filter(|heard| heard.clear) {
        // The stretches on either side of a jump are five seconds long.
        let (from, to) = (heard.steps.start.saturating_sub(150), (heard.steps.end + 150).min(steps));
        steadiness[from..to].fill(1.0);
    }
    let sounding = first.min(steps)..steps.saturating_sub(last);
    Scores { beat, sub, either, jump, sounding, slowing, steadiness, heard_jumps }
}

/// The jumps of tempo that the search is offered; the more clearly heard, and the clearer than others nearby, the cheaper.
fn heard_jumps(pace: &Pace, settings: &Settings, steps: usize) -> Vec<HeardJump> {
    /// Seconds over which jumps are rivals, and strength that leaves no doubt.
    const RIVALS: f32 = 2.5;
    const CERTAIN: f32 = 0.5;
    let step = |at: f32| ((at * STEPS_PER_SECOND).max(0.0) as usize).min(steps);
    pace.jumps
        .iter()
        .map(|heard| {
            let rivals = pace.jumps.iter().filter(|other| (other.at - heard.at).abs() <= RIVALS);
            let best = rivals.map(|other| other.strength).fold(0.0, f32::max);
            let clear = (heard.strength / CERTAIN).min(1.0);
            let price = settings.jump * (1.0 - (1.0 - settings.jump_heard) * clear);
            HeardJump {
                steps: step(heard.at - 1.0)..step(heard.at + 1.0),
                bins: (-heard.octaves * BINS_PER_OCTAVE).round() as i16,
                clear: heard.strength >= 0.4 * CERTAIN,
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
