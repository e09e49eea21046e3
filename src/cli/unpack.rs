//! `unpack`: a colleague's dance out of its one file.

use super::arguments::Unpack;
use super::listen::file_name;
use super::{Outcome, Output, Problem};
use crate::shelf;
use std::path::{Path, PathBuf};

/// Runs the command.
pub(super) fn run(options: &Unpack, output: &mut Output) -> Result<Outcome, Problem> {
    let folder = options.to.clone().unwrap_or_else(|| beside(&options.file));
    let unpacked = shelf::unpack(&options.file, &folder)?;
    let shown = unpacked.dance.display();
    let sound = match &unpacked.recording {
        Some(path) => format!("its recording: '{}'\n", path.display()),
        None => "its recording was not packed: put it beside the dance, under any name\n".to_owned(),
    };
    output.print(&format!(
        "the dance: '{shown}'\n{sound}next: farandole check '{shown}', then farandole lead '{shown}'\n"
    ))?;
    Ok(Outcome::Clean)
}

/// `songs/march.farandole.zip` gives `songs/march`.
fn beside(file: &Path) -> PathBuf {
    let name = file_name(file);
    let name = name.strip_suffix(".zip").unwrap_or(&name);
    let name = name.strip_suffix(".farandole").unwrap_or(name);
    file.with_file_name(if name == file_name(file) { format!("{name} unpacked") } else { name.to_owned() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_folder_is_named_after_the_file_and_never_the_file_itself() {
        assert_eq!(beside(Path::new("songs/march.farandole.zip")), Path::new("songs/march"));
        assert_eq!(beside(Path::new("march.zip")), Path::new("march"));
        assert_eq!(beside(Path::new("march")), Path::new("march unpacked"));
    }
}
