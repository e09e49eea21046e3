//! Changing a dance: what a teacher asks for, the exact change it comes to, and the way back.
//!
//! Three steps, apart on purpose. A [`Command`] says what is wanted ("move this cue to beat 12"). [`plan`] works out
//! the [`Edit`]: exactly which items leave and which come, neighbours that are rubbed out included. [`apply`] makes
//! it and returns its inverse. Only edits are kept, by [`History`] and in the recovery journal, so that a later
//! version of the program with other ideas of planning still replays an old session to the letter.
//!
//! Planning keeps these promises: cues and prompts stay ordered; no two cues overlap unless that was asked for or
//! was so before; a move is copied into the dance with the first cue that names it and leaves with the last.

mod command;
mod cues;
mod error;
mod follow;
mod history;
mod phrases;
mod plan;
mod splice;
mod stretch;

pub use command::{Command, Over};
pub use error::EditError;
pub use follow::Follow;
pub use history::{History, JOIN_WITHIN, Performed, Record, Revision, Turned};
pub use plan::{Plan, plan};
pub use splice::Splice;
pub use stretch::Stretch;

use super::{Cue, Dance, Move, Profile, Prompt, Silenced};
use crate::grid::{Anchor, Grid};
use crate::units::Beat;
use serde::{Deserialize, Serialize};

/// An exact change of a dance. What it takes out is not in it: [`apply`] returns that as the inverse.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Edit {
    /// Cues give way to others.
    Cues(Splice<Cue>),
    /// Moves that no cue names any more give way to moves that one now names.
    Moves(Splice<Move>),
    /// Prompts give way to others.
    Prompts(Splice<Prompt>),
    /// Silenced findings give way to others.
    Silenced(Splice<Silenced>),
    /// Another title.
    Title(String),
    /// Other notes.
    Notes(String),
    /// Another class.
    Profile(Profile),
    /// Another grid, decoded with these anchors.
    Grid {
        /// The grid.
        grid: Grid,
        /// Everything the teacher has said about it, oldest first.
        anchors: Vec<Anchor>,
    },
    /// Several changes, made in this order and undone in one.
    Batch(Vec<Edit>),
}

impl Edit {
    /// The edit that changes nothing.
    #[must_use]
    pub fn nothing() -> Self {
        Self::Batch(Vec::new())
    }

    /// Whether this is [`Edit::nothing`].
    #[must_use]
    pub fn is_nothing(&self) -> bool {
        matches!(self, Self::Batch(edits) if edits.is_empty())
    }
}

/// Which counts are selected; both ends are the cursor's position when none are.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Selection {
    /// Where it begins.
    pub from: Beat,
    /// Where it ends.
    pub to: Beat,
}

impl Selection {
    /// A cursor with nothing selected.
    #[must_use]
    pub fn at(cursor: Beat) -> Self {
        Self { from: cursor, to: cursor }
    }
}

/// Makes a change and returns the one that takes it back; applied in turn, that one returns `edit` again.
///
/// # Errors
/// [`EditError::Misfit`] when the edit was made for another dance: it names items that are not there, or would leave
/// an ordered dance disordered. The dance is then as it was.
pub fn apply(dance: &mut Dance, edit: Edit) -> Result<Edit, EditError> {
    let was_sound = is_sound(dance);
    let inverse = change(dance, edit)?;
    if was_sound && !is_sound(dance) {
        change(dance, inverse)?;
        return Err(EditError::Misfit);
    }
    Ok(inverse)
}

fn change(dance: &mut Dance, edit: Edit) -> Result<Edit, EditError> {
    use std::mem::replace;
    let inverse = match edit {
        Edit::Cues(splice) => splice.apply(&mut dance.cues).map(Edit::Cues),
        Edit::Moves(splice) => splice.apply(&mut dance.moves).map(Edit::Moves),
        Edit::Prompts(splice) => splice.apply(&mut dance.prompts).map(Edit::Prompts),
        Edit::Silenced(splice) => splice.apply(&mut dance.silenced).map(Edit::Silenced),
        Edit::Title(title) => Some(Edit::Title(replace(&mut dance.title, title))),
        Edit::Notes(notes) => Some(Edit::Notes(replace(&mut dance.notes, notes))),
        Edit::Profile(profile) => Some(Edit::Profile(replace(&mut *dance.profile, profile))),
        Edit::Grid { grid, anchors } => Some(Edit::Grid {
            grid: replace(&mut dance.grid, grid),
            anchors: replace(&mut dance.anchors, anchors),
        }),
        Edit::Batch(edits) => return change_all(dance, edits),
    };
    inverse.ok_or(EditError::Misfit)
}

/// Makes all changes or none.
fn change_all(dance: &mut Dance, edits: Vec<Edit>) -> Result<Edit, EditError> {
    let mut inverses = Vec::with_capacity(edits.len());
    for edit in edits {
        match change(dance, edit) {
            Ok(inverse) => inverses.push(inverse),
            Err(error) => {
                for inverse in inverses.into_iter().rev() {
                    change(dance, inverse)?;
                }
                return Err(error);
            }
        }
    }
    inverses.reverse();
    Ok(Edit::Batch(inverses))
}

/// Whether cues and prompts are in order and every number is one. Comparing with NaN is false, so it never passes.
fn is_sound(dance: &Dance) -> bool {
    let lengths =
        dance.cues.iter().all(|cue| cue.at.0.is_finite() && cue.counts.0 >= 0.0 && cue.counts.0.is_finite());
    lengths
        && dance.cues.is_sorted_by(|a, b| a.at <= b.at)
        && dance.prompts.iter().all(|prompt| prompt.at.0.is_finite())
        && dance.prompts.is_sorted_by(|a, b| a.at <= b.at)
}

#[cfg(test)]
mod tests;
