//! Keeping what was heard, so that a recording is listened to once.
//!
//! An entry is found by the file's bytes and the analyser's version: a renamed file hits, a changed file or a
//! newer analyser misses. The cache is a convenience; whatever goes wrong with it, listening simply starts anew.
//!
//! Two entries belong to a recording: what was heard, as JSON, which every command reads; and what it takes to hear the
//! grid again with a teacher's corrections, which only the editor reads and which is thirty times as large. Each is one
//! line that says what it is, with a hash of the rest, and then the content. Entries are written beside and renamed, so
//! that several programs may share the folder; none is read that is not whole. The folder keeps what was used last.

use crate::identity::Identity;
use crate::listening::{ANALYSER, Listening, Memory};
use crate::recording::{Tags, Warning};
use serde::{Deserialize, Serialize};
use std::ffi::OsStr;
use std::fs;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

/// Names another folder for the cache.
const FOLDER_VARIABLE: &str = "FARANDOLE_CACHE_DIR";
/// How an entry begins; the number is raised when [`Heard`] changes its form.
const MARK: &[u8] = b"farandole heard 1 ";
/// How an entry with a memory begins; the number is raised when [`Memory`] changes its form.
const MEMORY_MARK: &[u8] = b"farandole memory 1 ";
/// The most entries of a kind kept ...
const MOST_ENTRIES: usize = 200;
/// ... and the most bytes that those of a kind may take together: of a five-minute recording what was heard takes under
/// a tenth of a megabyte, its memory some two and a half.
const MOST_BYTES: u64 = 100_000_000;
/// What unfinished entries are called; one that a crash left behind ages out like the others.
const UNFINISHED: &str = ".farandole-heard-";

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
    most_entries: usize,
    most_bytes: u64,
}

/// The bytes of a recording file, hashed: the key of its entry.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileKey(String);

impl Cache {
    /// A cache in `folder`, which is made when first needed, of at most 200 entries and 100 MB of either kind.
    #[must_use]
    pub fn in_folder(folder: PathBuf) -> Self {
        Self { folder: Some(folder), most_entries: MOST_ENTRIES, most_bytes: MOST_BYTES }
    }

    /// The same cache with other limits.
    #[must_use]
    pub fn limited(self, most_entries: usize, most_bytes: u64) -> Self {
        Self { most_entries, most_bytes, ..self }
    }

    /// The cache in the folder that the environment names in `FARANDOLE_CACHE_DIR`, or else in the place this system
    /// has for such things; one that remembers nothing where there is neither.
    #[must_use]
    pub fn of_this_user() -> Self {
        use etcetera::BaseStrategy;
        let named = std::env::var_os(FOLDER_VARIABLE).filter(|name| !name.is_empty()).map(PathBuf::from);
        let usual = || Some(etcetera::choose_base_strategy().ok()?.cache_dir().join("farandole"));
        named.or_else(usual).map_or_else(Self::default, Self::in_folder)
    }

