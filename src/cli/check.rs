//! `check`: does every cue land, can it be read in time, can children do it?

use super::arguments::Check;
use super::draft::with_class;
use super::{Outcome, Output, Problem, check_report, hear};
use crate::check;
use crate::shelf;

/// Runs the command.
pub(super) fn run(options: &Check, output: &mut Output) -> Result<Outcome, Problem> {
    let mut opened = shelf::load(&options.dance)?;
    for note in opened.notes.iter().chain(&opened.read_only) {
        output.remark(format_args!("note: {note}"));
    }
    *opened.dance.profile = with_class(*opened.dance.profile, &options.class);
    let found = shelf::recording_for(&opened.dance, &options.dance, &mut |path| {
        let heard = hear::hear(path, &options.hearing, output)?;
        Ok((heard.identity, heard.listening))
    });
    let heard = hear::usable(found, &opened.dance, output);
    let report = check::check(&opened.dance, heard.as_ref());
    if options.json {
        output.print(&check_report::json(&opened.dance, &report)?)?;
    } else {
        output.print(&check_report::text(&opened.dance, &report))?;
    }
    Ok(if report.findings.is_empty() { Outcome::Clean } else { Outcome::Found })
}
