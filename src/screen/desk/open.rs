//! Opening a dance to edit it, and what may be found beside it: another program, unsaved work.

use super::keeper::Keeper;
use super::watch::Watch;
use crate::dance::Dance;
use crate::dance::edit::History;
use crate::shelf::journal::{Journal, OnDiskNow, Recovered, recover};
use crate::shelf::{self, LoadError, Lock, Opened, Places, Stamp};
use std::path::{Path, PathBuf};

/// A dance on the desk.
#[derive(Debug)]
pub struct Desk {
    /// Its file.
    pub path: PathBuf,
    /// The dance.
    pub dance: Dance,
    /// What was done to it.
    pub history: History,
    /// Keeps what is done to it; `None` when it may only be looked at.
    pub keeper: Option<Keeper>,
    /// Why it may only be looked at.
    pub read_only: Option<String>,
    /// What else she should know, a sentence each.
    pub notes: Vec<String>,
    /// While another program has the dance: looks whether it still does.
    pub watch: Option<Watch>,
    /// Unsaved work that was found. Nothing is to be edited before [`Desk::recover`] or [`Desk::leave`].
    pub recovery: Option<Recovery>,
}

/// Work that was not saved when the program last ended.
#[derive(Debug)]
pub struct Recovery {
    found: Recovered,
    now: OnDiskNow,
    stamp: Stamp,
    lock: Lock,
    places: Places,
}

impl Recovery {
    /// How many changes she would take in: a text that was typed letter by letter is one.
    #[must_use]
    pub fn changes(&self) -> usize {
        self.found.history.steps_since_saved()
    }

    /// Whether the file was changed by someone else since.
    #[must_use]
    pub fn changed_on_disk(&self) -> bool {
        self.now == OnDiskNow::Changed
    }

    /// What was found, and the question.
    #[must_use]
    pub fn question(&self) -> String {
        let changes = match self.changes() {
            0 => "changes that were taken back again are".to_owned(),
            1 => "1 change is".to_owned(),
            many => format!("{many} changes are"),
        };
        let end = if self.changed_on_disk() {
            "; the file has been changed since, and nothing in it is overwritten"
        } else {
            ""
        };
        format!("the program ended without saving, and {changes} in the recovery copy{end}: take them in?")
    }
}

/// Opens the dance in the file `path`.
///
/// # Errors
/// [`LoadError`] when there is no such dance, and no recovery copy of it either.
pub fn open(path: &Path) -> Result<Desk, LoadError> {
    open_in(path, Places::of(path))
}

/// The same with places of our choice for lock and journal.
///
/// # Errors
/// As [`open`].
pub fn open_in(path: &Path, places: Places) -> Result<Desk, LoadError> {
    // First of all, so that what is read is what the journal belongs to.
    let lock = Lock::take(&places);
    let opened = shelf::load(path);
    let lock = match (lock, opened) {
        (Ok(lock), Ok(Opened { dance, read_only: None, notes, stamp })) => {
            return Ok(editable(path, places, lock, dance, notes, stamp));
        }
        (Ok(lock), Err(error)) => return from_journal_alone(path, places, lock, error),
        (lock, Ok(opened)) => {
            let held = lock.err().map(|held| held.to_string());
            // A dance of a newer version stays as it is, whoever has it.
            let watched = held.is_some() && opened.read_only.is_none();
            return Ok(Desk {
                path: path.to_owned(),
                dance: opened.dance,
                history: History::of_saved(),
                keeper: None,
                read_only: opened.read_only.or(held),
                notes: opened.notes,
                watch: watched.then(|| Watch::start(places)),
                recovery: None,
            });
        }
        (Err(_), Err(error)) => error,
    };
    Err(lock)
}

