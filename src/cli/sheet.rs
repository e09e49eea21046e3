//! `sheet`: the count sheet, in which a dance is written.

use super::arguments::Sheet;
use super::{Outcome, Output, Problem, draft, hear};
use crate::screen::{self, FloorOptions, desk};

/// Runs the command.
pub(super) fn run(options: &Sheet, output: &mut Output) -> Result<Outcome, Problem> {
    screen::require_terminal()?;
    let book = draft::book(options.moves.as_deref())?;
    let opened = desk::open(&options.dance)?;
    let how = FloorOptions {
        silent: options.silent,
        trim_ms: options.trim,
        light: options.light,
        ..FloorOptions::default()
    };
    if let Some(farewell) = screen::run_sheet(opened, book, hear::cache(&options.hearing), how)? {
        output.remark(format_args!("note: {farewell}"));
    }
    Ok(Outcome::Clean)
}
