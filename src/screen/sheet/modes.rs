//! What the keys of the sheet mean at a moment, and what the sheet asks of the world outside.

use super::entry::Entry;
use crate::dance::MoveId;
use crate::dance::edit::Record;
use crate::grid::Anchor;
use crate::screen::desk::Choice;
use crate::sound::Speed;
use crate::units::{Beat, Counts, Seconds};
use std::time::Duration;

/// In what steps the cursor goes and cues grow.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Grain {
    /// By counts, which are the beats of the grid.
    #[default]
    Count,
    /// By half counts.
    Half,
    /// By bars.
    Bar,
}

/// What a chosen move is for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Purpose {
    /// A new cue at the cursor.
    Pin,
    /// Another move in this cue.
    Change(usize),
    /// In place of this move everywhere.
    Replace(MoveId),
}

/// What is being written.
#[derive(Debug, Clone, PartialEq)]
pub enum About {
    /// The words of a cue; `None`: a new cue of free words.
    Words(Option<usize>),
    /// How many counts before a cue it is called.
    Lead(usize),
    /// Why a cue is there.
    Why(usize),
    /// A question; an index where there is one already.
    Question(Option<usize>),
    /// The answer to the question just written.
    Answer(Option<usize>, String),
    /// Notes on the dance.
    Notes,
    /// Its title.
    Title,
    /// The phrase whose moves this one takes.
    AsIn,
    /// Why a finding is to be ignored.
    Ignore(&'static str, Option<Beat>),
}

/// A question that must be answered first.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Ask {
    /// Unsaved work was found: take it in?
    Recover(String),
    /// The file was changed by someone else; whether it is still there.
    Disk(String, bool),
    /// Leaving now loses work.
    Lost(String),
}

/// What the keys mean now.
#[derive(Debug, Clone, PartialEq)]
pub enum Mode {
    /// The sheet itself.
    Sheet,
    /// A move is chosen: what is typed, and which of the moves found.
    Choose(Purpose, Entry, usize),
    /// Something is written.
    Write(About, Entry),
    /// All keys, on this page, counted from 0.
    Help(usize),
    /// A question waits.
    Ask(Ask),
}

/// What is known of the sound.
#[derive(Debug, Clone, PartialEq)]
pub enum Music {
    /// The recording is looked for and listened to, so far.
    Coming(f32),
    /// It can be played.
    Ready,
    /// It cannot: why. The clock runs in silence.
    Missing(String),
}

/// What is to be done outside.
#[derive(Debug, Clone, PartialEq)]
pub enum Effect {
    /// Keep this in the recovery journal, before the next picture.
    Record(Box<Record>),
    /// Check the dance as it is now; the answer comes with this number.
    Check(u64),
    /// Play.
    Play,
    /// Stop.
    Pause,
    /// Go there.
    Seek(Seconds),
    /// Play this span round and round, or go on.
    Repeat(Option<(Seconds, Seconds)>),
    /// Clicks, or none.
    Click(bool),
    /// The beats have changed, and the clicks with them.
    Clicks,
    /// Have the grid heard with these corrections; the answer comes with this number.
    HearAgain {
        /// To be given back.
        number: u64,
        /// All corrections.
        anchors: Vec<Anchor>,
    },
    /// Slower or faster.
    Speed(Speed),
    /// Open the dance anew, to change it from now on.
    TakeOver,
    /// Save now.
    Save,
    /// Take unsaved work in, or leave it out.
    Recover(bool),
    /// What becomes of two versions.
    Disk(Choice),
    /// Save and leave; `true` leaves even when work is lost.
    Leave(bool),
}

/// A cue that the mouse holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dragged {
    /// Its index now: a cue that is carried past others gets another one.
    pub cue: usize,
    /// `None`: it is held by its end, and stretched. Otherwise it is carried, held so many counts after its start.
    pub held: Option<Counts>,
    /// Since when. All of one drag is one gesture, however long it takes.
    pub begun: Duration,
}
