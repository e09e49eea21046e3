//! `repair`: the beats of a dance, corrected by ear.

use super::arguments::Repair;
use super::{Outcome, Output, Problem, draft, hear};
use crate::screen::{self, desk};

/// Runs the command.
pub(super) fn run(options: &Repair, output: &mut Output) -> Result<Outcome, Problem> {
    screen::require_terminal()?;
    let book = draft::book(None)?;
    let opened = desk::open(&options.dance)?;
    if let Some(farewell) =
        screen::run_repairing(opened, book, hear::cache(&options.hearing), options.editor.floor())?
    {
        output.remark(format_args!("note: {farewell}"));
    }
    Ok(Outcome::Clean)
}
