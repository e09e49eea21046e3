//! Hand-outs: how a dance leaves the laptop, on paper, for the wall and for home.
//!
//! Everything here turns a dance, and what was heard in its recording, into the bytes of one file. No file is written
//! here and no clock is read: the same dance gives the same bytes on every day and every machine. Nothing that only
//! concerns the teacher's own machine (folders, user names, notes to herself) is put in unless she asks for it.

mod captions;
mod cautions;
mod count_sheet;
mod covering_note;
mod drawing;
mod facts;
mod form;
mod hill;
mod jams;
mod kind;
mod landing_chart;
mod like;
mod listening_map;
mod markup;
mod midi;
mod page;
mod rights;
mod tables;

pub use covering_note::covering_note;
pub use kind::{Kind, Paper};
pub use landing_chart::Chart;
pub use page::{Sound, page, wave};
pub use rights::{Law, rule_for};

use crate::dance::Dance;
use crate::listening::Listening;

/// What a hand-out is made from.
#[derive(Debug, Clone, Copy)]
pub struct Material<'a> {
    /// The dance.
    pub dance: &'a Dance,
    /// What was heard in its recording; `None` when the recording is missing, and then hills are flat.
    pub heard: Option<&'a Listening>,
    /// The paper it is printed on.
    pub paper: Paper,
    /// Whether the teacher's notes to herself, and why each cue is where it is, are printed too.
    pub notes: bool,
}

/// Why a hand-out cannot be made.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum HandoutError {
    /// It does not come in that form: another ending must be chosen.
    #[error("a {kind} does not come as '.{ending}'; it comes as {}", endings(*kind))]
    Ending {
        /// What was asked for.
        kind: Kind,
        /// In which form.
        ending: String,
    },
    /// There are no counts to print: the grid must be repaired first.
    #[error("the dance has no beats, so there are no counts to print; repair its grid first")]
    NoBeats,
    /// The page has nothing to play: the recording must be found first.
    #[error("the page for home plays the recording, which was not found; put it beside the dance")]
    NoSound,
}

/// The forms of a kind in a sentence: `.html or .pdf`.
fn endings(kind: Kind) -> String {
    kind.endings().iter().map(|ending| format!("'.{ending}'")).collect::<Vec<_>>().join(" or ")
}

/// The bytes of one hand-out; the page for home, which needs the sound too, is made by [`page`]. `ending` is the file name's, without the dot, in lower case.
///
/// # Errors
/// [`HandoutError`]: the kind does not come in that form, or the dance has nothing to print.
pub fn make(kind: Kind, ending: &str, material: &Material<'_>) -> Result<Vec<u8>, HandoutError> {
    if material.dance.grid.is_empty() {
        return Err(HandoutError::NoBeats);
    }
    match (kind, ending) {
        (Kind::CountSheet, "html") => Ok(count_sheet::html(material).into_bytes()),
        (Kind::CountSheet, "pdf") => {
            let title = format!("{}: count sheet", material.dance.title);
            Ok(drawing::pdf(&title, &count_sheet::sheets(material)))
        }
        (Kind::ListeningMap | Kind::AnsweredMap, "svg" | "pdf") => {
            Ok(drawn(listening_map::draw(material, kind == Kind::AnsweredMap), ending))
        }
        (Kind::Page, "html") => Err(HandoutError::NoSound),
        (Kind::Captions, "vtt") => Ok(captions::webvtt(material).into_bytes()),
        (Kind::Captions, "srt") => Ok(captions::subrip(material).into_bytes()),
        (Kind::Beats, "csv") => Ok(tables::beats(material).into_bytes()),
        (Kind::Cues, "csv") => Ok(tables::cues(material).into_bytes()),
        (Kind::TempoMap, "mid") => Ok(midi::midi(material)),
        (Kind::Annotations, "jams") => Ok(jams::jams(material).into_bytes()),
        _ => Err(HandoutError::Ending { kind, ending: ending.to_owned() }),
    }
}

/// Characters of a dance that its PDFs show as an empty box, each once, in the order in which they come.
#[must_use]
pub fn unprintable(dance: &Dance) -> Vec<char> {
    let moves = dance.moves.iter().flat_map(|entry| {
        let gentle =
            [&entry.seated, &entry.low_impact].map(|gentle| [gentle.words.as_str(), gentle.how.as_str()]);
        [entry.words.as_str(), &entry.how, &entry.sign].into_iter().chain(gentle.into_iter().flatten())
    });
    let texts = [dance.title.as_str()]
        .into_iter()
        .chain(dance.recording.title.as_deref())
        .chain(dance.recording.performer.as_deref())
        .chain(moves)
        .chain(dance.cues.iter().filter_map(|cue| cue.words.as_deref()))
        .chain(dance.prompts.iter().flat_map(|prompt| [prompt.question.as_str(), &prompt.answer]));
    let mut missing = Vec::new();
    for letter in texts.flat_map(str::chars) {
        if drawing::drawable(&letter.to_string()) == drawing::STAND_IN.to_string()
            && letter != drawing::STAND_IN
            && !missing.contains(&letter)
        {
            missing.push(letter);
        }
    }
    missing
}

/// A drawing as the bytes of an SVG or PDF file.
fn drawn(drawing: drawing::Drawing, ending: &str) -> Vec<u8> {
    if ending == "pdf" {
        let title = drawing.title.clone();
        drawing::pdf(&title, &[drawing])
    } else {
        drawing::svg(&drawing).into_bytes()
    }
}
