//! Beats that a file gave: they are taken as they are, without a search, and what the teacher said later is done to them.

use super::pins::{self, Pin};
use super::place::instant;
use super::reread::{Rereading, alternate};
use super::scores::Scores;
use super::search::STEPS_PER_SECOND;
use super::{HeardGrid, Settings, verdict};
use crate::grid::{Anchor, Grid, Phrase};
use crate::listening::evidence::Evidence;
use crate::listening::form::{bars, phrases};
use crate::listening::types::Pulse;
use crate::units::Seconds;

/// A beat nearer than this to one that was placed by hand may be the same beat.
const SAME: f64 = 0.22;
/// Two beats nearer than this cannot both be meant.
const TOO_CLOSE: f64 = 0.05;
/// A bar or phrase of the file is kept if a beat is as near to its start as this share of the beat around it.
const KEPT: f64 = 0.3;
/// Beats to either side over which it is decided whether a beat divides in two or in three.
const AROUND: usize = 8;

/// What a file said, and what was said after it.
pub(super) struct Given<'a> {
    grid: Grid,
    later: &'a [Anchor],
}

impl<'a> Given<'a> {
    /// The latest file's word, as far as it lies within the recording; `None` when no file spoke, or none that can be
    /// followed.
    pub(super) fn of(anchors: &'a [Anchor], length: Seconds) -> Option<Self> {
        let at = anchors.iter().rposition(|anchor| matches!(anchor, Anchor::Given { .. }))?;
        let Anchor::Given { beats, bars, phrases } = &anchors[at] else { return None };
        let within = beats.partition_point(|beat| beat.0 <= length.0);
        let bars = bars.iter().copied().filter(|bar| *bar < within).collect();
        let phrases = phrases.iter().filter(|phrase| phrase.start < within).cloned().collect();
        let grid = Grid::new(beats[..within].to_vec(), bars, phrases).ok()?;
        (!grid.is_empty()).then(|| Self { grid, later: &anchors[at + 1..] })
    }

    /// The grid.
    pub(super) fn heard(&self, evidence: &Evidence, settings: &Settings, scores: &Scores) -> HeardGrid {
        let beats = self.beats(evidence, scores);
        let ternary = in_three(&beats, settings, scores);
        let (bars, metres) = match self.known_bars(&beats) {
            Some(known) => {
                let metres = bars::of_known(&known, &ternary);
                (known, metres)
            }
            None => bars::find(evidence, &beats, &ternary, self.later, settings),
        };
        let phrases = match self.known_phrases(&beats, &bars) {
            Some(known) => phrases::of_known(evidence, &beats, &bars, known, self.later),
            None => phrases::find(evidence, &beats, &bars, self.later),
        };
        let sureness = bars::sureness(evidence, &beats, &bars);
        // Somebody counted these, so there is a beat; how sure it is to hear is another matter.
        let pulse = match verdict(evidence, &beats, &sureness) {
            Pulse::None => Pulse::Unsure,
            found => found,
        };
        let grid = Grid::new(beats, bars, phrases).unwrap_or_default();
        HeardGrid { pulse, grid, sureness, metres }
    }

    /// The file's beats, doubled, halved or shifted as was said since, with what was placed by hand.
    fn beats(&self, evidence: &Evidence, scores: &Scores) -> Vec<Seconds> {
        let pins = pins::pins(self.later, scores.beat.len());
        let mut beats: Vec<f64> = self.grid.beats().iter().map(|beat| beat.0).collect();
        put(&mut beats, &pins, evidence);
        if let Some(reading) = Rereading::new(self.later) {
            // Whoever made the file counted these, so what is heard of bars has no say in them.
            beats = reading.laid_out(&beats, alternate);
            put(&mut beats, &pins, evidence);
        }
        let mut out: Vec<Seconds> = Vec::with_capacity(beats.len());
        for beat in beats {
            let at = beat.clamp(0.0, evidence.length.0);
            if out.last().is_none_or(|before| at > before.0) {
                out.push(Seconds(at));
            }
        }
        out
    }

    /// The beats, now, that start the file's bars. `None` when it gave none, or when something was said since that they do
    /// not fit: then they are heard around that.
    fn known_bars(&self, beats: &[Seconds]) -> Option<Vec<usize>> {
        let bars = now(&self.grid, self.grid.bars().iter().copied(), beats);
        let fits = self.later.iter().all(|anchor| match *anchor {
            Anchor::BarStart { at } | Anchor::CountOne { at } => {
                bars::nearest(beats, at).is_none_or(|beat| bars.binary_search(&beat).is_ok())
            }
            Anchor::Metre { .. } | Anchor::Level { .. } | Anchor::ShiftHalf { .. } => false,
            _ => true,
        });
        (fits && !bars.is_empty()).then_some(bars)
    }

