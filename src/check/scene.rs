//! What every rule looks at: the dance in the order of the music, and what was heard put on its counts.

use super::replacing::{self, Faults};
use super::turns::{self, Shown};
use crate::dance::{Cue, Dance, Move, MoveBook};
use crate::listening::{Listening, PhraseCharacter};
use crate::units::{Beat, Bpm, Counts, Seconds};
use std::cell::{Cell, OnceCell};

/// Letters of a cue that a finding quotes. Our decision.
const LONGEST_QUOTE: usize = 40;

/// A dance and what was heard, made ready once for all rules.
pub(super) struct Scene<'a> {
    /// The dance that is checked.
    pub(super) dance: &'a Dance,
    /// What was heard, or `None` when the recording is missing.
    pub(super) heard: Option<&'a Listening>,
    /// Where moves are looked for that fit better; `None` when none are to be offered.
    pub(super) book: Option<&'a MoveBook>,
    /// The usable cues in the order of the music.
    pub(super) steps: Vec<Step<'a>>,
    /// The turns a dance should show, on the dance's beats; empty without a recording or a grid.
    pub(super) turns: Vec<Shown>,
    /// Tempo at each beat of the dance's grid.
    tempi: Vec<Bpm>,
    /// What is found in the dance as it is, kept once it was asked for.
    pub(super) faults: OnceCell<Faults>,
    /// How many moves may still be tried in the place of others.
    pub(super) tries: Cell<usize>,
}

/// A cue in its place: positions and length are finite, the length is above zero.
#[derive(Debug, Clone, Copy)]
pub(super) struct Step<'a> {
    /// Index in the dance's order.
    pub(super) index: usize,
    /// The cue.
    pub(super) cue: &'a Cue,
    /// Its move, when it names one that the dance holds.
    pub(super) movement: Option<&'a Move>,
    /// What it puts on the screen.
    pub(super) words: &'a str,
    /// Where it is over for the class: its end, or the next cue's start when that comes first.
    pub(super) until: Beat,
}

impl Step<'_> {
    /// How long the class does it.
    pub(super) fn lasts(&self) -> Counts {
        self.until.since(self.cue.at)
    }

    /// Its words as a finding quotes them: on one line, cut where a sentence would drown in them.
    pub(super) fn named(&self) -> String {
        let words: Vec<&str> = self.words.split_whitespace().collect();
        let words = words.join(" ");
        match words.char_indices().nth(LONGEST_QUOTE) {
            _ if words.is_empty() => "(no words)".into(),
            Some((end, _)) => format!("{}\u{2026}", words[..end].trim_end()),
            None => words,
        }
    }

    /// Whether the class is told the same again as in `other`.
    pub(super) fn says_same_as(&self, other: &Step<'_>) -> bool {
        self.cue.movement == other.cue.movement
            && self.cue.side == other.cue.side
            && self.words == other.words
    }
}

/// Whether a cue has a place and a length that mean something.
pub(super) fn usable(cue: &Cue) -> bool {
    cue.at.0.is_finite() && cue.counts.0.is_finite() && cue.counts.0 > 0.0
}

impl<'a> Scene<'a> {
    /// Puts the dance in order and what was heard on its beats.
    pub(super) fn new(dance: &'a Dance, heard: Option<&'a Listening>, book: Option<&'a MoveBook>) -> Self {
        let mut order: Vec<usize> =
            dance.cues.iter().enumerate().filter(|(_, cue)| usable(cue)).map(|(index, _)| index).collect();
        order.sort_by(|&a, &b| dance.cues[a].at.total_cmp(&dance.cues[b].at));
        let steps = order
            .iter()
            .enumerate()
            .map(|(place, &index)| {
                let cue = &dance.cues[index];
                let next = order.get(place + 1).map(|&next| dance.cues[next].at);
                let until = next.map_or(cue.end(), |next| Beat(next.0.min(cue.end().0)));
                Step { index, cue, movement: dance.move_of(cue), words: dance.words_of(cue), until }
            })
            .collect();
        let tempi = (0..dance.grid.len()).map(|beat| dance.grid.tempo_at(Beat::from(beat))).collect();
        let tries = Cell::new(replacing::tries(order.len()));
        let faults = OnceCell::new();
        let mut scene = Self { dance, heard, book, steps, turns: Vec::new(), tempi, faults, tries };
        scene.turns = turns::shown(&scene);
        scene
    }

    /// Whether one more move may be tried in the place of another; counts it.
    pub(super) fn may_try(&self) -> bool {
        let left = self.tries.get();
        self.tries.set(left.saturating_sub(1));
        left > 0
    }

    /// When a position of the dance sounds.
    pub(super) fn seconds(&self, at: Beat) -> Seconds {
        self.dance.grid.seconds_at(at)
    }

    /// The tempo at each beat of the grid.
    pub(super) fn tempi(&self) -> &[Bpm] {
        &self.tempi
    }

    /// The tempi at the counts of a step that lie in the grid; empty outside it.
    pub(super) fn tempi_under(&self, step: &Step<'_>) -> &[Bpm] {
        let end = (step.until.0.max(0.0).ceil() as usize).min(self.tempi.len());
        let start = step.cue.at.index().min(end);
        &self.tempi[start..end]
    }

    /// What was heard of the phrase at the middle of a step; `None` outside the phrases or when nothing was heard.
    pub(super) fn phrase_under(&self, step: &Step<'_>) -> Option<&'a PhraseCharacter> {
        let heard = self.heard?;
        let middle = self.seconds(Beat(0.5 * (step.cue.at.0 + step.until.0)));
        let phrase = heard.grid.phrase_at(heard.grid.beat_at(middle))?;
        heard.phrases.get(phrase.index)
    }

    /// The energy of the music at the middle of a step, 1 to 5; `None` where no phrase was heard.
    pub(super) fn music_energy(&self, step: &Step<'_>) -> Option<u8> {
        self.phrase_under(step).map(|phrase| phrase.energy)
    }

    /// Moves that cues use, each with the step that uses it first, in the order of the music.
    pub(super) fn moves_used(&self) -> Vec<(&'a Move, &Step<'a>)> {
        let mut used: Vec<(&'a Move, &Step<'a>)> = Vec::new();
        for step in &self.steps {
            if let Some(entry) = step.movement
                && !used.iter().any(|(known, _)| known.id == entry.id)
            {
                used.push((entry, step));
            }
        }
        used
    }

    /// Neighbouring steps in which `alike` holds for each pair, with no gap of a count or more between them.
    pub(super) fn runs(&self, alike: impl Fn(&Step<'a>, &Step<'a>) -> bool) -> Vec<&[Step<'a>]> {
        self.steps
            .chunk_by(|before, after| alike(before, after) && after.cue.at.since(before.until).0 < 1.0)
            .collect()
    }
}
