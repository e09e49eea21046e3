//! Incoming: the beats that another program (or this one) wrote into a file, to be taken as anchors of a grid.
//!
//! Pure: bytes in, beats out; no file is opened here. Three forms are read: tables of times (CSV and its relatives), JAMS
//! and Standard MIDI Files. What a file is, is told by what is in it; its name only speaks where the two disagree.

mod jams;
mod midi;
mod refusal;
mod table;
mod text;

pub use refusal::Refusal;

use crate::grid::{Anchor, Phrase};
use crate::units::Seconds;

/// The largest file of beats that is read: a table of an hour of beats takes under a megabyte.
pub const LARGEST: u64 = 16 << 20;
/// The most beats that are taken: more than eight hours of them.
const MOST: usize = 100_000;
/// The fewest: one beat is no grid.
const FEWEST: usize = 2;
/// Two times nearer than this are one beat, written twice. A twentieth of a second: no one claps so fast. Our decision.
const TWICE: f64 = 0.05;
/// Beats faster than this are more than a class can count: 270 a minute.
const QUICKEST: f64 = 0.22;

/// What kind of file it was.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// One time a line, with or without more columns.
    Table,
    /// JSON Annotated Music Specification, or what this program prints as JSON.
    Json,
    /// A tempo map.
    Midi,
}

/// The beats of a file.
#[derive(Debug, Clone, PartialEq)]
pub struct Incoming {
    /// What kind of file it was.
    pub form: Form,
    /// When the beats are, strictly ascending, none negative; at least two.
    pub beats: Vec<Seconds>,
    /// Which of them start bars, ascending; empty when the file does not say.
    pub bars: Vec<usize>,
    /// Which start phrases, ascending; empty when the file does not say. A letter may be empty.
    pub phrases: Vec<Phrase>,
    /// Sentences on what was left out or joined, for the teacher.
    pub notes: Vec<String>,
    /// How the beats go on past the last, for a tempo map without an end.
    open: Option<GoingOn>,
}

/// How beats go on.
#[derive(Debug, Clone, Copy, PartialEq)]
struct GoingOn {
    /// When the next one is, in seconds.
    next: f64,
    /// Seconds from beat to beat.
    beat: f64,
    /// Beats in a bar, if bars are known.
    bar: Option<usize>,
}

impl Incoming {
    /// What the file says of a recording of some length, as one anchor. A tempo map without notes goes on to the end.
    #[must_use]
    pub fn anchor(&self, length: Seconds) -> Anchor {
        let (mut beats, mut bars) = (self.beats.clone(), self.bars.clone());
        if let Some(GoingOn { next, beat, bar }) = self.open {
            let mut at = next;
            while at < length.0 && beats.len() < MOST {
                if let (Some(bar), Some(before)) = (bar, bars.last())
                    && beats.len() - before >= bar
                {
                    bars.push(beats.len());
                }
                beats.push(Seconds(at));
                at += beat;
            }
        }
        let beats = beats.into_iter().map(|at| Seconds((at.0 * 1e4).round() / 1e4)).collect();
        Anchor::Given { beats, bars, phrases: self.phrases.clone() }
    }

    /// How many of the beats lie after the end of a recording of some length: they are passed over.
    #[must_use]
    pub fn beyond(&self, length: Seconds) -> usize {
        self.beats.iter().filter(|beat| beat.0 > length.0).count()
    }
}

/// Reads the beats in the bytes of a file. `ending` is its name's, without the dot, in lower case; it may be empty.
///
/// # Errors
/// [`Refusal`]: why no beats can be taken from it, and what to do.
pub fn read(ending: &str, bytes: &[u8]) -> Result<Incoming, Refusal> {
    if bytes.is_empty() {
        return Err(Refusal::Empty);
    }
    if bytes.len() as u64 > LARGEST {
        return Err(Refusal::TooLarge);
    }
    if let Some(song) = midi::inside(bytes) {
        return midi::read(song);
    }
    if matches!(ending, "mid" | "midi") {
        return Err(Refusal::NotMidi);
    }
    let text = text::of(bytes).ok_or(Refusal::NotText)?;
    if text.trim_start().starts_with(['{', '[']) {
        return jams::read(&text);
    }
    if ending == "jams" {
        return Err(Refusal::NotJson { line: 1 });
    }
    table::read(&text)
}

/// One beat as a file has it, before it is looked at together with the others.
#[derive(Debug, Clone, PartialEq)]
struct Mark {
    at: f64,
    /// Whether it starts a bar; `None` where nothing is said.
    bar: Option<bool>,
    /// The letter of the phrase that it starts.
    phrase: Option<String>,
}

/// The marks, which ascend, as beats: none before the sound begins, and none twice.
fn gathered(form: Form, marks: Vec<Mark>, mut notes: Vec<String>) -> Result<Incoming, Refusal> {
    let (mut beats, mut bars, mut phrases) = (Vec::new(), Vec::new(), Vec::<Phrase>::new());
    let (mut before, mut twice) = (0, 0);
    for mark in marks {
        if mark.at < 0.0 {
            before += 1;
            continue;
        }
        let same = beats.last().is_some_and(|last: &Seconds| mark.at - last.0 < TWICE);
        if same {
            twice += 1;
        } else {
            beats.push(Seconds(mark.at));
        }
        let here = beats.len() - 1;
        if mark.bar == Some(true) && bars.last() != Some(&here) {
            bars.push(here);
        }
        if let Some(letter) = mark.phrase
            && phrases.last().is_none_or(|last| last.start < here)
        {
            phrases.push(Phrase { start: here, letter });
        }
    }
    if beats.len() < FEWEST {
        return Err(Refusal::TooFew { beats: beats.len() });
    }
    if beats.len() > MOST {
        return Err(Refusal::TooMany { beats: beats.len() });
    }
    if before > 0 {
        notes.push(format!("{} before the sound begins, and left out", are(before)));
    }
    if twice > 0 {
        notes.push(format!(
            "{} within a twentieth of a second of another, and taken for the same beat",
            are(twice)
        ));
    }
    let mut gaps: Vec<f64> = beats.windows(2).map(|pair| pair[1].0 - pair[0].0).collect();
    gaps.sort_by(f64::total_cmp);
    if gaps[gaps.len() / 2] < QUICKEST {
        notes.push(
            "these beats are faster than a class can count: halve them when you repair the dance".into(),
        );
    }
    Ok(Incoming { form, beats, bars, phrases, notes, open: None })
}

fn are(count: usize) -> String {
    if count == 1 { "1 beat of the file is".into() } else { format!("{count} beats of the file are") }
}

/// Takes what is said of bars away where every beat is called a first one: that says nothing.
fn without_empty_bars(marks: &mut [Mark]) {
    if marks.iter().all(|mark| mark.bar == Some(true)) {
        marks.iter_mut().for_each(|mark| mark.bar = None);
    }
}