    /// The folder, if there is one.
    pub(super) fn folder(&self) -> Option<&Path> {
        self.folder.as_deref()
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

    /// What was heard in this file by this version of the analyser, if it is remembered whole.
    #[must_use]
    pub fn get(&self, key: &FileKey) -> Option<Heard> {
        let content = self.read(key, Kind::Heard)?;
        let heard: Heard = serde_json::from_slice(whole(&content, MARK)?).ok()?;
        (heard.listening.analyser == ANALYSER).then_some(heard)
    }

    /// What it takes to hear the grid of this file again, if this version of the analyser gathered it and it is
    /// remembered whole.
    #[must_use]
    pub fn memory(&self, key: &FileKey) -> Option<Memory> {
        postcard::from_bytes(whole(&self.read(key, Kind::Memory)?, MEMORY_MARK)?).ok()
    }

    /// Remembers what was heard, and forgets what was used longest ago where that becomes too much. A full disk or a
    /// read-only folder is no reason to stop: nothing is remembered then.
    pub fn put(&self, key: &FileKey, heard: &Heard) {
        let (Some(entry), Ok(json)) = (self.entry(key, Kind::Heard), serde_json::to_vec(heard)) else {
            return;
        };
        let _ = write(&entry, MARK, &json);
        self.forget(Kind::Heard);
    }

    /// Remembers what it takes to hear the grid again, as [`Cache::put`] does.
    pub fn put_memory(&self, key: &FileKey, memory: &Memory) {
        let Some(entry) = self.entry(key, Kind::Memory) else { return };
        let Ok(bytes) = postcard::to_allocvec(memory) else { return };
        let _ = write(&entry, MEMORY_MARK, &bytes);
        self.forget(Kind::Memory);
    }

    fn read(&self, key: &FileKey, kind: Kind) -> Option<Vec<u8>> {
        let path = self.entry(key, kind)?;
        let mut content = Vec::new();
        fs::File::open(&path).ok()?.take(self.most_bytes).read_to_end(&mut content).ok()?;
        // Used now, so among the last to go.
        if let Ok(file) = fs::File::options().write(true).open(&path) {
            let _ = file.set_modified(SystemTime::now());
        }
        Some(content)
    }

    fn entry(&self, key: &FileKey, kind: Kind) -> Option<PathBuf> {
        let name = format!("{}-v{ANALYSER}{}", &key.0[..KEY_DIGITS], kind.ending());
        Some(self.folder.as_ref()?.join(name))
    }

    /// Removes the entries of a kind used longest ago until the rest keeps to the limits. Other people's files are left
    /// alone.
    fn forget(&self, kind: Kind) {
        let Some(Ok(files)) = self.folder.as_ref().map(fs::read_dir) else { return };
        let mut entries: Vec<(SystemTime, u64, PathBuf)> = files
            .flatten()
            .filter(|file| is_ours(&file.file_name(), kind))
            .filter_map(|file| {
                let about = file.metadata().ok().filter(fs::Metadata::is_file)?;
                Some((about.modified().ok()?, about.len(), file.path()))
            })
            .collect();
        entries.sort_by(|a, b| b.cmp(a));
        let mut bytes = 0;
        for (index, (_, size, path)) in entries.into_iter().enumerate() {
            bytes += size;
            if index >= self.most_entries || bytes > self.most_bytes {
                // Another program may have been quicker.
                let _ = fs::remove_file(path);
            }
        }
    }
}

/// What an entry holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Heard,
    Memory,
}

impl Kind {
    /// How the names of its entries end.
    fn ending(self) -> &'static str {
        match self {
            Self::Heard => ".json",
            Self::Memory => ".memory",
        }
    }
}

/// Digits of the key in an entry's name.
const KEY_DIGITS: usize = 32;

/// Writes an entry in one step. The disk is not waited for: an entry that a power cut damages is not read.
pub(super) fn write(entry: &Path, mark: &[u8], content: &[u8]) -> io::Result<()> {
    let folder = entry.parent().unwrap_or(Path::new("."));
    fs::create_dir_all(folder)?;
    let mut file = tempfile::Builder::new().prefix(UNFINISHED).tempfile_in(folder)?;
    for part in [mark, blake3::hash(content).to_hex().as_bytes(), b"\n", content] {
        file.write_all(part)?;
    }
    file.persist(entry).map_err(|error| error.error)?;
    Ok(())
}

/// The content of an entry that begins with `mark` and whose hash is right.
pub(super) fn whole<'a>(entry: &'a [u8], mark: &[u8]) -> Option<&'a [u8]> {
    let line = entry.iter().position(|&byte| byte == b'\n')?;
    let hash = blake3::Hash::from_hex(entry[..line].strip_prefix(mark)?).ok()?;
    let content = &entry[line + 1..];
    (blake3::hash(content) == hash).then_some(content)
}

/// Whether this is the name of an entry of a kind, of whatever version, or of an unfinished one.
fn is_ours(name: &OsStr, kind: Kind) -> bool {
    let Some(name) = name.to_str() else { return false };
    let entry = || {
        let (key, version) = name.strip_suffix(kind.ending())?.split_once("-v")?;
        Some(
            key.len() == KEY_DIGITS
                && key.bytes().all(|b| b.is_ascii_hexdigit())
                && version.parse::<u32>().is_ok(),
        )
    };
    name.starts_with(UNFINISHED) || entry().unwrap_or(false)
}
