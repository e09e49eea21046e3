//! `sheet`: the count sheet, in which a dance is written.

use super::arguments::Sheet;
use super::{Outcome, Output, Problem, draft, hear};
use crate::screen::{self, desk};

/// Runs the command.
pub(super) fn run(options: &Sheet, output: &mut Output) -> Result<Outcome, Problem> {
    screen::require_terminal()?;
    let book = draft::book(options.moves.as_deref())?;
    let opened = desk::open(&options.dance)?;
    if let Some(farewell) =
        screen::run_sheet(opened, book, hear::cache(&options.hearing), options.editor.floor())?
    {
        output.remark(format_args!("note: {farewell}"));
    }
    Ok(Outcome::Clean)
}
