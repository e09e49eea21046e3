//! `lead`: the full screen in front of the class.

use super::arguments::{Class, Floor, Hearing, Lead};
use super::draft::{stem, with_class};
use super::listen::file_name;
use super::{Outcome, Output, Problem, hear};
use crate::dance::{Profile, Source, free_dance};
use crate::screen::{self, FloorOptions, Piece};
use crate::shelf;
use std::path::Path;

/// Runs the command.
pub(super) fn run(options: &Lead, output: &mut Output) -> Result<Outcome, Problem> {
    if options.free {
        only_recordings(&options.dance)?;
        screen::require_terminal()?;
        let piece = free(&options.dance, &options.class, &options.hearing, output)?;
        return on_the_floor(vec![piece], &options.floor, output);
    }
    lead(&options.dance, (&options.floor, &options.class), &options.hearing, output)
}

/// A free dance to the recording at `path`.
///
/// # Errors
/// [`Problem::Decode`], and [`Problem::NotARecording`] for a dance.
pub(super) fn free(
    path: &Path,
    class: &Class,
    hearing: &Hearing,
    output: &mut Output,
) -> Result<Piece, Problem> {
    only_recordings(path)?;
    let (recording, heard) = hear::open(path, hearing, output)?;
    let title = heard.tags.title.clone().unwrap_or_else(|| stem(path));
    let source = Source {
        path: file_name(path),
        identity: heard.identity,
        title: heard.tags.title,
        performer: heard.tags.performer,
        year: None,
        unknown: serde_json::Map::new(),
    };
    let dance = free_dance(&title, source, with_class(Profile::default(), class), &heard.listening);
    Ok(Piece { dance, recording: Some(recording), listening: Some(heard.listening), free: true })
}

/// Says so when a dance is named where a recording is wanted.
fn only_recordings(path: &Path) -> Result<(), Problem> {
    let dance = path.extension().is_some_and(|ending| ending == "json") && shelf::load(path).is_ok();
    if dance { Err(Problem::NotARecording { path: path.to_owned() }) } else { Ok(()) }
}

/// Leads pieces, one after the other.
pub(super) fn on_the_floor(
    pieces: Vec<Piece>,
    floor: &Floor,
    output: &mut Output,
) -> Result<Outcome, Problem> {
    let options = FloorOptions {
        silent: floor.silent,
        trim_ms: floor.trim,
        light: floor.light,
        gentle: floor.gentle,
        in_step: floor.in_step,
        ..FloorOptions::default()
    };
    let (trims, trouble) = shelf::Trims::of_this_user();
    if let Some(trouble) = trouble {
        output.remark(format_args!("note: {trouble}"));
    }
    screen::run_floor(pieces, options, trims)?;
    Ok(Outcome::Clean)
}

/// Leads the dance in the file `path`. Without its recording the screen keeps time by the dance's own grid, silently.
pub(super) fn lead(
    path: &Path,
    (floor, class): (&Floor, &Class),
    hearing: &Hearing,
    output: &mut Output,
) -> Result<Outcome, Problem> {
    // Before a recording is decoded for nothing.
    screen::require_terminal()?;
    let mut opened = shelf::load(path)?;
    for note in opened.notes.iter().chain(&opened.read_only) {
        output.remark(format_args!("note: {note}"));
    }
    let found = shelf::recording_for(&opened.dance, path, &mut |path| {
        let (recording, heard) = hear::open(path, hearing, output)?;
        Ok((recording.identity.clone(), (recording, heard.listening)))
    });
    let found = hear::usable(found, &opened.dance, output);
    let (recording, listening) = found.unzip();
    opened.dance.profile.known = with_class(*opened.dance.profile, class);
    let piece = Piece { dance: opened.dance, recording, listening, free: false };
    on_the_floor(vec![piece], floor, output)
}
