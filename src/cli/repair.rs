//! `repair`: the beats of a dance, corrected by ear.

use super::arguments::Repair;
use super::{Outcome, Output, Problem, beats, draft, hear};
use crate::grid::mend::Repair as Gesture;
use crate::screen::{self, desk};

/// Runs the command.
pub(super) fn run(options: &Repair, output: &mut Output) -> Result<Outcome, Problem> {
    screen::require_terminal()?;
    let book = draft::book(None)?;
    let incoming = options.beats.as_deref().map(|path| beats::read(path, output)).transpose()?;
    let opened = desk::open(&options.dance)?;
    let first = incoming.zip(options.beats.as_deref()).map(|(incoming, path)| {
        let length = opened.dance.recording.length();
        beats::beyond(&incoming, length, path, output);
        Gesture::Take { given: incoming.anchor(length), keep: options.keep }
    });
    if let Some(farewell) =
        screen::run_repairing(opened, book, first, hear::cache(&options.hearing), options.editor.floor())?
    {
        output.remark(format_args!("note: {farewell}"));
    }
    Ok(Outcome::Clean)
}