    /// The same for phrases, which go with the bars that they start.
    fn known_phrases(&self, beats: &[Seconds], bars: &[usize]) -> Option<Vec<Phrase>> {
        let fits = self.grid.bars().is_empty() || self.known_bars(beats).is_some_and(|known| known == bars);
        let level = |anchor: &Anchor| matches!(anchor, Anchor::Level { .. } | Anchor::ShiftHalf { .. });
        if !fits || self.grid.phrases().is_empty() || self.later.iter().any(level) {
            return None;
        }
        let mut known: Vec<Phrase> = Vec::new();
        for phrase in self.grid.phrases() {
            if let Some(start) = now(&self.grid, [phrase.start].into_iter(), beats).pop()
                && known.last().is_none_or(|before| before.start < start)
            {
                known.push(Phrase { start, letter: phrase.letter.clone() });
            }
        }
        Some(known)
    }
}

/// Where beats of `grid` are among `beats`; those that are gone are left out.
fn now(grid: &Grid, which: impl Iterator<Item = usize>, beats: &[Seconds]) -> Vec<usize> {
    let mut found: Vec<usize> = which
        .filter_map(|index| {
            let at = grid.beats()[index];
            let here = bars::nearest(beats, at)?;
            let length = grid.tempo_at(crate::units::Beat::from(index)).beat_length().0;
            ((beats[here].0 - at.0).abs() <= KEPT * length).then_some(here)
        })
        .collect();
    found.dedup();
    found
}

/// Puts what was placed by hand among the beats: a tap near a beat means that beat, any other makes one; between
/// neighbouring taps and within a held beat there is none.
fn put(beats: &mut Vec<f64>, pins: &[Pin], evidence: &Evidence) {
    let step = |at: f64| (at * f64::from(STEPS_PER_SECOND)).max(0.0) as usize;
    let mut before: Option<(&Pin, f64)> = None;
    for pin in pins {
        let near = |beat: f64| pin.window.contains(&step(beat));
        let apart = |beat: &f64| (beat - pin.at).abs();
        let meant =
            || beats.iter().copied().filter(|beat| near(*beat)).min_by(|a, b| apart(a).total_cmp(&apart(b)));
        let attack = || Some(instant(evidence, step(pin.at))).filter(|attack| near(*attack));
        let at = if pin.exact { pin.at } else { meant().or_else(attack).unwrap_or(pin.at) };
        // From when on there is no beat before this one.
        let from =
            before.filter(|(before, _)| pins::nothing_between(before, pin, pins)).map(|(_, from)| from);
        // It takes the place of the beat nearest to it.
        let same = beats
            .iter()
            .copied()
            .filter(|beat| Some(*beat) != from)
            .min_by(|a, b| (a - at).abs().total_cmp(&(b - at).abs()));
        let same = same.filter(|beat| (beat - at).abs() < SAME);
        beats.retain(|beat| {
            let between = from.is_some_and(|from| *beat > from && *beat < at);
            !between && Some(*beat) != same && (Some(*beat) == from || (beat - at).abs() >= TOO_CLOSE)
        });
        let place = beats.partition_point(|beat| *beat < at);
        beats.insert(place, at);
        before = Some((pin, at));
    }
}

/// Whether each beat divides in three, by what is heard between the beats around it.
fn in_three(beats: &[Seconds], settings: &Settings, scores: &Scores) -> Vec<bool> {
    let heard = |at: f64| {
        let step = (at * f64::from(STEPS_PER_SECOND)) as usize;
        let near = scores.sub.get(step.saturating_sub(1)..(step + 2).min(scores.sub.len())).unwrap_or(&[]);
        near.iter().copied().fold(settings.sub_least, f32::max)
    };
    let lean: Vec<f32> = beats
        .windows(2)
        .map(|pair| {
            let part = |share: f64| heard(pair[0].0 + share * (pair[1].0 - pair[0].0));
            part(1.0 / 3.0) + part(2.0 / 3.0) - part(0.5)
        })
        .collect();
    (0..beats.len())
        .map(|beat| {
            let around = beat.saturating_sub(AROUND)..(beat + AROUND).min(lean.len());
            lean.get(around).is_some_and(|around| around.iter().sum::<f32>() > 0.0)
        })
        .collect()
}
