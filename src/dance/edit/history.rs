//! Undo and redo: what was done, in order, with a cursor in it and a mark where the dance was last saved.
//!
//! One gesture is one step. Repeating a command on the same cue (nudging it along, typing its words) joins the step:
//! the last one is taken back and the new wish planned from where the gesture began, so a cue that is nudged over its
//! neighbour and back leaves the neighbour whole. No clock here: the time of each command is passed in.

use super::command::{Command, Gesture};
use super::{Edit, EditError, Plan, Selection, apply, plan};
use crate::dance::{Dance, MoveBook};
use serde::{Deserialize, Serialize};
use std::time::Duration;

/// A command that repeats the one before joins its step when it comes no later than this. Our choice.
pub const JOIN_WITHIN: Duration = Duration::from_secs(3);

/// Names one state of the dance in a session: equal revisions are equal dances, also after undo and redo.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Revision(u64);

/// Something that happened to the history, exactly enough to make it happen again.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub enum Record {
    /// A step was made.
    Did {
        /// The exact change.
        edit: Edit,
        /// What it is called.
        label: String,
        /// The selection before it.
        before: Selection,
        /// The selection after it.
        after: Selection,
        /// Whether it takes the place of the step before, which is taken back first: it belongs to its gesture.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        instead: bool,
    },
    /// A step was undone.
    Undid,
    /// A step was redone.
    Redid,
}

/// What came of a command.
#[derive(Debug, Clone, PartialEq)]
pub struct Performed {
    /// For the recovery journal, to be kept before the screen shows the change.
    pub record: Record,
    /// What is selected now.
    pub selection: Selection,
    /// The index, now, of the cue or prompt that the command was aimed at or made.
    pub target: Option<usize>,
}

/// What came of undo or redo.
#[derive(Debug, Clone, PartialEq)]
pub struct Turned {
    /// For the recovery journal, to be kept before the screen shows the change.
    pub record: Record,
    /// What was undone or redone: `move 'march'`.
    pub label: String,
    /// What is selected now.
    pub selection: Selection,
}

/// Everything done to one dance since it was opened. It grows without limit: a step costs as much memory as what it
/// took out or put in, and a new grid about 24 kB for 3,000 beats.
///
/// The dance itself is kept beside it and must not be changed in any other way.
#[derive(Debug, Clone, PartialEq)]
pub struct History {
    steps: Vec<Step>,
    /// How many of the steps are in effect.
    done: usize,
    saved: Option<Revision>,
    last_revision: u64,
    open: Option<Open>,
}

#[derive(Debug, Clone, PartialEq)]
struct Step {
    /// Undoes the step when it is in effect, and makes it again when it is not.
    turn: Edit,
    /// The state after it.
    revision: Revision,
    label: String,
    before: Selection,
    after: Selection,
}

/// A gesture that the next command may still belong to.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Open {
    gesture: Gesture,
    /// What it was aimed at before it began.
    first: usize,
    /// The same thing now.
    now: usize,
    /// When its latest command came.
    at: Duration,
}

impl History {
    /// The history of a dance as it was read from its file: nothing done, nothing unsaved.
    #[must_use]
    pub fn of_saved() -> Self {
        Self { saved: Some(Revision(0)), ..Self::of_unsaved() }
    }

    /// The history of a dance that has no file yet: nothing done, everything unsaved.
    #[must_use]
    pub fn of_unsaved() -> Self {
        Self { steps: Vec::new(), done: 0, saved: None, last_revision: 0, open: None }
    }

    /// Does what is asked. `None` when the dance is already so: then nothing is recorded, and redo is kept.
    ///
    /// `selection` is what is selected before; `now` is the time since some fixed moment, and never runs backwards.
    ///
    /// # Errors
    /// [`EditError`] says why not; dance and history are then as they were.
    pub fn perform(
        &mut self,
        dance: &mut Dance,
        book: &MoveBook,
        command: &Command,
        selection: Selection,
        now: Duration,
    ) -> Result<Option<Performed>, EditError> {
        let gesture = command.gesture();
        let joined = self.open.filter(|open| {
            gesture == Some((open.gesture, open.now)) && now.saturating_sub(open.at) <= JOIN_WITHIN
        });
        let (planned, begun) = match joined {
            Some(open) => self.plan_instead(dance, book, &command.aimed_at(open.first))?,
            None => (plan(dance, book, command)?, selection),
        };
        let Plan { edit, label, target, selection: touched } = planned;
        if joined.is_none() && edit.is_nothing() {
            return Ok(None);
        }
        let after = touched.unwrap_or(selection);
        let record = Record::Did { edit, label, before: begun, after, instead: joined.is_some() };
        self.replay(dance, record.clone())?;
        let first = joined.map_or_else(|| gesture.map(|(_, index)| index), |open| Some(open.first));
        self.open = match (gesture, first) {
            // A gesture that came back to where it began has left no step to join.
            (Some((gesture, index)), Some(first)) if !record.is_nothing() => {
                Some(Open { gesture, first, now: target.unwrap_or(index), at: now })
            }
            _ => None,
        };
        Ok(Some(Performed { record, selection: after, target }))
    }

    /// Does what is asked in the place of the last step, which is taken back first, both in one record: what is being typed
    /// is one step, and no end of the program finds it half gone. The result is that of a step of its own; when that
    /// changes nothing, no step is left.
    ///
    /// # Errors
    /// [`EditError`] says why not; dance and history are then as they were. [`EditError::Misfit`] without a last step.
    pub fn perform_instead(
        &mut self,
        dance: &mut Dance,
        book: &MoveBook,
        command: &Command,
    ) -> Result<Performed, EditError> {
        let (planned, before) = self.plan_instead(dance, book, command)?;
        let Plan { edit, label, target, selection } = planned;
        let after = selection.unwrap_or(before);
        let record = Record::Did { edit, label, before, after, instead: true };
        self.replay(dance, record.clone())?;
        Ok(Performed { record, selection: after, target })
    }

