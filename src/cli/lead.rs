//! `lead`: the full screen in front of the class.

use super::arguments::{Floor, Hearing, Lead};
use super::{Outcome, Output, Problem, hear};
use crate::screen::{self, FloorOptions};
use crate::shelf;
use std::path::Path;

/// Runs the command.
pub(super) fn run(options: &Lead, output: &mut Output) -> Result<Outcome, Problem> {
    lead(&options.dance, &options.floor, &options.hearing, output)
}

/// Leads the dance in the file `path`. Without its recording the screen keeps time by the dance's own grid, silently.
pub(super) fn lead(
    path: &Path,
    floor: &Floor,
    hearing: &Hearing,
    output: &mut Output,
) -> Result<Outcome, Problem> {
    // Before a recording is decoded for nothing.
    screen::require_terminal()?;
    let opened = shelf::load(path)?;
    for note in opened.notes.iter().chain(&opened.read_only) {
        output.remark(format_args!("note: {note}"));
    }
    let found = shelf::recording_for(&opened.dance, path, &mut |path| {
        let (recording, heard) = hear::open(path, hearing, output)?;
        Ok((recording.identity.clone(), (recording, heard.listening)))
    });
    let found = hear::usable(found, &opened.dance, output);
    let (recording, listening) = found.unzip();
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
    screen::run_floor(opened.dance, recording, listening, options, trims)?;
    Ok(Outcome::Clean)
}
