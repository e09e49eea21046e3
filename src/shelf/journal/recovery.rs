//! Reading a journal back: as much of it as is sound, and what became of the rest.

use super::medium::{OnDisk, copy_aside, set_aside};
use super::{Chain, JOURNAL_FORM, Journal, Line, hex, why};
use crate::dance::edit::History;
use crate::dance::{self, Dance};
use crate::shelf::{Lock, Places, Stamp};
use std::path::{Path, PathBuf};
use std::{fs, io};

/// What a journal's bytes give.
#[derive(Debug, Clone)]
pub struct Damage {
    /// Bytes that could not be used, from the first that was not sound to the end.
    pub bytes: usize,
    /// Whether only the last line was cut short, as by a crash: then at most one change is missing.
    pub only_the_last_line: bool,
}

/// Work that was found in a journal.
#[derive(Debug)]
pub struct Recovered {
    /// The dance as it was on the screen.
    pub dance: Dance,
    /// What was done to it, to be undone as before.
    pub history: History,
    /// How many changes, undos and redos were replayed.
    pub changes: usize,
    /// What could not be used, and where a copy of the whole damaged journal was put (if that could be done).
    pub damage: Option<(Damage, Option<PathBuf>)>,
    /// The journal, to be continued.
    pub journal: Journal,
    /// The hash by which the dance's file was last known.
    known: Option<String>,
}

/// What is in the dance's file now, compared with what the journal knows of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnDiskNow {
    /// What the changes were made to, or what was last saved: the recovered dance is that file, gone on.
    AsKnown,
    /// The recovered dance itself: it was saved just before the end. Nothing needs recovering.
    TheSame,
    /// Something else, or nothing: someone saved it since. Ask which one is wanted; keep the other under another name.
    Changed,
}

