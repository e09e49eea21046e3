//! Why a command could not be done: one clear sentence each, with the way out.

use crate::dance::{CarryError, DraftError, MoveBookError};
use crate::handout::HandoutError;
use crate::incoming::Refusal;
use crate::lesson::ProgrammeError;
use crate::recording::DecodeError;
use crate::screen::ScreenError;
use crate::shelf::{BundleError, LoadError, SaveError};
use std::io;
use std::path::PathBuf;

/// Why a command ended with exit code 2.
#[derive(Debug, thiserror::Error)]
pub enum Problem {
    /// The recording cannot be used.
    #[error(transparent)]
    Decode(#[from] DecodeError),
    /// The dance cannot be opened.
    #[error(transparent)]
    Load(#[from] LoadError),
    /// The dance cannot be saved.
    #[error(transparent)]
    Save(#[from] SaveError),
    /// No dance can be drafted from what was heard.
    #[error("cannot draft a dance for '{}': {source}", path.display())]
    Draft {
        /// The recording.
        path: PathBuf,
        /// What is missing.
        source: DraftError,
    },
    /// A file of the teacher's own moves cannot be used.
    #[error("cannot use the moves in '{}': {source}", path.display())]
    Moves {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        source: MoveBookError,
    },
    /// No beats can be taken from a file.
    #[error("cannot take the beats from '{}': {source}", path.display())]
    Beats {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        source: Refusal,
    },
    /// A lesson cannot be read.
    #[error("cannot read the lesson in '{}': {source}", path.display())]
    Programme {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        source: ProgrammeError,
    },
    /// A file could not be read or written.
    #[error("cannot {what} '{}': {}", path.display(), crate::shelf::plain(source))]
    File {
        /// `read`, `write`, `make`.
        what: &'static str,
        /// Which.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// A dance is there already.
    #[error("'{}' is already there; add --replace to make it anew (what is in it is then lost), or --output with another name", path.display())]
    Exists {
        /// Which file.
        path: PathBuf,
    },
    /// A demo file would replace a file of the teacher's.
    #[error("'{}' is already there and is left as it is; name another folder", path.display())]
    InTheWay {
        /// Which file.
        path: PathBuf,
    },
    /// A hand-out would replace a file that is there.
    #[error("'{}' is already there; add --replace to make it anew, or name another place", path.display())]
    HandedOut {
        /// Which file.
        path: PathBuf,
    },
    /// The folder for the hand-outs is missing, or is a file.
    #[error("there is no folder '{}' to put hand-outs in; make it, or name another", path.display())]
    NoFolder {
        /// The folder.
        path: PathBuf,
    },
    /// A hand-out cannot be made.
    #[error("cannot make '{}': {source}", path.display())]
    HandOut {
        /// The file it should become.
        path: PathBuf,
        /// What is missing.
        source: HandoutError,
    },
    /// A chart is drawn in two forms only.
    #[error("cannot draw the landing chart as '{}': give a name that ends in .svg or .pdf", path.display())]
    ChartForm {
        /// The file it should become.
        path: PathBuf,
    },
    /// One file was named for several kinds.
    #[error(
        "--output names one file, so name one kind too, as in '--sheet --output sheet.pdf'; or use --to with a folder"
    )]
    OneHandOut,
    /// The dance's own recording is needed and not there.
    #[error("cannot carry '{}' across: its own recording is needed to compare; put it beside the dance", path.display())]
    NothingToCarryFrom {
        /// The dance.
        path: PathBuf,
    },
    /// A dance cannot go across to another recording.
    #[error("cannot carry '{}' across: {source}", path.display())]
    Carry {
        /// The dance.
        path: PathBuf,
        /// What is missing.
        source: CarryError,
    },
    /// A dance cannot be packed or unpacked.
    #[error(transparent)]
    Bundle(#[from] BundleError),
    /// There is no recording to pack.
    #[error("cannot pack the recording of '{}': put it beside the dance, or add --without-recording", path.display())]
    NothingToPack {
        /// The dance.
        path: PathBuf,
    },
    /// A free dance needs a recording.
    #[error("'{}' is a dance, and a free dance has no moves: name a recording, or leave --free out", path.display())]
    NotARecording {
        /// The dance.
        path: PathBuf,
    },
    /// Too few recordings to compare.
    #[error("a contrast needs three recordings that can be heard, and there {}; name more, or a folder with more", there_are(*found))]
    TooFew {
        /// How many there are.
        found: usize,
    },
    /// No demo dance has that name.
    #[error("there is no demo dance '{name}'; 'farandole demo --list' names them")]
    NoSuchDemo {
        /// What was asked for.
        name: String,
    },
    /// The screen cannot be used.
    #[error(transparent)]
    Screen(#[from] ScreenError),
    /// Standard output cannot be written to.
    #[error("cannot write the result: {0}")]
    Output(#[from] io::Error),
    /// A result could not be turned into JSON; a defect of this program.
    #[error("cannot write the result as JSON: {0}; please report this")]
    Json(#[from] serde_json::Error),
}

fn there_are(found: usize) -> String {
    match found {
        0 => "are none".to_owned(),
        1 => "is one".to_owned(),
        many => format!("are {many}"),
    }
}
