//! The recovery journal: every change to a dance, on disk before the screen shows it.
//!
//! It opens with the dance as it was and the hash by which its file was known, then holds one line for each change,
//! undo, redo and save. After a crash [`recover`] replays it, undo steps included, and the journal goes on where it
//! ended. Cut anywhere it gives the state after some earlier change, never another one.
//!
//! **What is lost when.** A line is handed to the operating system before the screen shows the change, so a killed
//! program or a closed terminal loses nothing. It is forced to the disk right after, on a thread of its own: a power cut
//! loses what was typed while the disk was busy with the line before, some milliseconds' worth on a sound disk. A full
//! disk or a drive that was pulled out loses nothing as long as the program runs: lines wait in memory and are written
//! as soon as that works again.

mod forcing;
mod frame;
mod medium;
mod recovery;

pub use medium::{Force, Medium};
pub use recovery::{Damage, OnDiskNow, RecoverError, Recovered, read, recover};

use super::{Places, Stamp};
use crate::dance::Dance;
use crate::dance::edit::{Record, Revision};
use forcing::Forcing;
use frame::Chain;
use medium::OnDisk;
use serde::{Deserialize, Serialize};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// Version of the journal's form. A journal of another version is left alone.
pub const JOURNAL_FORM: u32 = 1;

/// One line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Line {
    /// The first line.
    Opening(Box<Opening>),
    /// A change, undo or redo.
    Change(Box<Record>),
    /// The dance was saved in its file.
    Saved {
        /// In which state.
        revision: Revision,
        /// BLAKE3 hash of the file's bytes.
        file: String,
    },
}

/// What the changes start from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Opening {
    form: u32,
    /// BLAKE3 hash of the file's bytes as read; `None` for a dance without a file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    file: Option<String>,
    dance: Dance,
}

/// Why the journal is behind. The work itself is safe as long as the program runs.
#[derive(Debug, thiserror::Error)]
pub enum JournalError {
    /// The system refused: disk full, no permission, drive gone. What is missing is written with the next change.
    #[error("cannot keep the recovery copy{}: {}; your work is still here, save it somewhere else", shown(path.as_deref()), why(source))]
    Refused {
        /// Which file, if one was made.
        path: Option<PathBuf>,
        /// What the system said.
        source: io::Error,
    },
}

/// A journal that is being written.
pub struct Journal {
    medium: Box<dyn Medium>,
    chain: Chain,
    /// All lines, so that they can be written somewhere else when this medium is gone: some megabytes after a long
    /// session.
    lines: Vec<u8>,
    /// How many bytes of them the medium surely has.
    kept: usize,
    /// Whether the medium may have more than that: part of a line that it refused.
    torn: bool,
    /// How many lines it does not have.
    behind: usize,
    forcing: Option<Forcing>,
}

impl Journal {
    /// A journal for a dance as it is now; `file` is the hash of its file's bytes, `None` when it has none. Nothing is
    /// written before the first change, so that merely looking at a dance leaves no trace.
    ///
    /// Beats are kept to a tenth of a millisecond, as in a dance file.
    #[must_use]
    pub fn new(places: &Places, dance: &Dance, file: Stamp) -> Self {
        Self::on(Box::new(OnDisk::new(places.clone())), dance, file)
    }

    /// The same on another medium.
    #[must_use]
    pub fn on(medium: Box<dyn Medium>, dance: &Dance, file: Stamp) -> Self {
        let mut journal = Self::after(medium, Chain::default(), Vec::new());
        let opening = Opening { form: JOURNAL_FORM, file: file.map(hex), dance: dance.clone() };
        journal.queue(&Line::Opening(Box::new(opening)));
        journal.behind = 0;
        journal
    }

    /// A journal that goes on after `lines`, which the medium has.
    fn after(medium: Box<dyn Medium>, chain: Chain, lines: Vec<u8>) -> Self {
        let kept = lines.len();
        Self { medium, chain, lines, kept, torn: false, behind: 0, forcing: None }
    }

    /// Keeps a change; to be called after it was made and before the screen shows it.
    ///
    /// # Errors
    /// [`JournalError`] when it (or something before it) could not be written. It then waits in memory.
    pub fn append(&mut self, record: &Record) -> Result<(), JournalError> {
        self.queue(&Line::Change(Box::new(record.clone())));
        self.catch_up()
    }

    /// Keeps that the dance was saved: in which state, and the hash of the file's bytes.
    ///
    /// # Errors
    /// As [`Journal::append`].
    pub fn saved(&mut self, revision: Revision, file: [u8; 32]) -> Result<(), JournalError> {
        self.queue(&Line::Saved { revision, file: hex(file) });
        self.catch_up()
    }

    /// Writes what waits. Also what makes the journal of a dance that has no file yet, before any change.
    ///
    /// # Errors
    /// As [`Journal::append`]; also what went wrong in forcing earlier lines to the disk.
    pub fn catch_up(&mut self) -> Result<(), JournalError> {
        self.write().map_err(|source| self.refused(source))?;
        match self.trouble() {
            Some(error) => Err(error),
            None => Ok(()),
        }
    }

