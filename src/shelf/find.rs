//! Finding the recording of a dance, also when the file has been renamed or replaced.

use super::folder_of;
use crate::dance::Dance;
use crate::identity::{Identity, Likeness};
use std::fs;
use std::path::{Path, PathBuf};

/// How many neighbouring files are tried when a recording is not where its dance says.
const MOST_TRIED: usize = 40;

/// File name endings that are worth trying.
pub const ENDINGS: &[&str] = &["wav", "flac", "mp3", "ogg", "oga", "m4a", "mp4", "aac", "aif", "aiff"];

/// Opens a file that may be the recording: what it is known by, and whatever else the caller wants of it.
pub type Open<'a, T, E> = dyn FnMut(&Path) -> Result<(Identity, T), E> + 'a;

/// What became of looking for a dance's recording; `T` is what opening a file gave, `E` why it could not be opened.
#[derive(Debug)]
pub enum Found<T, E> {
    /// It is where the dance says, sample for sample.
    AsNamed(T),
    /// It is where the dance says, and as long to the frame, but the samples differ: made louder, compressed again, or
    /// decoded with other rounding.
    Resembling(T),
    /// It lies under another name beside the dance, or in the folder the dance names.
    Renamed(T, PathBuf),
    /// The file that the dance names holds other samples: another transfer, or another recording.
    Different(T, PathBuf),
    /// No file has these samples.
    Missing(PathBuf),
    /// The file that the dance names cannot be opened.
    Broken(E),
}

/// Looks for the recording of `dance`, whose file lies at `dance_path`, with `open` to try a file.
pub fn recording_for<T, E>(dance: &Dance, dance_path: &Path, open: &mut Open<'_, T, E>) -> Found<T, E> {
    let folder = folder_of(dance_path);
    // Joining an absolute path gives that path; `/` separates folders on every system.
    let expected = folder.join(&dance.recording.path);
    let named = if expected.exists() { Some(open(&expected)) } else { None };
    match named {
        Some(Ok((identity, found))) if same(dance, &identity) => Found::AsNamed(found),
        Some(Err(error)) => Found::Broken(error),
        other => match (elsewhere(dance, folder, &expected, open), other) {
            (Some((found, path)), _) => Found::Renamed(found, path),
            (None, Some(Ok((identity, found))))
                if dance.recording.identity.compare(&identity) == Likeness::SameLength =>
            {
                Found::Resembling(found)
            }
            (None, Some(Ok((_, found)))) => Found::Different(found, expected),
            (None, _) => Found::Missing(expected),
        },
    }
}

/// The same samples in another file of the dance's folder or of the folder where the recording should be.
fn elsewhere<T, E>(
    dance: &Dance,
    folder: &Path,
    expected: &Path,
    open: &mut Open<'_, T, E>,
) -> Option<(T, PathBuf)> {
    let mut candidates: Vec<PathBuf> = [Some(folder), expected.parent()]
        .into_iter()
        .flatten()
        .filter_map(|folder| fs::read_dir(folder).ok())
        .flatten()
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path != expected && path.is_file() && has_known_ending(path))
        .collect();
    candidates.sort();
    candidates.dedup();
    candidates.into_iter().take(MOST_TRIED).find_map(|path| {
        let (identity, found) = open(&path).ok()?;
        same(dance, &identity).then_some((found, path))
    })
}

fn same(dance: &Dance, identity: &Identity) -> bool {
    dance.recording.identity.compare(identity) == Likeness::Same
}

fn has_known_ending(path: &Path) -> bool {
    let ending = path.extension().map(|ending| ending.to_string_lossy().to_lowercase());
    ending.is_some_and(|ending| ENDINGS.contains(&ending.as_str()))
}
