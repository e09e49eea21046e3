//! Where the lock and the recovery journal of a dance lie: hidden beside it, or, where nothing may be written there,
//! in the user's own folder for such things.

use super::folder_of;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// The two places for the files that accompany a dance while it is edited.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Places {
    /// The dance's folder and file name, links followed.
    folder: PathBuf,
    name: String,
    /// Whether the dance's folder is one of the places.
    beside: bool,
    /// The user's folder, if the system has one.
    elsewhere: Option<PathBuf>,
}

impl Places {
    /// The places for a dance, whose file need not exist yet, with the folder this system has for a user's state.
    #[must_use]
    pub fn of(dance: &Path) -> Self {
        use etcetera::BaseStrategy;
        let state = etcetera::choose_base_strategy().ok();
        // Only Linux and its like tell state from data.
        let state = state.map(|places| places.state_dir().unwrap_or_else(|| places.data_dir()));
        Self::with_state_folder(dance, state.map(|folder| folder.join("farandole").join("journals")))
    }

    /// The places for a dance, with a folder of our choice as the second one, or without one.
    #[must_use]
    pub fn with_state_folder(dance: &Path, elsewhere: Option<PathBuf>) -> Self {
        let target = real_path(dance);
        let name = target.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
        let folder = target.parent().unwrap_or(Path::new("")).to_owned();
        Self { folder, name, beside: true, elsewhere }
    }

    /// Only the second place: where to go when the dance's own folder cannot be written any more.
    #[must_use]
    pub fn elsewhere_only(&self) -> Self {
        Self { beside: false, ..self.clone() }
    }

    /// The files of one kind (`journal`, `lock`), the likelier place first.
    pub(super) fn candidates(&self, kind: &str) -> Vec<PathBuf> {
        let beside = self.folder.join(format!(".{}.{kind}", self.name));
        // Many dances meet in the user's folder, so the name there tells their folders apart.
        let whole = self.folder.join(&self.name);
        let mark = blake3::hash(whole.to_string_lossy().as_bytes()).to_hex();
        let apart = format!("{}-{}.{kind}", &mark[..16], self.name);
        self.beside
            .then_some(beside)
            .into_iter()
            .chain(self.elsewhere.as_ref().map(|folder| folder.join(apart)))
            .collect()
    }

    /// Tries `open` in one place after the other, making the user's folder when it comes to that.
    ///
    /// # Errors
    /// What was wrong with the first place, when none would do.
    pub(super) fn first<T>(
        &self,
        kind: &str,
        mut open: impl FnMut(&Path) -> io::Result<T>,
    ) -> io::Result<(PathBuf, T)> {
        let mut first_error = None;
        for path in self.candidates(kind) {
            if let Some(folder) = path.parent().filter(|folder| Some(*folder) == self.elsewhere.as_deref()) {
                // If it cannot be made, opening a file in it says why.
                let _ = fs::create_dir_all(folder);
            }
            match open(&path) {
                Ok(opened) => return Ok((path, opened)),
                Err(error) => first_error = first_error.or(Some(error)),
            }
        }
        Err(first_error.unwrap_or_else(|| io::ErrorKind::NotFound.into()))
    }
}

/// The path with links followed; of a file that does not exist yet, its folder's with links followed.
fn real_path(path: &Path) -> PathBuf {
    if let Ok(real) = fs::canonicalize(path) {
        return real;
    }
    let folder = folder_of(path);
    let folder = fs::canonicalize(folder).unwrap_or_else(|_| folder.to_owned());
    path.file_name().map_or(folder.clone(), |name| folder.join(name))
}