    /// Plans a command as if the last step had not been made; gives the selection before that step too.
    fn plan_instead(
        &mut self,
        dance: &mut Dance,
        book: &MoveBook,
        command: &Command,
    ) -> Result<(Plan, Selection), EditError> {
        let Some(last) = self.done.checked_sub(1).and_then(|last| self.steps.get_mut(last)) else {
            return Err(EditError::Misfit);
        };
        let again = apply(dance, last.turn.clone())?;
        let planned = plan(dance, book, command);
        apply(dance, again)?;
        Ok((planned?, last.before))
    }

    /// Makes a record happen again, as [`History::perform`], [`History::undo`] and [`History::redo`] first did.
    ///
    /// # Errors
    /// [`EditError::Misfit`] when the record does not follow from this state; dance and history are then as they were.
    pub fn replay(&mut self, dance: &mut Dance, record: Record) -> Result<(), EditError> {
        match record {
            Record::Undid => self.undo(dance)?.map(drop).ok_or(EditError::Misfit),
            Record::Redid => self.redo(dance)?.map(drop).ok_or(EditError::Misfit),
            Record::Did { edit, label, before, after, instead } => {
                self.open = None;
                let kept =
                    if instead { self.done.checked_sub(1).ok_or(EditError::Misfit)? } else { self.done };
                let again = match self.steps.get(kept).filter(|_| instead) {
                    Some(last) => Some(apply(dance, last.turn.clone())?),
                    None => None,
                };
                let nothing = edit.is_nothing();
                let turn = match apply(dance, edit) {
                    Ok(turn) => turn,
                    Err(error) => {
                        if let Some(again) = again {
                            apply(dance, again)?;
                        }
                        return Err(error);
                    }
                };
                self.steps.truncate(kept);
                if !nothing {
                    self.last_revision += 1;
                    let revision = Revision(self.last_revision);
                    self.steps.push(Step { turn, revision, label, before, after });
                }
                self.done = self.steps.len();
                Ok(())
            }
        }
    }

    /// Takes the last step back; `None` when nothing is left to undo.
    ///
    /// # Errors
    /// [`EditError::Misfit`] when the dance was changed behind the history's back.
    pub fn undo(&mut self, dance: &mut Dance) -> Result<Option<Turned>, EditError> {
        self.open = None;
        let Some(step) = self.done.checked_sub(1).and_then(|last| self.steps.get_mut(last)) else {
            return Ok(None);
        };
        step.turn = apply(dance, step.turn.clone())?;
        self.done -= 1;
        Ok(Some(Turned { record: Record::Undid, label: step.label.clone(), selection: step.before }))
    }

    /// Makes the last undone step again; `None` when nothing is left to redo.
    ///
    /// # Errors
    /// [`EditError::Misfit`] when the dance was changed behind the history's back.
    pub fn redo(&mut self, dance: &mut Dance) -> Result<Option<Turned>, EditError> {
        self.open = None;
        let Some(step) = self.steps.get_mut(self.done) else { return Ok(None) };
        step.turn = apply(dance, step.turn.clone())?;
        self.done += 1;
        Ok(Some(Turned { record: Record::Redid, label: step.label.clone(), selection: step.after }))
    }

    /// Ends the gesture: whatever comes next is a step of its own. To be called when she does something else that is
    /// no edit, such as moving the cursor away.
    pub fn pause(&mut self) {
        self.open = None;
    }

    /// What undo would take back.
    #[must_use]
    pub fn undo_label(&self) -> Option<&str> {
        let last = self.done.checked_sub(1)?;
        self.steps.get(last).map(|step| step.label.as_str())
    }

    /// What redo would make again.
    #[must_use]
    pub fn redo_label(&self) -> Option<&str> {
        self.steps.get(self.done).map(|step| step.label.as_str())
    }

    /// The present state.
    #[must_use]
    pub fn revision(&self) -> Revision {
        self.done
            .checked_sub(1)
            .and_then(|last| self.steps.get(last))
            .map_or(Revision(0), |step| step.revision)
    }

    /// The state to be saved now. It ends the gesture, so that what is typed while the file is being written stays
    /// apart from what is written.
    pub fn begin_save(&mut self) -> Revision {
        self.open = None;
        self.revision()
    }

    /// Notes that the file now holds the state that [`History::begin_save`] gave.
    pub fn saved(&mut self, revision: Revision) {
        self.saved = Some(revision);
    }

    /// How many steps lie between the present state and the one last saved, done or undone: gestures, however many keys each
    /// took. Where undoing and writing anew has left the saved state behind, all that can be undone.
    #[must_use]
    pub fn steps_since_saved(&self) -> usize {
        let place = |saved| match saved {
            Revision(0) => Some(0),
            _ => self.steps.iter().position(|step| step.revision == saved).map(|step| step + 1),
        };
        self.saved.and_then(place).map_or(self.done, |saved| self.done.abs_diff(saved))
    }

    /// Whether the present state differs from the one last saved; undoing back to that one makes it false.
    #[must_use]
    pub fn unsaved(&self) -> bool {
        self.saved != Some(self.revision())
    }
}

impl Record {
    /// Whether the record says that a gesture came back to where it began, and has left no step.
    #[must_use]
    pub fn is_nothing(&self) -> bool {
        matches!(self, Self::Did { edit, .. } if edit.is_nothing())
    }
}
