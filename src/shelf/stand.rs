//! The dances that stand in a folder, which folder it was last time, and what is kept of them between two looks.

use super::cache::{self, Cache};
use super::replace;
use crate::listening::ANALYSER;
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::collections::BTreeMap;
use std::fs;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::time::UNIX_EPOCH;

/// How a dance's file name ends.
const DANCE: &str = ".dance.json";
/// How the file with what is kept begins.
const MARK: &[u8] = b"farandole shelf 1 ";
/// The most bytes of it that are read.
const MOST_BYTES: u64 = 32 << 20;
/// The most dances that are remembered.
const MOST_DANCES: usize = 2_000;
/// The file that names the folder of last time.
const LAST: &str = "shelf-folder.txt";

/// The files of the dances in a folder, by name; hidden ones and folders below are left out.
///
/// # Errors
/// Whatever the system says of the folder.
pub fn dances_in(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        let name = path.file_name().map(|name| name.to_string_lossy().to_lowercase()).unwrap_or_default();
        if name.ends_with(DANCE) && !name.starts_with('.') && path.is_file() {
            found.push(path);
        }
    }
    found.sort();
    Ok(found)
}

/// What a dance and its recording were known by when something was kept of them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Known {
    key: String,
}

impl Known {
    /// Of a dance's bytes and the recording that it names, if that is there. Whoever changes either, changes this; the
    /// recording's bytes are not read, its length and time of change stand for them.
    #[must_use]
    pub fn of(dance: &[u8], recording: &Path) -> Option<Self> {
        let about = fs::metadata(recording).ok()?;
        let changed = about.modified().ok()?.duration_since(UNIX_EPOCH).ok()?;
        let mut hasher = blake3::Hasher::new();
        hasher.update(dance);
        hasher.update(&about.len().to_le_bytes());
        hasher.update(&changed.as_nanos().to_le_bytes());
        Some(Self { key: hasher.finalize().to_hex()[..32].to_owned() })
    }
}

/// What is kept of dances, found by [`Known`]. It is a convenience: whatever goes wrong with it, dances are looked at anew.
#[derive(Debug, Clone)]
pub struct Stand<T> {
    kept: BTreeMap<String, T>,
    file: Option<PathBuf>,
    changed: bool,
}

impl<T: Serialize + DeserializeOwned + Clone> Stand<T> {
    /// What was kept in the folder of a cache. `form` names the form of what is kept and whatever else it hangs on: of
    /// another form nothing is read.
    #[must_use]
    pub fn open(cache: &Cache, form: &str) -> Self {
        let form = &blake3::hash(form.as_bytes()).to_hex()[..8];
        let file = cache.folder().map(|folder| folder.join(format!("shelf-{form}-v{ANALYSER}.json")));
        let read = |file: &PathBuf| {
            let mut content = Vec::new();
            fs::File::open(file).ok()?.take(MOST_BYTES).read_to_end(&mut content).ok()?;
            serde_json::from_slice(cache::whole(&content, MARK)?).ok()
        };
        Self { kept: file.as_ref().and_then(read).unwrap_or_default(), file, changed: false }
    }

    /// What is kept under this.
    #[must_use]
    pub fn get(&self, known: &Known) -> Option<&T> {
        self.kept.get(&known.key)
    }

    /// Keeps something.
    pub fn put(&mut self, known: &Known, what: T) {
        if self.kept.len() >= MOST_DANCES {
            self.kept.clear();
        }
        self.kept.insert(known.key.clone(), what);
        self.changed = true;
    }

    /// Writes what is new. A full disk is no reason to stop: it is looked at anew next time.
    pub fn save(&mut self) {
        let (true, Some(file)) = (std::mem::take(&mut self.changed), &self.file) else { return };
        if let Ok(json) = serde_json::to_vec(&self.kept) {
            let _ = cache::write(file, MARK, &json);
        }
    }
}

/// The folder whose shelf was opened last, if it is still there. `state` is the user's folder for such things.
#[must_use]
pub fn last_folder(state: &Path) -> Option<PathBuf> {
    let text = fs::read_to_string(state.join(LAST)).ok()?;
    Some(PathBuf::from(text.trim_end_matches('\n'))).filter(|folder| folder.is_dir())
}

/// Remembers the folder whose shelf is open. Where that cannot be written it is asked for again next time.
pub fn remember_folder(state: &Path, folder: &Path) {
    let Ok(folder) = fs::canonicalize(folder) else { return };
    if last_folder(state).as_ref() != Some(&folder) && fs::create_dir_all(state).is_ok() {
        let _ = replace(&state.join(LAST), format!("{}\n", folder.display()).as_bytes());
    }
}

/// The folder in which this program keeps what belongs to a user and not to a dance, if the system has one.
#[must_use]
pub fn state_folder() -> Option<PathBuf> {
    use etcetera::BaseStrategy;
    let places = etcetera::choose_base_strategy().ok()?;
    // Only Linux and its like tell state from data.
    Some(places.state_dir().unwrap_or_else(|| places.data_dir()).join("farandole"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scratch() -> tempfile::TempDir {
        tempfile::tempdir().expect("a scratch folder")
    }

    #[test]
    fn a_folder_gives_its_dances_by_name_and_nothing_else() {
        let folder = scratch();
        for name in ["b.dance.json", "A.dance.json", ".hidden.dance.json", "notes.json", "song.mp3"] {
            fs::write(folder.path().join(name), "").expect("a writable folder");
        }
        fs::create_dir(folder.path().join("old.dance.json")).expect("a writable folder");
        let names: Vec<_> = dances_in(folder.path())
            .expect("a folder")
            .into_iter()
            .filter_map(|path| Some(path.file_name()?.to_owned()))
            .collect();
        assert_eq!(names, ["A.dance.json", "b.dance.json"]);
        assert!(dances_in(&folder.path().join("gone")).is_err());
    }

    #[test]
    fn what_is_kept_is_found_until_the_dance_or_its_recording_changes() {
        let folder = scratch();
        let recording = folder.path().join("song.wav");
        assert_eq!(Known::of(b"dance", &recording), None, "without a recording nothing is known for sure");
        fs::write(&recording, "sound").expect("a writable folder");
        let cache = Cache::in_folder(folder.path().join("cache"));
        let known = Known::of(b"dance", &recording).expect("it is there");
        let mut stand: Stand<String> = Stand::open(&cache, "one");
        stand.put(&known, "a march".into());
        stand.save();
        let again: Stand<String> = Stand::open(&cache, "one");
        assert_eq!(again.get(&known).map(String::as_str), Some("a march"));
        assert_eq!(again.get(&Known::of(b"dancE", &recording).expect("there")), None);
        assert_eq!(Stand::<String>::open(&cache, "two").get(&known), None);
        assert_eq!(Stand::<Vec<u8>>::open(&cache, "one").get(&known), None, "of another form");
        fs::write(&recording, "louder sound").expect("a writable folder");
        assert_eq!(again.get(&Known::of(b"dance", &recording).expect("there")), None);
    }

    #[test]
    fn the_last_folder_is_remembered_while_it_is_there() {
        let (state, shelf) = (scratch(), scratch());
        assert_eq!(last_folder(state.path()), None);
        remember_folder(&state.path().join("deep"), shelf.path());
        let real = fs::canonicalize(shelf.path()).expect("there");
        assert_eq!(last_folder(&state.path().join("deep")), Some(real));
        drop(shelf);
        assert_eq!(last_folder(&state.path().join("deep")), None);
    }
}
