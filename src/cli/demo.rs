//! `demo`: the demo dances, which the program carries inside itself.

use super::arguments::{Class, Demo, Hearing};
use super::{Outcome, Output, Problem, lead};
use std::fs;
use std::path::Path;

/// A demo dance and its recording, as they lie in `assets/demo`.
struct Piece {
    name: &'static str,
    about: &'static str,
    recording: (&'static str, &'static [u8]),
    dance: (&'static str, &'static str),
}

macro_rules! piece {
    ($name:literal, $about:literal) => {
        Piece {
            name: $name,
            about: $about,
            recording: (concat!($name, ".ogg"), include_bytes!(concat!("../../assets/demo/", $name, ".ogg"))),
            dance: (
                concat!($name, ".dance.json"),
                include_str!(concat!("../../assets/demo/", $name, ".dance.json")),
            ),
        }
    };
}

/// The demo dances; the first is the one that is led when none is named.
const PIECES: &[Piece] = &[
    piece!("march-and-farandole", "a march that turns to tiptoes and grows faster and louder to the end"),
    piece!("evening-boat", "slow, soft and smooth, with a swell in the middle"),
    piece!("goats-on-the-wall", "quick, loud and short all the way"),
    piece!("cat-on-the-stairs", "soft in threes, with sudden loud chords"),
];

/// Runs the command.
pub(super) fn run(options: &Demo, output: &mut Output) -> Result<Outcome, Problem> {
    if options.list {
        let rows = PIECES.iter().map(|piece| format!("{:<22} {}\n", piece.name, piece.about));
        output.print(&rows.collect::<String>())?;
        return Ok(Outcome::Clean);
    }
    if let Some(folder) = &options.copy_to {
        fs::create_dir_all(folder).map_err(|source| Problem::File {
            what: "make",
            path: folder.clone(),
            source,
        })?;
        PIECES.iter().try_for_each(|piece| copy(piece, folder))?;
        output.print(&format!("the demo recordings and dances are in '{}'\n", folder.display()))?;
        return Ok(Outcome::Clean);
    }
    let piece = match &options.name {
        None => &PIECES[0],
        Some(name) => PIECES
            .iter()
            .find(|piece| piece.name == name)
            .ok_or_else(|| Problem::NoSuchDemo { name: name.clone() })?,
    };
    // A scratch copy: whatever is tried on it, the demo stays as it was. It goes when the command ends.
    let scratch = tempfile::tempdir().map_err(|source| Problem::File {
        what: "make",
        path: std::env::temp_dir(),
        source,
    })?;
    copy(piece, scratch.path())?;
    lead::lead(
        &scratch.path().join(piece.dance.0),
        (&options.floor, &Class::default()),
        &Hearing::default(),
        output,
    )
}

/// Writes a demo dance and its recording into a folder, leaving alone what is there already.
fn copy(piece: &Piece, folder: &Path) -> Result<(), Problem> {
    for (name, content) in [piece.recording, (piece.dance.0, piece.dance.1.as_bytes())] {
        let path = folder.join(name);
        if path.exists() {
            return Err(Problem::InTheWay { path });
        }
        fs::write(&path, content).map_err(|source| Problem::File { what: "write", path, source })?;
    }
    Ok(())
}