fn editable(
    path: &Path,
    places: Places,
    lock: Lock,
    dance: Dance,
    mut notes: Vec<String>,
    stamp: Stamp,
) -> Desk {
    if !lock.is_sure() {
        notes.push(
            "this drive cannot keep other programs out: do not edit the dance on two computers at once"
                .into(),
        );
    }
    let mut desk = Desk {
        path: path.to_owned(),
        dance,
        history: History::of_saved(),
        keeper: None,
        read_only: None,
        notes,
        watch: None,
        recovery: None,
    };
    match recover(&places, &lock) {
        Ok(Some(found)) => match found.compared_with(stamp) {
            OnDiskNow::TheSame => {
                // Saved just before the end: the file has it all. A leftover does no harm.
                let _ = found.journal.remove();
            }
            now => {
                desk.recovery = Some(Recovery { found, now, stamp, lock, places });
                return desk;
            }
        },
        Ok(None) => {}
        Err(error) => desk.notes.push(error.to_string()),
    }
    let journal = Journal::new(&places, &desk.dance, stamp);
    desk.keeper = Some(Keeper::new(path.to_owned(), places, stamp, lock, journal));
    desk
}

/// The file cannot be read; its journal perhaps can.
fn from_journal_alone(path: &Path, places: Places, lock: Lock, error: LoadError) -> Result<Desk, LoadError> {
    let Ok(Some(found)) = recover(&places, &lock) else { return Err(error) };
    let mut notes = vec![format!("{error}; this is the dance as the recovery copy has it")];
    notes.extend(damage(&found));
    let keeper =
        Keeper::new(path.to_owned(), places, shelf::stamp_of(path).unwrap_or(None), lock, found.journal);
    Ok(Desk {
        path: path.to_owned(),
        dance: found.dance,
        history: found.history,
        keeper: Some(keeper.unsaved()),
        read_only: None,
        notes,
        watch: None,
        recovery: None,
    })
}

impl Desk {
    /// Takes the unsaved work in; undo goes back through it as before. Gives sentences to show.
    pub fn recover(&mut self) -> Vec<String> {
        let Some(Recovery { found, now, stamp, lock, places }) = self.recovery.take() else {
            return Vec::new();
        };
        let mut said = vec![match found.history.steps_since_saved() {
            0 => "the changes were taken in; z does again what was taken back".into(),
            1 => "1 change was taken in; undo takes it back".into(),
            many => format!("{many} changes were taken in; undo takes them back one by one"),
        }];
        said.extend(damage(&found));
        // Of a file that someone else has changed nothing is known, so saving asks.
        let stamp = if now == OnDiskNow::Changed { Some([0; 32]) } else { stamp };
        self.dance = found.dance;
        self.history = found.history;
        let keeper = Keeper::new(self.path.clone(), places, stamp, lock, found.journal);
        self.keeper = Some(keeper.unsaved());
        said
    }

    /// Leaves the unsaved work out: the dance is as the file has it. The recovery copy is kept under another name.
    /// Gives sentences to show.
    pub fn leave(&mut self) -> Vec<String> {
        let Some(Recovery { found, stamp, lock, places, .. }) = self.recovery.take() else {
            return Vec::new();
        };
        let said = match found.journal.set_aside() {
            Ok(Some(aside)) => format!("the unsaved changes are left out, and kept as '{}'", aside.display()),
            Ok(None) => String::new(),
            Err(_) => "the unsaved changes are left out".into(),
        };
        let journal = Journal::new(&places, &self.dance, stamp);
        self.keeper = Some(Keeper::new(self.path.clone(), places, stamp, lock, journal));
        if said.is_empty() { Vec::new() } else { vec![said] }
    }
}

/// What was wrong with a journal, for the teacher.
fn damage(found: &Recovered) -> Option<String> {
    let (damage, copy) = found.damage.as_ref()?;
    Some(match copy {
        _ if damage.only_the_last_line => "the very last change was cut off and is missing".into(),
        Some(copy) => format!(
            "a part of the recovery copy was damaged, so later changes are missing; the whole of it is kept as '{}'",
            copy.display()
        ),
        None => "a part of the recovery copy was damaged, so later changes are missing".into(),
    })
}
