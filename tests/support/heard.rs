//! Listenings made by hand: what a piece with given phrases and turns would be heard as.

#![allow(dead_code, reason = "every test binary uses its own share of these")]

use farandole::grid::{Grid, Phrase};
use farandole::listening::{
    Articulation, Contour, Dynamic, Dynamics, Listening, Loudness, Metre, PhraseCharacter, Pulse, Sureness,
    TempoPoint, Turn, TurnKind,
};
use farandole::units::{Beat, Bpm, Decibels, Lufs, Seconds};

/// One phrase to hear.
#[derive(Debug, Clone)]
pub(crate) struct Heard {
    pub(crate) letter: String,
    pub(crate) counts: usize,
    /// Tempo at its start and its end.
    pub(crate) bpm: (f64, f64),
    pub(crate) energy: u8,
    pub(crate) articulation: Articulation,
}

/// A phrase at a steady tempo, its notes joined in no clear way.
pub(crate) fn phrase(letter: &str, counts: usize, bpm: f64, energy: u8) -> Heard {
    Heard { letter: letter.into(), counts, bpm: (bpm, bpm), energy, articulation: Articulation::Unclear }
}

impl Heard {
    pub(crate) fn joined(self, articulation: Articulation) -> Self {
        Self { articulation, ..self }
    }

    pub(crate) fn speeding_to(self, bpm: f64) -> Self {
        Self { bpm: (self.bpm.0, bpm), ..self }
    }
}

/// A turn by beats; levels rise or fall by 10 LU, tempi are `from` and `to` of the grid.
pub(crate) fn turn(kind: TurnKind, start: f64, end: f64) -> (TurnKind, f64, f64) {
    (kind, start, end)
}

/// What is heard of phrases in bars of four after `pickup` upbeats, with turns.
pub(crate) fn heard(pickup: usize, phrases: &[Heard], turns: &[(TurnKind, f64, f64)]) -> Listening {
    let mut at = 0.5;
    let mut beats = Vec::new();
    let mut starts = Vec::new();
    let first = phrases.first().map_or(120.0, |phrase| phrase.bpm.0);
    for _ in 0..pickup {
        beats.push(Seconds(at));
        at += 60.0 / first;
    }
    for phrase in phrases {
        starts.push(Phrase { start: beats.len(), letter: phrase.letter.clone() });
        for count in 0..phrase.counts {
            beats.push(Seconds(at));
            let share = count as f64 / phrase.counts as f64;
            at += 60.0 / (phrase.bpm.0 + share * (phrase.bpm.1 - phrase.bpm.0));
        }
    }
    let bars: Vec<usize> = (pickup..beats.len()).step_by(4).collect();
    let grid = Grid::new(beats, bars.clone(), starts).expect("ascending by construction");
    let turns = turns.iter().map(|&(kind, start, end)| a_turn(&grid, kind, start, end)).collect();
    let character = |phrase: &Heard| PhraseCharacter {
        bpm: Bpm(0.5 * (phrase.bpm.0 + phrase.bpm.1)),
        level: Lufs(-32.0 + 4.0 * f64::from(phrase.energy)),
        dynamic: Some(
            [Dynamic::Pp, Dynamic::P, Dynamic::Mp, Dynamic::F, Dynamic::Ff][usize::from(phrase.energy) - 1],
        ),
        articulation: phrase.articulation,
        energy: phrase.energy,
    };
    let flat = Contour { step: Seconds(0.1), values: vec![-23.0; (at * 10.0) as usize] };
    Listening {
        analyser: 1,
        length: Seconds(at),
        pulse: Pulse::Clear,
        sureness: vec![Sureness(1.0); bars.len()],
        metres: vec![Metre { from: 0, beats: 4, compound: false }],
        tempo: grid
            .beats()
            .iter()
            .enumerate()
            .map(|(index, &at)| TempoPoint { at, bpm: grid.tempo_at(Beat::from(index)) })
            .collect(),
        loudness: Loudness {
            integrated: Some(Lufs(-23.0)),
            range: None,
            peak: Decibels(-3.0),
            momentary: flat.clone(),
            short_term: flat,
        },
        dynamics: Dynamics { marks: vec![(Dynamic::P, Lufs(-40.0)), (Dynamic::F, Lufs(-23.0))] },
        phrases: phrases.iter().map(character).collect(),
        turns,
        summary: Vec::new(),
        grid,
    }
}

fn a_turn(grid: &Grid, kind: TurnKind, start: f64, end: f64) -> Turn {
    let (start_beat, end_beat) = (Beat(start), Beat(end));
    let (begins, ends) = (grid.seconds_at(start_beat), grid.seconds_at(end_beat));
    let (from, to) = match kind {
        TurnKind::Crescendo | TurnKind::SubitoLoud => (-30.0, -20.0),
        TurnKind::Diminuendo | TurnKind::SubitoSoft => (-20.0, -30.0),
        TurnKind::Rest | TurnKind::Fermata => (0.0, ends.since(begins).0),
        _ => (grid.tempo_at(start_beat).0, grid.tempo_at(end_beat).0),
    };
    Turn { kind, start: begins, end: ends, start_beat, end_beat, from, to, sureness: Sureness(0.9) }
}
