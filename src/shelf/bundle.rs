//! A dance and its recording in one file, for a colleague: an ordinary ZIP archive with three plain files in it.
//!
//! ZIP, because every computer opens it, with this program or without. Nothing in it tells where the files lay or when
//! they were packed, so the same dance packed twice gives the same bytes. What comes from outside is not trusted:
//! names that could land elsewhere, files that would replace others, and sizes that no dance has are refused before
//! anything is written.
//!
//! Source of the form: PKWARE's APPNOTE.TXT, through the crate `zip`.

use super::dance_file::plain;
use super::folder_of;
use crate::dance::{self, Dance, file::DanceFileError};
use std::fs::{self, File};
use std::io::{self, Read, Seek, Write};
use std::path::{Path, PathBuf};
use tempfile::NamedTempFile;
use zip::result::ZipError;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipArchive, ZipWriter};

/// What the page for people without this program is called inside the archive.
const READ_ME: &str = "READ ME.txt";

/// How a dance's name ends inside the archive.
const DANCE: &str = ".dance.json";

/// More than any dance: a thousand cues take under a megabyte.
const MOST_OF_A_DANCE: u64 = 16 << 20;

/// More than ninety minutes of anything that is decoded.
const MOST_OF_A_RECORDING: u64 = 16 << 30;

/// What goes into a bundle.
#[derive(Debug)]
pub struct Bundle<'a> {
    /// The dance; its recording's folder is left out of what is packed.
    pub dance: &'a Dance,
    /// What the dance is called, without an ending: `march` gives `march.dance.json`.
    pub name: &'a str,
    /// The recording, if it goes along.
    pub recording: Option<&'a Path>,
    /// What somebody who opens the archive by hand should read.
    pub read_me: &'a str,
}

/// What came out of a bundle.
#[derive(Debug, PartialEq, Eq)]
pub struct Unpacked {
    /// The dance's new file.
    pub dance: PathBuf,
    /// The recording's new file, if one was packed.
    pub recording: Option<PathBuf>,
}

