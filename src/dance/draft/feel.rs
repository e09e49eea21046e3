//! What the music is like in a span, as far as moves care.

use super::spans::Span;
use crate::dance::{Move, StepKind};
use crate::listening::{Articulation, Dynamic, Listening, TurnKind};
use crate::units::{Beat, Lufs};

/// A tempo this much beside a move's range is heard as the range's end: 3 %, the difference that is just noticed over
/// six beats (Drake and Botte 1993).
const JUST_NOTICED: f64 = 0.03;

/// ... and never more than three counts a minute, which the check's rule on tempo spares.
const MOST_SPARED: f64 = 3.0;

/// Steps a minute are limits of the body where they are published: only their rounding is spared.
const ROUNDING: f64 = 0.49;

/// One count in eight may stray from the others: players hurry and linger. Our decision.
const STRAY: usize = 8;

/// The most counts that may stray; four are no passing matter for the check either.
const MOST_STRAY: usize = 3;

/// From this energy a move is wild, which a soft passage is not for. Our decision, the check's too.
const WILD: u8 = 4;

/// Moves this many levels of energy from the music contradict it. Our decision, the check's too.
const CONTRADICTION: u8 = 3;

/// What the music is like in a span.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Feel {
    /// 1 to 5: what a move should ask.
    pub(super) energy: u8,
    /// Energy of the phrase under the span's middle, 1 to 5.
    phrase_energy: u8,
    /// Whether it is soft here, measured by the whole recording.
    soft: bool,
    pub(super) articulation: Articulation,
    /// Slowest and fastest local tempo, counts a minute, without single straying counts.
    pub(super) tempo: (f64, f64),
}

impl Feel {
    /// What the music is like in a span.
    pub(super) fn of(heard: &Listening, span: &Span) -> Self {
        let character = span.phrase.and_then(|index| heard.phrases.get(index));
        let mut energy = character.map_or(3, |character| character.energy.clamp(1, 5));
        let middle = Beat(0.5 * (span.start + span.end) as f64);
        let phrase_energy = heard
            .grid
            .phrase_at(middle)
            .and_then(|phrase| heard.phrases.get(phrase.index))
            .map_or(energy, |character| character.energy);
        // A phrase's energy is that of its middle; after a sudden turn inside it, one side is stronger than the other.
        if span.part > 0 {
            match span.sudden.map(|turn| turn.kind) {
                Some(TurnKind::SubitoLoud | TurnKind::SuddenlyFaster) => energy = (energy + 1).min(5),
                Some(TurnKind::SubitoSoft | TurnKind::SuddenlySlower) => energy = (energy - 1).max(1),
                _ => {}
            }
        }
        let soft = is_soft(heard, span);
        if soft {
            energy = energy.min(WILD - 1);
        }
        Self {
            energy,
            phrase_energy,
            soft,
            articulation: articulation(heard, span),
            tempo: tempo(heard, span),
        }
    }

    /// How far outside a move's range the tempo goes, counts a minute; 0 inside, or beside it by less than is noticed.
    pub(super) fn tempo_miss(&self, movement: &Move) -> f64 {
        miss(movement, self.tempo)
    }

    /// Whether a move asks for what the music plainly is not: wild in a soft passage, or still in a wild one.
    pub(super) fn contradicts(&self, movement: &Move) -> bool {
        let energy = movement.energy.level();
        let apart = energy.abs_diff(self.phrase_energy) >= CONTRADICTION;
        (self.soft && energy >= WILD) || apart
    }
}

/// How far outside a move's range tempi between the slowest and the fastest go, as [`Feel::tempo_miss`] says.
pub(super) fn miss(movement: &Move, (slow, fast): (f64, f64)) -> f64 {
    let (slowest, fastest) = (movement.tempo.slowest.0, movement.tempo.fastest.0);
    let spared = |limit: f64| match movement.step {
        StepKind::Walk | StepKind::Run | StepKind::Jump => ROUNDING,
        _ => (JUST_NOTICED * limit).min(MOST_SPARED),
    };
    (slowest - spared(slowest) - slow).max(fast - fastest - spared(fastest)).max(0.0)
}

/// How a phrase's notes are joined; where that is unclear, how they are in phrases that sound like it.
fn articulation(heard: &Listening, span: &Span) -> Articulation {
    let phrases = || heard.grid.phrases().iter().zip(&heard.phrases);
    let Some((phrase, character)) = span.phrase.and_then(|index| phrases().nth(index)) else {
        return Articulation::Unclear;
    };
    let alike = |other: &str| letter_of(other).0 == letter_of(&phrase.letter).0;
    let clear = |articulation: &Articulation| *articulation != Articulation::Unclear;
    let mut others = phrases()
        .filter(|(other, _)| alike(&other.letter))
        .map(|(_, character)| character.articulation)
        .filter(clear);
    Some(character.articulation).filter(clear).or_else(|| others.next()).unwrap_or(Articulation::Unclear)
}

/// The letter without its primes, and how many primes it has.
pub(super) fn letter_of(letter: &str) -> (&str, usize) {
    let base = letter.trim_end_matches(['\'', '\u{2032}']);
    (base, letter.chars().count() - base.chars().count())
}

/// Slowest and fastest tempo in a span, without the counts that stray from the others.
fn tempo(heard: &Listening, span: &Span) -> (f64, f64) {
    let mut tempi: Vec<f64> =
        (span.start..span.end).map(|beat| heard.grid.tempo_at(Beat::from(beat)).0).collect();
    tempi.sort_by(f64::total_cmp);
    let stray = (tempi.len() / STRAY).min(MOST_STRAY);
    let at = |index: usize| tempi.get(index).copied().unwrap_or(f64::INFINITY);
    (at(stray), at(tempi.len().saturating_sub(stray + 1)))
}

/// Whether the middle loudness of a span is piano or less, where the recording tells soft and loud apart.
fn is_soft(heard: &Listening, span: &Span) -> bool {
    let contour = &heard.loudness.short_term;
    if heard.dynamics.flat() {
        return false;
    }
    // Half-way through a beat is as near as a three-second window can tell.
    let mut levels: Vec<f32> = (span.start..span.end)
        .filter_map(|beat| contour.at(heard.grid.seconds_at(Beat(beat as f64 + 0.5))))
        .collect();
    levels.sort_by(f32::total_cmp);
    let middle = levels.get(levels.len() / 2).map(|&level| Lufs(f64::from(level)));
    middle.and_then(|level| heard.dynamics.mark(level)).is_some_and(|mark| mark <= Dynamic::P)
}
