//! What a teacher can ask for.

use super::follow::Follow;
use super::stretch::Stretch;
use crate::dance::{Cue, MoveId, Profile, Prompt, Side, Silenced};
use crate::grid::{Anchor, Grid};
use crate::units::{Beat, Counts};

/// What becomes of the cues that a cue is put over.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Over {
    /// They are rubbed out where it comes to lie: shortened, cut in two, or gone.
    #[default]
    Erase,
    /// They stay, and overlap it.
    Keep,
}

/// A change a teacher asks for. Cues, prompts, phrases and silenced findings are named by their index in the dance.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs, reason = "fields that only name the cue or prompt in question")]
pub enum Command {
    /// Pins a cue. It ends with the music at the latest.
    AddCue { cue: Cue, over: Over },
    /// Takes a cue away.
    RemoveCue { cue: usize },
    /// Rubs out a stretch of counts: cues that reach into it are shortened or cut in two.
    Erase { from: Beat, to: Beat },
    /// Lets a cue begin elsewhere, its length unchanged as far as the music goes.
    MoveCue { cue: usize, to: Beat, over: Over },
    /// Lets a cue last longer or shorter, its beginning unchanged.
    StretchCue { cue: usize, counts: Counts, over: Over },
    /// Makes two cues of one; the second says the same.
    SplitCue { cue: usize, at: Beat },
    /// Lets a cue go on to the end of the next one, which it replaces.
    JoinCue { cue: usize },
    /// Another move, with its own words; or, with `None`, free words, at first those that stood there.
    ChangeMove { cue: usize, to: Option<MoveId> },
    /// Other words; `None`, or none typed, brings a move's own words back.
    SetWords { cue: usize, words: Option<String> },
    /// Which side first.
    SetSide { cue: usize, side: Option<Side> },
    /// How many counts before the cue its call appears; `None` lets the words' length decide.
    SetLead { cue: usize, lead: Option<Counts> },
    /// The note on a cue: why it is there. Nothing typed takes it away.
    SetWhy { cue: usize, why: Option<String> },
    /// Another move in every cue that names this one.
    ReplaceMove { from: MoveId, to: MoveId },
    /// Writes what stands in a phrase into other phrases, count by count ("as in A"), over what stands there.
    RepeatPhrase {
        /// The phrase to repeat.
        phrase: usize,
        /// Where to.
        into: Vec<usize>,
        /// Whether the copies go to the other side.
        mirror: bool,
    },
    /// Puts a copy of cues down over what stands there, no more counts of it than there is room.
    PutDown { stretch: Stretch, at: Beat, room: Counts },
    /// Left becomes right and right left, for cues that begin in this stretch.
    Mirror { from: Beat, to: Beat },
    /// Pins a question.
    AddPrompt { prompt: Prompt },
    /// Takes a question away.
    RemovePrompt { prompt: usize },
    /// Changes a question, its answer, its place.
    ChangePrompt { prompt: usize, to: Prompt },
    /// Wants no more of a finding; the same finding again only changes the reason.
    Silence { finding: Silenced },
    /// Wants to see a finding again.
    Unsilence { finding: usize },
    /// Another title.
    SetTitle(String),
    /// Other notes.
    SetNotes(String),
    /// Another class.
    SetProfile(Profile),
    /// The grid as decoded again, with all anchors.
    SetGrid {
        /// The grid.
        grid: Grid,
        /// Everything the teacher has said about it, oldest first.
        anchors: Vec<Anchor>,
        /// Where the cues go.
        follow: Follow,
        /// What it is called in "undo ...".
        label: String,
        /// Corrections with the same number are one gesture: taps along the music, one beat nudged again and again.
        gesture: Option<usize>,
    },
    /// Several commands, each on the result of the one before, undone in one step.
    All {
        /// What it is called in "undo ...".
        label: String,
        /// In order.
        commands: Vec<Command>,
    },
}

/// What is repeated in one gesture: the same kind of command to the same thing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Gesture {
    Move,
    Stretch,
    Words,
    Lead,
    Why,
    Prompt,
    Title,
    Notes,
    Profile,
    Grid,
}

impl Command {
    /// The gesture this is part of and the index it is aimed at; `None` for what is a step of its own.
    pub(super) fn gesture(&self) -> Option<(Gesture, usize)> {
        match self {
            Self::MoveCue { cue, .. } => Some((Gesture::Move, *cue)),
            Self::StretchCue { cue, .. } => Some((Gesture::Stretch, *cue)),
            Self::SetWords { cue, .. } => Some((Gesture::Words, *cue)),
            Self::SetLead { cue, .. } => Some((Gesture::Lead, *cue)),
            Self::SetWhy { cue, .. } => Some((Gesture::Why, *cue)),
            Self::ChangePrompt { prompt, .. } => Some((Gesture::Prompt, *prompt)),
            Self::SetTitle(_) => Some((Gesture::Title, 0)),
            Self::SetNotes(_) => Some((Gesture::Notes, 0)),
            Self::SetProfile(_) => Some((Gesture::Profile, 0)),
            Self::SetGrid { gesture, .. } => gesture.map(|number| (Gesture::Grid, number)),
            _ => None,
        }
    }

    /// The same command for the cue or prompt at another index; unchanged when it is aimed at none.
    pub(super) fn aimed_at(&self, index: usize) -> Self {
        let mut command = self.clone();
        match &mut command {
            Self::MoveCue { cue, .. }
            | Self::StretchCue { cue, .. }
            | Self::SetWords { cue, .. }
            | Self::SetLead { cue, .. }
            | Self::SetWhy { cue, .. } => *cue = index,
            Self::ChangePrompt { prompt, .. } => *prompt = index,
            _ => {}
        }
        command
    }
}
