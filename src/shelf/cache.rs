//! Keeping what was heard, so that a recording is listened to once.
//!
//! An entry is found by the file's bytes and the analyser's version: a renamed file hits, a changed file or a
//! newer analyser misses. The cache is a convenience; whatever goes wrong with it, listening simply starts anew.

use super::replace;
use crate::identity::Identity;
use crate::listening::{ANALYSER, Listening};
use crate::recording::{Tags, Warning};
use serde::{Deserialize, Serialize};
use std::fs;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

/// What is remembered of one recording file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Heard {
    /// What its samples are known by.
    pub identity: Identity,
    /// Its tags.
    pub tags: Tags,
    /// What the decoder had to say.
    pub warnings: Vec<Warning>,
    /// What was heard.
    pub listening: Listening,
}

/// A folder of remembered listenings. Without a folder nothing is remembered.
#[derive(Debug, Clone, Default)]
pub struct Cache {
    folder: Option<PathBuf>,
}

/// The bytes of a recording file, hashed: the key of its entry.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileKey(String);

impl Cache {
    /// A cache in `folder`, which is made when first needed.
    #[must_use]
    pub fn in_folder(folder: PathBuf) -> Self {
        Self { folder: Some(folder) }
    }

    /// The cache in the place this system has for such things; one that remembers nothing where there is none.
    #[must_use]
    pub fn of_this_user() -> Self {
        use etcetera::BaseStrategy;
        let folder = etcetera::choose_base_strategy().ok().map(|places| places.cache_dir().join("farandole"));
        Self { folder }
    }

    /// Hashes the bytes of a recording file.
    ///
    /// # Errors
    /// Whatever the system says on reading.
    pub fn key(path: &Path) -> io::Result<FileKey> {
        let mut hasher = blake3::Hasher::new();
        let mut file = fs::File::open(path)?;
        let mut block = vec![0; 1 << 18];
        loop {
            match file.read(&mut block)? {
                0 => return Ok(FileKey(hasher.finalize().to_hex().to_string())),
                read => hasher.update(&block[..read]),
            };
        }
    }

    /// What was heard in this file by this version of the analyser, if it is remembered.
    #[must_use]
    pub fn get(&self, key: &FileKey) -> Option<Heard> {
        let text = fs::read(self.entry(key)?).ok()?;
        let heard: Heard = serde_json::from_slice(&text).ok()?;
        (heard.listening.analyser == ANALYSER).then_some(heard)
    }

    /// Remembers what was heard. A full disk or a read-only folder is no reason to stop: nothing is remembered then.
    pub fn put(&self, key: &FileKey, heard: &Heard) {
        let Some(entry) = self.entry(key) else { return };
        let Ok(text) = serde_json::to_vec(heard) else { return };
        if let Some(folder) = entry.parent() {
            let _ = fs::create_dir_all(folder);
        }
        let _ = replace(&entry, &text);
    }

    fn entry(&self, key: &FileKey) -> Option<PathBuf> {
        Some(self.folder.as_ref()?.join(format!("{}-v{ANALYSER}.json", &key.0[..32])))
    }
}
