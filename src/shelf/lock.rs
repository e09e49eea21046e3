//! One program edits a dance at a time; a second one only reads it.
//!
//! A lock of the operating system on an empty hidden file: the system lets go of it when the program ends, however it
//! ends, so a program that was killed leaves no lock behind, only the empty file. The dance file itself cannot be
//! locked, because saving replaces it.

use super::Places;
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io;
use std::path::{Path, PathBuf};

/// The right to edit a dance, held until this is dropped.
#[derive(Debug)]
pub struct Lock {
    /// `None` where the system offers no locks, as on some network drives.
    held: Option<(PathBuf, File)>,
}

/// Another program, or another window of this one, is editing the dance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error(
    "this dance is open in another Farandole: here it can be led and printed, but not changed; close it there first"
)]
pub struct Held;

impl Lock {
    /// Takes the right to edit a dance.
    ///
    /// Where no lock can be had (a drive without locks, nowhere to write), the dance may be edited all the same;
    /// [`Lock::is_sure`] tells. Saving still refuses to overwrite what someone else has saved.
    ///
    /// # Errors
    /// [`Held`] when someone else has it: open the dance read-only.
    pub fn take(places: &Places) -> Result<Self, Held> {
        // A holder that closes removes the file; whoever then gets the lock of the removed file tries again.
        for _ in 0..100 {
            let Ok((path, file)) = places.first("lock", open) else { break };
            match file.try_lock() {
                Ok(()) if is_still(&path, &file) => return Ok(Self { held: Some((path, file)) }),
                Ok(()) => {}
                Err(TryLockError::WouldBlock) => return Err(Held),
                Err(TryLockError::Error(_)) => break,
            }
        }
        Ok(Self { held: None })
    }

    /// Whether nobody holds the right to edit a dance. Nothing is made and nothing is kept: by the time it is taken somebody
    /// else may have it.
    #[must_use]
    pub fn is_free(places: &Places) -> bool {
        let held = |path: &Path| {
            let Ok(file) = OpenOptions::new().write(true).open(path).or_else(|_| File::open(path)) else {
                return false;
            };
            // Dropped at once, and with it the lock.
            matches!(file.try_lock(), Err(TryLockError::WouldBlock))
        };
        !places.candidates("lock").iter().any(|path| held(path))
    }

    /// Whether the system really keeps others out.
    #[must_use]
    pub fn is_sure(&self) -> bool {
        self.held.is_some()
    }
}

impl Drop for Lock {
    fn drop(&mut self) {
        if let Some((path, file)) = &self.held {
            // Removed while still locked, so that nobody else's file is. An empty file left behind does no harm.
            let _ = fs::remove_file(path);
            // Closing would do, but for a program that is just being started and still shares the open file.
            let _ = file.unlock();
        }
    }
}

/// Opens the lock file; one that another user made is locked without writing to it.
fn open(path: &Path) -> io::Result<File> {
    let made = OpenOptions::new().write(true).create(true).truncate(false).open(path);
    made.or_else(|error| File::open(path).map_err(|_| error))
}

/// Whether the file at `path` is the one that was opened.
#[cfg(unix)]
fn is_still(path: &Path, file: &File) -> bool {
    use std::os::unix::fs::MetadataExt;
    match (fs::metadata(path), file.metadata()) {
        (Ok(there), Ok(here)) => (there.dev(), there.ino()) == (here.dev(), here.ino()),
        _ => false,
    }
}

/// Whether the file at `path` is the one that was opened; without file numbers, whether there is one.
#[cfg(not(unix))]
fn is_still(path: &Path, _: &File) -> bool {
    path.exists()
}