/// Why a bundle was not made or not opened. No file was left behind and none was changed.
#[derive(Debug, thiserror::Error)]
pub enum BundleError {
    /// A file to be packed, or the bundle itself, cannot be read.
    #[error("cannot read '{}': {}", path.display(), plain(source))]
    Unreadable {
        /// Which file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The bundle or what is in it cannot be written.
    #[error("cannot write '{}': {}; choose another folder", path.display(), plain(source))]
    Unwritable {
        /// Which file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// It is no ZIP archive, or one that stops in the middle.
    #[error("'{}' is not a whole bundle: it was cut short, or is another kind of file; ask for it again", path.display())]
    NotWhole {
        /// Which file.
        path: PathBuf,
    },
    /// It is an archive, but not of one dance.
    #[error("'{}' holds {dances} dances, and a bundle holds one; unpack it as an ordinary ZIP file", path.display())]
    NotOneDance {
        /// Which file.
        path: PathBuf,
        /// How many there are.
        dances: usize,
    },
    /// The dance in it cannot be opened.
    #[error("cannot open the dance in '{}': {source}", path.display())]
    NotADance {
        /// Which file.
        path: PathBuf,
        /// What is wrong in it.
        source: DanceFileError,
    },
    /// A name or a size in it that this program never writes.
    #[error("'{}' was not packed by this program: '{name}' in it {why}; nothing was unpacked", path.display())]
    Suspect {
        /// Which file.
        path: PathBuf,
        /// The entry.
        name: String,
        /// What is wrong with it.
        why: &'static str,
    },
    /// A file of that name is there already.
    #[error("'{}' is already there and is left as it is; name another folder with --to", path.display())]
    InTheWay {
        /// Which file.
        path: PathBuf,
    },
}

/// Writes a bundle to `target`, replacing what is there in one step.
///
/// # Errors
/// [`BundleError::Unreadable`] for the recording, [`BundleError::Unwritable`] for the bundle.
pub fn pack(target: &Path, bundle: &Bundle<'_>) -> Result<(), BundleError> {
    let unwritable = |source| BundleError::Unwritable { path: target.to_owned(), source };
    let mut temporary = in_folder(folder_of(target)).map_err(unwritable)?;
    let mut zip = ZipWriter::new(temporary.as_file_mut());
    let mut dance = bundle.dance.clone();
    dance.recording.path = file_name(Path::new(&dance.recording.path));
    if let Some(recording) = bundle.recording {
        dance.recording.path = file_name(recording);
        let unreadable = |source| BundleError::Unreadable { path: recording.to_owned(), source };
        let mut sound = File::open(recording).map_err(unreadable)?;
        let large = sound.metadata().map_err(unreadable)?.len() >= u64::from(u32::MAX);
        // Sound is packed already; trying again costs time and gains nothing.
        start(&mut zip, &dance.recording.path, CompressionMethod::Stored, large).map_err(unwritable)?;
        copy(&mut sound, &mut zip).map_err(|stop| match stop {
            Stopped::Reading(source) => unreadable(source),
            Stopped::Writing(source) => unwritable(source),
        })?;
    }
    let texts = [
        (format!("{}{DANCE}", bundle.name), dance::file::to_json(&dance)),
        (READ_ME.into(), bundle.read_me.into()),
    ];
    for (name, text) in texts {
        start(&mut zip, &name, CompressionMethod::Deflated, false).map_err(unwritable)?;
        zip.write_all(text.as_bytes()).map_err(unwritable)?;
    }
    zip.finish().map_err(|error| unwritable(error.into()))?;
    temporary.as_file().sync_all().map_err(unwritable)?;
    super::write::new_file_permissions(temporary.as_file());
    temporary.persist(target).map_err(|error| unwritable(error.error))?;
    Ok(())
}

/// Takes a bundle apart into `folder`, which is made if it is not there. Existing files are never replaced.
///
/// # Errors
/// [`BundleError`]; nothing is left behind.
pub fn unpack(path: &Path, folder: &Path) -> Result<Unpacked, BundleError> {
    let file =
        File::open(path).map_err(|source| BundleError::Unreadable { path: path.to_owned(), source })?;
    let mut archive = ZipArchive::new(file).map_err(|error| refused(path, error))?;
    let names = archive.file_names().map(|name| name.map(std::borrow::Cow::into_owned));
    let names: Vec<String> = names.collect::<Result<_, _>>().map_err(|error| refused(path, error))?;
    let dances: Vec<&String> = names.iter().filter(|name| name.ends_with(DANCE)).collect();
    let [dance_name] = dances[..] else {
        return Err(BundleError::NotOneDance { path: path.to_owned(), dances: dances.len() });
    };
    for name in &names {
        if let Some(why) = unsafe_name(name) {
            return Err(BundleError::Suspect { path: path.to_owned(), name: name.clone(), why });
        }
    }
    let text = text_of(&mut archive, path, dance_name)?;
    let opened = dance::file::from_json(&text)
        .map_err(|source| BundleError::NotADance { path: path.to_owned(), source })?;
    let sound_name = &opened.dance.recording.path;
    let sound_name = names.iter().find(|name| *name == sound_name && *name != dance_name && *name != READ_ME);
    let unwritable = |at: &Path, source| BundleError::Unwritable { path: at.to_owned(), source };
    let (dance_path, sound_path) = (folder.join(dance_name), sound_name.map(|name| folder.join(name)));
    for taken in [Some(&dance_path), sound_path.as_ref()].into_iter().flatten() {
        if taken.symlink_metadata().is_ok() {
            return Err(BundleError::InTheWay { path: taken.clone() });
        }
    }
    fs::create_dir_all(folder).map_err(|source| unwritable(folder, source))?;
    let sound = match (&sound_path, sound_name) {
        (Some(at), Some(name)) => Some((sound_of(&mut archive, path, name, folder)?, at)),
        _ => None,
    };
    let mut dance = in_folder(folder).map_err(|source| unwritable(&dance_path, source))?;
    // The packed text as it is, not written anew: what a newer version put there stays.
    dance.write_all(text.as_bytes()).map_err(|source| unwritable(&dance_path, source))?;
    if let Some((sound, at)) = sound {
        settle(sound, at)?;
    }
    if let Err(error) = settle(dance, &dance_path) {
        if let Some(sound) = &sound_path {
            let _ = fs::remove_file(sound);
        }
        return Err(error);
    }
    Ok(Unpacked { dance: dance_path, recording: sound_path })
}

/// Gives a written file its name, unless another has taken it meanwhile.
fn settle(file: NamedTempFile, at: &Path) -> Result<(), BundleError> {
    let unwritable = |source| BundleError::Unwritable { path: at.to_owned(), source };
    file.as_file().sync_all().map_err(unwritable)?;
    super::write::new_file_permissions(file.as_file());
    file.persist_noclobber(at).map_err(|error| match error.error.kind() {
        io::ErrorKind::AlreadyExists => BundleError::InTheWay { path: at.to_owned() },
        _ => unwritable(error.error),
    })?;
    Ok(())
}

fn text_of<R: Read + Seek>(
    archive: &mut ZipArchive<R>,
    path: &Path,
    name: &str,
) -> Result<String, BundleError> {
    let entry = archive.by_name(name).map_err(|error| refused(path, error))?;
    let mut bytes = Vec::new();
    entry
        .take(MOST_OF_A_DANCE + 1)
        .read_to_end(&mut bytes)
        .map_err(|_| BundleError::NotWhole { path: path.to_owned() })?;
    if bytes.len() as u64 > MOST_OF_A_DANCE {
        return Err(BundleError::Suspect {
            path: path.to_owned(),
            name: name.to_owned(),
            why: "is larger than any dance",
        });
    }
    String::from_utf8(bytes).map_err(|_| BundleError::Suspect {
        path: path.to_owned(),
        name: name.to_owned(),
        why: "is not text",
    })
}

fn sound_of<R: Read + Seek>(
    archive: &mut ZipArchive<R>,
    path: &Path,
    name: &str,
    folder: &Path,
) -> Result<NamedTempFile, BundleError> {
    let unwritable = |source| BundleError::Unwritable { path: folder.join(name), source };
    let entry = archive.by_name(name).map_err(|error| refused(path, error))?;
    let mut file = in_folder(folder).map_err(unwritable)?;
    let written =
        copy(&mut entry.take(MOST_OF_A_RECORDING + 1), file.as_file_mut()).map_err(|stop| match stop {
            Stopped::Reading(_) => BundleError::NotWhole { path: path.to_owned() },
            Stopped::Writing(source) => unwritable(source),
        })?;
    if written > MOST_OF_A_RECORDING {
        return Err(BundleError::Suspect {
            path: path.to_owned(),
            name: name.to_owned(),
            why: "is larger than any recording",
        });
    }
    Ok(file)
}

/// Which side of a copy failed; the sentence differs.
enum Stopped {
    Reading(io::Error),
    Writing(io::Error),
}

fn copy(from: &mut impl Read, to: &mut impl Write) -> Result<u64, Stopped> {
    let mut piece = vec![0; 1 << 18];
    let mut total = 0;
    loop {
        let read = match from.read(&mut piece) {
            Ok(0) => return Ok(total),
            Ok(read) => read,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
            Err(error) => return Err(Stopped::Reading(error)),
        };
        to.write_all(&piece[..read]).map_err(Stopped::Writing)?;
        total += read as u64;
    }
}

/// Begins an entry with nothing of this machine or this moment in it.
fn start<W: Write + Seek>(
    zip: &mut ZipWriter<W>,
    name: &str,
    how: CompressionMethod,
    large: bool,
) -> io::Result<()> {
    let options = SimpleFileOptions::default()
        .compression_method(how)
        .last_modified_time(DateTime::default())
        .unix_permissions(0o644)
        .large_file(large);
    Ok(zip.start_file(name, options)?)
}

/// What is wrong with an entry's name, if anything: it must be one plain file name on every system.
///
/// Source of what Windows forbids: "Naming Files, Paths, and Namespaces" in Microsoft's documentation of Win32.
fn unsafe_name(name: &str) -> Option<&'static str> {
    const DEVICES: [&str; 6] = ["con", "prn", "aux", "nul", "com", "lpt"];
    let stem = name.split('.').next().unwrap_or_default().trim_end().to_lowercase();
    let device = DEVICES.iter().any(|device| {
        let rest = stem.strip_prefix(device);
        rest.is_some_and(|rest| match *device {
            "com" | "lpt" => rest.chars().count() == 1 && rest.chars().all(|c| c.is_ascii_digit()),
            _ => rest.is_empty(),
        })
    });
    if name.contains(['/', '\\']) {
        Some("is in a folder")
    } else if name.is_empty() || name.starts_with('.') || name.ends_with(['.', ' ']) {
        Some("has a hidden or an empty name")
    } else if device
        || name.contains([':', '*', '?', '"', '<', '>', '|'])
        || name.chars().any(char::is_control)
    {
        Some("has a name that some computers refuse")
    } else {
        None
    }
}

fn refused(path: &Path, error: ZipError) -> BundleError {
    match error {
        ZipError::Io(source) if source.kind() == io::ErrorKind::PermissionDenied => {
            BundleError::Unreadable { path: path.to_owned(), source }
        }
        _ => BundleError::NotWhole { path: path.to_owned() },
    }
}

fn file_name(path: &Path) -> String {
    path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default()
}

fn in_folder(folder: &Path) -> io::Result<NamedTempFile> {
    tempfile::Builder::new().prefix(".farandole-").tempfile_in(folder)
}
