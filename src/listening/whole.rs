//! The whole: loudness and grid brought together into one [`Listening`].

use super::energy::Scale;
use super::loudness::{BLOCKS, Envelope, SILENCE, quantile};
use super::pulse::HeardGrid;
use super::tempo::{self, Pace};
use super::turns::{quiet, stills, turns};
use super::types::{Listening, PhraseCharacter, Pulse, SHORTEST, TempoPoint};
use super::{articulation, dynamics, summary};
use crate::grid::Grid;
use crate::units::{Bpm, Lufs, Seconds};

/// Version of the analyser: raised whenever the same recording may give another result, so that kept listenings
/// are heard again.
pub const ANALYSER: u32 = 13;

/// Everything that can be told from the loudness of a recording and its grid.
///
/// Fermatas are told from the grid alone; see [`describe_with_attacks`].
///
/// A recording that is silent or shorter than [`SHORTEST`] is said to be so and keeps no grid, whatever was heard.
#[must_use]
pub fn describe(envelope: &Envelope, heard: HeardGrid) -> Listening {
    describe_with_attacks(envelope, &[], heard)
}

/// The same where it is known when sounds begin (`attacks`, ascending): a note that is held is then heard, whatever
/// beats were counted or bent while it lasted.
#[must_use]
pub fn describe_with_attacks(envelope: &Envelope, attacks: &[Seconds], heard: HeardGrid) -> Listening {
    let length = envelope.length();
    let pulse = match heard.pulse {
        _ if length.0 < SHORTEST.0 => Pulse::TooShort,
        _ if envelope.silent() => Pulse::Silent,
        pulse => pulse,
    };
    let heard = match pulse {
        Pulse::Clear | Pulse::Unsure => heard,
        _ => HeardGrid { pulse, grid: Grid::default(), sureness: Vec::new(), metres: Vec::new() },
    };
    let HeardGrid { grid, sureness, metres, .. } = heard;
    // As it is written, so that what is remembered of a recording equals what was heard.
    let grid = grid.rounded();
    // What counts as a rest depends on how long a beat is there, and the tempo on which beats pass in a rest.
    let roughly = Pace::of(&grid, &[], &[]).curve(&grid);
    let quiet = quiet(envelope, &|at| tempo::beat_length(&roughly, at));
    let stills = stills(attacks, &grid);
    let standing: Vec<(Seconds, Seconds)> = stills.iter().map(|still| (still.start, still.end)).collect();
    let pace = Pace::of(&grid, &quiet.spans(), &standing);
    let tempo = pace.curve(&grid);
    let turns = match pulse {
        // Nothing is told of what is not there, or too short to be anything.
        Pulse::Silent | Pulse::TooShort => Vec::new(),
        _ => turns(envelope, &quiet, &grid, &pace, &tempo, &sureness, &stills),
    };
    let loudness = envelope.summarised();
    let dynamics = dynamics::dynamics(envelope);
    let scale = Scale::of(envelope);
    let phrases = grid
        .phrase_spans()
        .map(|span| {
            let (from, to) = (grid.seconds_at(span.start), grid.seconds_at(span.end));
            let bpm = tempo::median(&tempo[span.start.index()..span.end.index()])
                .unwrap_or_else(|| grid.tempo_at(span.start));
            let level = median_level(&loudness.short_term.values, from, to);
            let block = |at: Seconds| (at.0 * BLOCKS).round().max(0.0) as usize;
            let notes = articulation::read(envelope, block(from)..block(to));
            PhraseCharacter {
                bpm: Bpm((bpm.0 * 100.0).round() / 100.0),
                level,
                dynamic: if level.0 > SILENCE { dynamics.mark(level) } else { None },
                articulation: notes.articulation,
                energy: scale.energy(level, bpm, notes.notes),
            }
        })
        .collect();
    let hundredths =
        |point: TempoPoint| TempoPoint { at: point.at, bpm: Bpm((point.bpm.0 * 100.0).round() / 100.0) };
    let tempo = tempo.into_iter().map(hundredths).collect();
    let mut listening = Listening {
        analyser: ANALYSER,
        length,
        pulse,
        grid,
        sureness,
        metres,
        tempo,
        loudness,
        dynamics,
        phrases,
        turns,
        summary: Vec::new(),
    };
    let sound = summary::Sound { as_played: envelope.as_played(), clipped: envelope.clipped() };
    listening.summary = summary::sentences(&listening, sound);
    listening
}

/// Median of the values (one each 0.1 s) from one instant to another, [`SILENCE`] when there are none.
fn median_level(values: &[f32], from: Seconds, to: Seconds) -> Lufs {
    let index = |at: Seconds| ((at.0 * 10.0).round().max(0.0) as usize).min(values.len());
    let mut here: Vec<f64> =
        values[index(from)..index(to).max(index(from))].iter().map(|v| f64::from(*v)).collect();
    here.sort_by(f64::total_cmp);
    Lufs(quantile(&here, 0.5).unwrap_or(SILENCE))
}
