//! Questions for the class where the music changes, with the answers to uncover.

use super::spans::enough;
use crate::dance::Prompt;
use crate::dance::reading::SHORTEST_SHOWN;
use crate::grid::Phrase;
use crate::listening::{Articulation, Listening, Turn, TurnKind};
use crate::units::Beat;
use serde_json::Map;

/// The most questions in one draft: a lesson has time for a few.
const MOST: usize = 4;

/// The fewest turns that carry the questions alone; below, the form is asked about too.
const FEWEST: usize = 2;

/// Counts between questions.
const APART: f64 = 16.0;

/// Questions at the main turns, then about the form, at most four, by position.
pub(super) fn prompts(heard: &Listening) -> Vec<Prompt> {
    let mut turns: Vec<&Turn> = heard.turns.iter().filter(|turn| turn.sureness.0 >= 0.4).collect();
    // The most striking first; the earlier of equals, since a stable sort keeps their order.
    turns.sort_by(|a, b| strength(b).total_cmp(&strength(a)));
    let mut asked: Vec<Prompt> = Vec::new();
    // First one of each kind, so that a piece with many crescendos does not ask the same thing each time.
    let mut kinds: Vec<TurnKind> = Vec::new();
    for turn in turns {
        if asked.len() < MOST && !kinds.contains(&turn.kind) && add(heard, &mut asked, about_turn(turn)) {
            kinds.push(turn.kind);
        }
    }
    if asked.len() < FEWEST {
        for prompt in about_form(heard) {
            if asked.len() < FEWEST {
                add(heard, &mut asked, prompt);
            }
        }
    }
    asked.sort_by(|a, b| a.at.total_cmp(&b.at));
    asked
}

/// Adds a question unless it lies outside the grid or near another; tells whether it did.
fn add(heard: &Listening, asked: &mut Vec<Prompt>, prompt: Prompt) -> bool {
    let fits = prompt.at.0 < heard.grid.end().0
        && asked.iter().all(|other| (other.at.0 - prompt.at.0).abs() >= APART);
    if fits {
        asked.push(prompt);
    }
    fits
}

/// How striking a turn is: its sureness, times its size in steps that a class notices.
///
/// A step is 4 LU for loudness and 6 % for tempo (sudden change rule, after Drake and Botte 1993 for tempo).
fn strength(turn: &Turn) -> f64 {
    let size = match turn.kind {
        TurnKind::Crescendo | TurnKind::Diminuendo | TurnKind::SubitoLoud | TurnKind::SubitoSoft => {
            (turn.to - turn.from).abs() / 4.0
        }
        TurnKind::Accelerando
        | TurnKind::Ritardando
        | TurnKind::SuddenlyFaster
        | TurnKind::SuddenlySlower
        | TurnKind::ATempo => (turn.to / turn.from.max(1.0)).max(1e-3).ln().abs() / 1.06f64.ln(),
        TurnKind::Rest | TurnKind::Fermata => 2.0,
    };
    f64::from(turn.sureness.0) * size.min(5.0)
}

/// A question about a turn, asked as soon as all of it has been heard.
fn about_turn(turn: &Turn) -> Prompt {
    let (question, answer) = match turn.kind {
        TurnKind::Crescendo => ("What happened to the loudness?", "It grew louder bit by bit: a crescendo."),
        TurnKind::Diminuendo => {
            ("What happened to the loudness?", "It grew softer bit by bit: a diminuendo.")
        }
        TurnKind::SubitoLoud => ("What changed all at once?", "It was suddenly loud: subito forte."),
        TurnKind::SubitoSoft => ("What changed all at once?", "It was suddenly soft: subito piano."),
        TurnKind::Accelerando => {
            ("What happened to the speed?", "It grew faster bit by bit: an accelerando.")
        }
        TurnKind::Ritardando => ("What happened to the speed?", "It grew slower bit by bit: a ritardando."),
        TurnKind::SuddenlyFaster => ("What changed all at once?", "It was suddenly faster: a new tempo."),
        TurnKind::SuddenlySlower => ("What changed all at once?", "It was suddenly slower: a new tempo."),
        TurnKind::ATempo => ("What happened to the speed?", "It went back to how it was: a tempo."),
        TurnKind::Rest => ("What did you hear when you froze?", "Nothing: the music had a rest."),
        TurnKind::Fermata => {
            ("What happened to the beat when you froze?", "It waited: one note was held, a fermata.")
        }
    };
    let at = Beat(turn.end_beat.0.max(turn.start_beat.0).max(0.0).round());
    Prompt { at, question: question.into(), answer: answer.into(), pause: false, unknown: Map::new() }
}

/// Questions about returning and new tunes, smooth and short notes, and the count.
fn about_form(heard: &Listening) -> Vec<Prompt> {
    let phrases = heard.grid.phrases();
    let ask = |at: usize, question: &str, answer: String| Prompt {
        at: Beat::from(at),
        question: question.into(),
        answer,
        pause: false,
        unknown: Map::new(),
    };
    let base = |phrase: &Phrase| phrase.letter.trim_end_matches(['\'', '\u{2032}']).to_owned();
    let mut asked = Vec::new();
    let second = |index: usize| phrases[..index].iter().any(|earlier| base(earlier) == base(&phrases[index]));
    if let Some(back) = (1..phrases.len()).find(|&index| second(index)) {
        let answer = format!("Yes: it is tune {} again.", base(&phrases[back]));
        asked.push(ask(phrases[back].start, "Have we heard this tune before?", answer));
    }
    if let Some(new) = (1..phrases.len()).find(|&index| !second(index)) {
        let answer = format!("A new one: tune {}.", base(&phrases[new]));
        asked.push(ask(phrases[new].start, "Is this the same tune or a new one?", answer));
    }
    for (phrase, character) in phrases.iter().zip(&heard.phrases).skip(1) {
        let answer = match character.articulation {
            Articulation::Staccato => "Short: staccato.",
            Articulation::Legato => "Smooth: legato.",
            Articulation::Detached | Articulation::Unclear => continue,
        };
        asked.push(ask(phrase.start, "Are the notes short or smooth?", answer.into()));
    }
    if let Some(metre) = heard.metres.first() {
        let late = heard.grid.len() / 2;
        let at = heard.grid.bars().iter().copied().find(|&bar| bar >= late);
        if let Some(at) = at.filter(|&at| at + enough(&heard.grid, at, SHORTEST_SHOWN) <= heard.grid.len()) {
            asked.push(ask(at, "How many beats are in a bar?", format!("{}.", metre.beats)));
        }
    }
    asked
}
