//! The trail: the whole piece as a path over a hillside seen from the side.
//!
//! Height is loudness, the stones along the path are beats (as long as the beat lasts), flat ground is rest, and
//! turns are landmarks with a word. Pure geometry: the floor, the count sheet and the hand-outs draw the same trail,
//! each in its own way, so nothing here knows of cells, pixels or paper.

use crate::grid::Grid;
use crate::listening::{Listening, Turn, TurnKind};
use crate::units::{Beat, Seconds};

/// The least loudness span that reaches from the valley to the top; a flatter recording gets lower hills, so that
/// noise does not look like mountains. Our decision, after the 6 LU below which fewer dynamic marks are told apart.
const FULL_SPAN: f64 = 6.0;

/// Where the path runs when nothing is known of the loudness.
const PLAIN: f64 = 0.4;

/// Loudness under which there is nothing to hear (the absolute gate of ITU-R BS.1770).
const GATE: f64 = -70.0;

/// The path of one recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Trail {
    length: Seconds,
    stones: Vec<Stone>,
    landmarks: Vec<Landmark>,
    step: Seconds,
    heights: Vec<f64>,
}

/// One beat on the path.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stone {
    /// Index of the beat in the grid.
    pub beat: usize,
    /// When it sounds.
    pub at: Seconds,
    /// How long it lasts: the length at which it is drawn.
    pub stride: Seconds,
    /// Whether a bar starts here.
    pub bar: bool,
    /// Whether a phrase starts here.
    pub phrase: bool,
}

/// A place where the music changes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Landmark {
    /// Where it begins.
    pub at: Seconds,
    /// Where the change is complete.
    pub until: Seconds,
    /// What changes, in a word or two for children.
    pub word: &'static str,
}

impl Trail {
    /// The trail of a grid and, where known, of what was heard; `length` is the recording's.
    #[must_use]
    pub fn new(grid: &Grid, listening: Option<&Listening>, length: Seconds) -> Self {
        let stones = grid
            .beats()
            .iter()
            .enumerate()
            .map(|(beat, &at)| Stone {
                beat,
                at,
                stride: grid.seconds_at(Beat::from(beat + 1)).since(at),
                bar: grid.bars().binary_search(&beat).is_ok(),
                phrase: grid.phrases().binary_search_by_key(&beat, |phrase| phrase.start).is_ok(),
            })
            .collect();
        let mut trail =
            Self { length, stones, landmarks: Vec::new(), step: Seconds(0.1), heights: Vec::new() };
        if let Some(listening) = listening {
            let contour = &listening.loudness.short_term;
            trail.step = contour.step;
            trail.heights = heights(&contour.values);
            trail.landmarks = listening.turns.iter().map(landmark).collect();
            for rest in listening.turns.iter().filter(|turn| turn.kind == TurnKind::Rest) {
                trail.level(rest);
            }
        }
        trail
    }

    /// The beats, in order.
    #[must_use]
    pub fn stones(&self) -> &[Stone] {
        &self.stones
    }

    /// The turns, in order.
    #[must_use]
    pub fn landmarks(&self) -> &[Landmark] {
        &self.landmarks
    }

    /// How far along the path an instant is, 0 at the start to 1 at the end; outside, the nearer end.
    #[must_use]
    pub fn along(&self, at: Seconds) -> f64 {
        if self.length.0 > 0.0 { (at.0 / self.length.0).clamp(0.0, 1.0) } else { 0.0 }
    }

    /// The instant at a share of the path, the inverse of [`Trail::along`].
    #[must_use]
    pub fn instant(&self, along: f64) -> Seconds {
        Seconds(self.length.0 * along.clamp(0.0, 1.0))
    }

    /// The height of the path at an instant, 0 (softest) to 1 (loudest). Between values it is interpolated.
    #[must_use]
    pub fn height(&self, at: Seconds) -> f64 {
        let Some(last) = self.heights.len().checked_sub(1) else { return PLAIN };
        let place = (at.0 / self.step.0).clamp(0.0, last as f64);
        let from = place.floor() as usize;
        let to = (from + 1).min(last);
        self.heights[from] + (self.heights[to] - self.heights[from]) * (place - from as f64)
    }

    /// The stones to draw on a path `width` units long so that none lie closer than `least` units: all of them, or
    /// only those of bars, or of phrases, or of every second, fourth ... phrase.
    #[must_use]
    pub fn stones_apart(&self, width: f64, least: f64) -> Vec<&Stone> {
        let apart = |stones: &[&Stone]| {
            stones
                .windows(2)
                .all(|pair| (self.along(pair[1].at) - self.along(pair[0].at)) * width >= least - 1e-6)
        };
        let all: Vec<&Stone> = self.stones.iter().collect();
        let bars: Vec<&Stone> = self.stones.iter().filter(|stone| stone.bar).collect();
        let mut phrases: Vec<&Stone> = self.stones.iter().filter(|stone| stone.phrase).collect();
        for stones in [all, bars] {
            if apart(&stones) && !stones.is_empty() {
                return stones;
            }
        }
        while !apart(&phrases) {
            phrases = phrases.into_iter().step_by(2).collect();
        }
        phrases
    }

    /// Makes the ground flat and low where everyone rests.
    fn level(&mut self, rest: &Turn) {
        let from = (rest.start.0 / self.step.0).round().max(0.0) as usize;
        let until = ((rest.start.0 + rest.to) / self.step.0).round().max(0.0) as usize;
        for height in self.heights.iter_mut().take(until).skip(from) {
            *height = 0.0;
        }
    }
}

/// Loudness as heights: 0 at the 5th percentile of what can be heard, 1 at the loudest.
fn heights(values: &[f32]) -> Vec<f64> {
    let mut heard: Vec<f64> =
        values.iter().map(|&value| f64::from(value)).filter(|&value| value > GATE).collect();
    heard.sort_by(f64::total_cmp);
    let (Some(&top), Some(&low)) = (heard.last(), heard.get(heard.len() / 20)) else {
        return vec![0.0; values.len()];
    };
    let span = (top - low).max(FULL_SPAN);
    values.iter().map(|&value| (1.0 - (top - f64::from(value)) / span).clamp(0.0, 1.0)).collect()
}

fn landmark(turn: &Turn) -> Landmark {
    let word = match turn.kind {
        TurnKind::Crescendo => "louder",
        TurnKind::Diminuendo => "softer",
        TurnKind::SubitoLoud => "suddenly loud",
        TurnKind::SubitoSoft => "suddenly soft",
        TurnKind::Accelerando => "faster",
        TurnKind::Ritardando => "slower",
        TurnKind::SuddenlyFaster => "suddenly fast",
        TurnKind::SuddenlySlower => "suddenly slow",
        TurnKind::ATempo => "back in tempo",
        TurnKind::Rest => "rest",
        TurnKind::Fermata => "long note",
    };
    Landmark { at: turn.start, until: turn.end, word }
}

#[cfg(test)]
mod tests;