/// Why a journal could not be used. It is still on disk.
#[derive(Debug, thiserror::Error)]
pub enum RecoverError {
    /// The system refused to read or continue it.
    #[error("cannot read the recovery copy '{}': {}; open the dance again when that is mended", path.display(), why(source))]
    Unreadable {
        /// Which file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// Another version of the program wrote it, and can read it.
    #[error("the recovery copy '{}' is of form {form} and this program reads form {JOURNAL_FORM}; open the dance with the version that last changed it", path.display())]
    OtherForm {
        /// Which file.
        path: PathBuf,
        /// Its form.
        form: u64,
    },
    /// It is damaged from its first line.
    #[error("the recovery copy of this dance is damaged from its beginning and cannot be used; it is kept as '{}'", aside.display())]
    Damaged {
        /// Where it was put.
        aside: PathBuf,
    },
}

/// What the sound part of a journal's bytes says.
#[derive(Debug)]
pub struct Replayed {
    /// The dance after the last sound line.
    pub dance: Dance,
    /// What was done to it.
    pub history: History,
    /// How many changes, undos and redos that is.
    pub changes: usize,
    /// The rest, if any.
    pub damage: Option<Damage>,
    known: Option<String>,
    chain: Chain,
    sound: usize,
}

/// Replays the sound part of a journal. `None` when not even its first line is sound.
#[must_use]
pub fn read(bytes: &[u8]) -> Option<Replayed> {
    let mut chain = Chain::default();
    let (text, mut sound) = chain.read(bytes)?;
    let Ok(Line::Opening(opening)) = serde_json::from_str(text) else { return None };
    if opening.form != JOURNAL_FORM {
        return None;
    }
    let mut dance = opening.dance;
    let mut known = opening.file;
    let mut history = if known.is_some() { History::of_saved() } else { History::of_unsaved() };
    let mut changes = 0;
    let mut ahead = chain.clone();
    while let Some((text, length)) = ahead.read(&bytes[sound..]) {
        match serde_json::from_str(text) {
            Ok(Line::Change(record)) if history.replay(&mut dance, *record.clone()).is_ok() => changes += 1,
            Ok(Line::Saved { revision, file }) => {
                history.saved(revision);
                known = Some(file);
            }
            // Sound bytes that say what cannot be done: a later version's doing. What comes after depends on it.
            _ => break,
        }
        chain = ahead.clone();
        sound += length;
    }
    let rest = &bytes[sound..];
    let damage =
        (!rest.is_empty()).then(|| Damage { bytes: rest.len(), only_the_last_line: !rest.contains(&b'\n') });
    Some(Replayed { dance, history, changes, damage, known, chain, sound })
}

/// Looks for a journal that was left behind and replays it. `None` when there is none, or nothing in it.
///
/// The lock proves that no other program is writing it. A journal with damage in its middle is copied before it is
/// continued, so that nothing in it is lost.
///
/// # Errors
/// [`RecoverError`]; the journal stays, under another name if it is of no use.
pub fn recover(places: &Places, _: &Lock) -> Result<Option<Recovered>, RecoverError> {
    let Some(path) = latest(places) else { return Ok(None) };
    let unreadable = |source| RecoverError::Unreadable { path: path.clone(), source };
    let mut bytes = fs::read(&path).map_err(unreadable)?;
    let Some(replayed) = read(&bytes) else {
        return nothing_sound(&path, &bytes).map(|()| None);
    };
    let damage = replayed.damage.map(|damage| {
        let copy = (!damage.only_the_last_line).then(|| copy_aside(&path).ok()).flatten();
        (damage, copy)
    });
    bytes.truncate(replayed.sound);
    let medium = OnDisk::resume(places.clone(), path.clone(), replayed.sound as u64).map_err(unreadable)?;
    let journal = Journal::after(Box::new(medium), replayed.chain, bytes);
    if replayed.changes == 0 && damage.is_none() && replayed.known.is_some() {
        // Opened and closed at once: the file has it all.
        journal.remove().map_err(unreadable)?;
        return Ok(None);
    }
    Ok(Some(Recovered {
        dance: replayed.dance,
        history: replayed.history,
        changes: replayed.changes,
        damage,
        journal,
        known: replayed.known,
    }))
}

impl Recovered {
    /// Compares the dance's file with what the journal knows of it. `file` is the hash of its bytes, `None` when
    /// there is no file.
    #[must_use]
    pub fn compared_with(&self, file: Stamp) -> OnDiskNow {
        let file = file.map(hex);
        let own = blake3::hash(dance::file::to_json(&self.dance).as_bytes()).to_hex();
        if file.as_deref() == Some(own.as_str()) {
            OnDiskNow::TheSame
        } else if file == self.known {
            OnDiskNow::AsKnown
        } else {
            OnDiskNow::Changed
        }
    }
}

/// The journal that was written last, if there is any.
fn latest(places: &Places) -> Option<PathBuf> {
    let written = |path: &PathBuf| fs::metadata(path).and_then(|about| about.modified()).ok();
    // Of equals the last one given is taken, so the one beside the dance comes last.
    places.candidates("journal").into_iter().rev().filter(|path| path.is_file()).max_by_key(written)
}

/// What to do with a journal whose first line is not sound.
fn nothing_sound(path: &Path, bytes: &[u8]) -> Result<(), RecoverError> {
    let unreadable = |source| RecoverError::Unreadable { path: path.to_owned(), source };
    if let Some((text, _)) = Chain::default().read(bytes) {
        let tree: serde_json::Value = serde_json::from_str(text).unwrap_or_default();
        if let Some(form) = tree.pointer("/opening/form").and_then(serde_json::Value::as_u64)
            && form != u64::from(JOURNAL_FORM)
        {
            return Err(RecoverError::OtherForm { path: path.to_owned(), form });
        }
    }
    if bytes.contains(&b'\n') {
        let aside = set_aside(path).map_err(unreadable)?;
        return Err(RecoverError::Damaged { aside });
    }
    // The very first line was never finished, so no change was ever made.
    fs::remove_file(path).map_err(unreadable)
}