    /// What went wrong in forcing lines to the disk since last asked. Such lines are in the system's hands but may not
    /// outlive a power cut.
    pub fn trouble(&mut self) -> Option<JournalError> {
        let error = self.forcing.as_ref()?.trouble()?;
        Some(self.refused(error))
    }

    /// How many changes wait in memory only.
    #[must_use]
    pub fn behind(&self) -> usize {
        self.behind
    }

    /// Where it lies; `None` before anything was written.
    #[must_use]
    pub fn path(&self) -> Option<&Path> {
        self.medium.path()
    }

    /// Goes on in other places, with everything that was kept so far; the old file is removed, if it still can be.
    ///
    /// # Errors
    /// As [`Journal::append`], and the journal then stays where it was.
    pub fn move_to(&mut self, places: &Places) -> Result<(), JournalError> {
        self.move_onto(Box::new(OnDisk::new(places.clone())))
    }

    /// The same on another medium.
    ///
    /// # Errors
    /// As [`Journal::move_to`].
    pub fn move_onto(&mut self, medium: Box<dyn Medium>) -> Result<(), JournalError> {
        let untouched = self.kept == 0 && self.behind == 0;
        let mut there = Self {
            medium,
            chain: self.chain.clone(),
            lines: std::mem::take(&mut self.lines),
            kept: 0,
            torn: false,
            behind: self.behind,
            forcing: None,
        };
        // A journal that nothing was written to needs no file in its new place either.
        let written = if untouched { Ok(()) } else { there.write() };
        if let Err(source) = written {
            let error = there.refused(source);
            self.lines = there.lines;
            return Err(error);
        }
        let old = std::mem::replace(self, there);
        if self.path() != old.path() {
            let _ = old.remove();
        }
        Ok(())
    }

    /// Ends the journal and gives its file another name, so that it is out of the way and nothing in it is lost. Gives
    /// that name, or `None` when nothing was ever written.
    ///
    /// # Errors
    /// Whatever the system says on renaming.
    pub fn set_aside(self) -> io::Result<Option<PathBuf>> {
        let path = self.medium.path().map(Path::to_owned);
        drop(self);
        path.map(|path| medium::set_aside(&path)).transpose()
    }

    /// Ends the journal and removes it: everything in it is saved, or not wanted. Dropping it instead leaves it to be
    /// recovered.
    ///
    /// # Errors
    /// Whatever the system says on removing.
    pub fn remove(self) -> io::Result<()> {
        let path = self.medium.path().map(Path::to_owned);
        // The file is closed first: Windows does not remove open files of every kind.
        drop(self);
        path.map_or(Ok(()), fs::remove_file)
    }

    fn queue(&mut self, line: &Line) {
        // Plain data with string keys always has a JSON form, and compact JSON has no line breaks.
        let text = serde_json::to_string(line).unwrap_or_default();
        self.lines.extend(self.chain.frame(&text));
        self.behind += 1;
    }

    fn write(&mut self) -> io::Result<()> {
        if self.kept == self.lines.len() {
            return Ok(());
        }
        if self.torn {
            self.medium.cut(self.kept as u64)?;
            self.torn = false;
        }
        if let Err(error) = self.medium.append(&self.lines[self.kept..]) {
            self.torn = true;
            return Err(error);
        }
        self.kept = self.lines.len();
        self.behind = 0;
        if self.forcing.is_none() {
            self.forcing = Some(Forcing::start(self.medium.force()?)?);
        }
        if let Some(forcing) = &self.forcing {
            forcing.ask();
        }
        Ok(())
    }

    fn refused(&self, source: io::Error) -> JournalError {
        JournalError::Refused { path: self.path().map(Path::to_owned), source }
    }
}

impl std::fmt::Debug for Journal {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Journal")
            .field("path", &self.path())
            .field("kept", &self.kept)
            .field("behind", &self.behind)
            .finish_non_exhaustive()
    }
}

fn hex(hash: [u8; 32]) -> String {
    blake3::Hash::from_bytes(hash).to_hex().to_string()
}

fn shown(path: Option<&Path>) -> String {
    path.map(|path| format!(" '{}'", path.display())).unwrap_or_default()
}

/// A system's complaint about writing, in plain words.
pub(super) fn why(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::StorageFull => "the disk is full".into(),
        io::ErrorKind::QuotaExceeded => "your share of the disk is used up".into(),
        io::ErrorKind::PermissionDenied => "you may not write there".into(),
        io::ErrorKind::ReadOnlyFilesystem => "the disk is read-only".into(),
        io::ErrorKind::NotFound => "its folder is gone".into(),
        // The kind of an input/output error (EIO) has no name in the library; this is the system's own number for it.
        _ if cfg!(unix) && error.raw_os_error() == Some(5) => "the disk or drive does not answer".into(),
        _ => {
            let text = error.to_string();
            text.split(" (os error").next().unwrap_or_default().to_lowercase()
        }
    }
}
