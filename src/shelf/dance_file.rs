//! Loading and saving a dance, without ever overwriting what someone else has written.

use super::journal::why;
use super::replace;
use crate::dance::{self, Dance, file::DanceFileError};
use std::io;
use std::path::{Component, Path, PathBuf};
use std::{fs, str};

/// A dance as it was found on disk.
#[derive(Debug, Clone)]
pub struct Opened {
    /// The dance.
    pub dance: Dance,
    /// Why it must not be saved under this name, in words for the teacher; `None` when it may.
    pub read_only: Option<String>,
    /// What was put right or kept without being understood, a sentence each.
    pub notes: Vec<String>,
    /// The bytes' hash, to notice that somebody else has saved since.
    pub stamp: Stamp,
}

/// What a dance file was known by when it was read; `None` for a file that did not exist.
pub type Stamp = Option<[u8; 32]>;

/// Why a dance cannot be loaded. Nothing on disk was touched.
#[derive(Debug, thiserror::Error)]
pub enum LoadError {
    /// The file cannot be read: the teacher can correct the name.
    #[error("cannot read '{}': {}", path.display(), plain(source))]
    Unreadable {
        /// Which file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// It is not text: most likely a recording was given where a dance is wanted.
    #[error("'{}' is not a dance; to make one of a recording, run: farandole draft '{}'", path.display(), path.display())]
    NotText {
        /// Which file.
        path: PathBuf,
    },
    /// It is text, but no dance: the message says where.
    #[error("cannot open '{}': {source}", path.display())]
    NotADance {
        /// Which file.
        path: PathBuf,
        /// What is wrong in it.
        source: DanceFileError,
    },
}

/// Why a dance was not saved. What was on disk is untouched.
#[derive(Debug, thiserror::Error)]
pub enum SaveError {
    /// Someone else has saved the file since it was read: choose another name, or load theirs.
    #[error("'{}' changed on disk since it was opened; save under another name, or open it again", path.display())]
    Changed {
        /// Which file.
        path: PathBuf,
    },
    /// The system refused: full disk, missing folder, no permission.
    #[error("cannot save '{}': {}; save it somewhere else", path.display(), unwritable(source))]
    Refused {
        /// Which file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

/// An operating system's complaint in plain words, without its error number.
pub(crate) fn plain(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::NotFound => "there is no such file".into(),
        io::ErrorKind::PermissionDenied => "you may not open it".into(),
        io::ErrorKind::IsADirectory => "it is a folder".into(),
        io::ErrorKind::StorageFull => "the disk is full".into(),
        io::ErrorKind::ReadOnlyFilesystem => "the disk is read-only".into(),
        _ => {
            let text = error.to_string();
            text.split(" (os error").next().unwrap_or_default().to_lowercase()
        }
    }
}

/// The same where something was to be written; a missing folder is named as before.
fn unwritable(error: &io::Error) -> String {
    if error.kind() == io::ErrorKind::NotFound { plain(error) } else { why(error) }
}

/// Reads a dance.
///
/// # Errors
/// [`LoadError`]: unreadable, not text, or not a dance.
pub fn load(path: &Path) -> Result<Opened, LoadError> {
    let path = path.to_owned();
    let bytes = match fs::read(&path) {
        Ok(bytes) => bytes,
        Err(source) => return Err(LoadError::Unreadable { path, source }),
    };
    let Ok(text) = str::from_utf8(&bytes) else {
        return Err(LoadError::NotText { path });
    };
    match dance::file::from_json(text) {
        Ok(opened) => Ok(Opened {
            dance: opened.dance,
            read_only: opened.read_only,
            notes: opened.notes,
            stamp: Some(*blake3::hash(&bytes).as_bytes()),
        }),
        Err(source) => Err(LoadError::NotADance { path, source }),
    }
}

/// What a file is known by as it is now.
///
/// # Errors
/// Whatever the system says on reading, other than that there is no such file.
pub fn stamp_of(path: &Path) -> io::Result<Stamp> {
    match fs::read(path) {
        Ok(bytes) => Ok(Some(*blake3::hash(&bytes).as_bytes())),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
        Err(error) => Err(error),
    }
}

/// Saves a dance if the file is still as `stamp` knew it, and returns the new stamp.
///
/// # Errors
/// [`SaveError`]; the file on disk is then as it was.
pub fn save(path: &Path, dance: &Dance, stamp: Stamp) -> Result<Stamp, SaveError> {
    let now = stamp_of(path).map_err(|source| SaveError::Refused { path: path.to_owned(), source })?;
    if now != stamp {
        return Err(SaveError::Changed { path: path.to_owned() });
    }
    let text = dance::file::to_json(dance);
    match replace(path, text.as_bytes()) {
        Ok(()) => Ok(Some(*blake3::hash(text.as_bytes()).as_bytes())),
        Err(source) => Err(SaveError::Refused { path: path.to_owned(), source }),
    }
}

/// The path of `target` as seen from the folder `base`, with `/` between its parts on every system.
///
/// Both are made absolute first. Where the two have no common root (another drive), the absolute path is given.
#[must_use]
pub fn relative(base: &Path, target: &Path) -> String {
    let absolute = |path: &Path| fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    let (base, target) = (absolute(base), absolute(target));
    let base: Vec<Component<'_>> = base.components().collect();
    let parts: Vec<Component<'_>> = target.components().collect();
    let common = base.iter().zip(&parts).take_while(|(a, b)| a == b).count();
    if common == 0 {
        return target.to_string_lossy().replace('\\', "/");
    }
    let up = std::iter::repeat_n("..".to_owned(), base.len() - common);
    let down = parts[common..].iter().map(|part| part.as_os_str().to_string_lossy().into_owned());
    up.chain(down).collect::<Vec<_>>().join("/")
}
