//! `--beats FILE`: the beats that another program wrote, for `draft` and `repair`.

use super::listen::file_name;
use super::output::count;
use super::{Output, Problem};
use crate::incoming::{self, Incoming, LARGEST};
use crate::units::Seconds;
use std::fs::File;
use std::io::Read;
use std::path::Path;

/// The beats in the file `path`.
///
/// # Errors
/// [`Problem::File`] when it cannot be read, [`Problem::Beats`] when there are none to take.
pub(super) fn read(path: &Path, output: &mut Output) -> Result<Incoming, Problem> {
    let unreadable = |source| Problem::File { what: "read", path: path.to_owned(), source };
    let mut bytes = Vec::new();
    // No more than is looked at, whatever the file turns out to be.
    File::open(path).and_then(|file| file.take(LARGEST + 1).read_to_end(&mut bytes)).map_err(unreadable)?;
    let ending = path.extension().map(|ending| ending.to_string_lossy().to_lowercase()).unwrap_or_default();
    let incoming =
        incoming::read(&ending, &bytes).map_err(|source| Problem::Beats { path: path.to_owned(), source })?;
    for note in &incoming.notes {
        output.remark(format_args!("note: {note}"));
    }
    Ok(incoming)
}

/// Says so when beats lie after the end of the recording.
pub(super) fn beyond(incoming: &Incoming, length: Seconds, path: &Path, output: &mut Output) {
    let beyond = incoming.beyond(length);
    if beyond > 0 {
        let verb = if beyond == 1 { "lies" } else { "lie" };
        output.remark(format_args!(
            "note: {} of '{}' {verb} after the end of the recording ({length}) and cannot be danced; is it the same \
             recording?",
            count(beyond, "beat"),
            file_name(path)
        ));
    }
}
