//! `check`: does every cue land, can it be read in time, can children do it?

use super::arguments::Check;
use super::draft::with_class;
use super::{Outcome, Output, Problem, check_report, hear};
use crate::check;
use crate::handout::Chart;
use crate::shelf;
use std::path::Path;

/// Runs the command.
pub(super) fn run(options: &Check, output: &mut Output) -> Result<Outcome, Problem> {
    if let Some(path) = &options.chart {
        chart_form(path, options.replace)?;
    }
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
    if let Some(path) = &options.chart {
        let chart = Chart { dance: &opened.dance, heard: heard.as_ref(), report: &report };
        let bytes = match chart_form(path, options.replace)? {
            Form::Svg => chart.svg().into_bytes(),
            Form::Pdf => chart.pdf(),
        };
        shelf::replace(path, &bytes).map_err(|source| Problem::File {
            what: "write",
            path: path.clone(),
            source,
        })?;
        output.remark(format_args!("landing chart: '{}'", path.display()));
    }
    if options.json {
        output.print(&check_report::json(&opened.dance, &report)?)?;
    } else {
        output.print(&check_report::text(&opened.dance, &report))?;
    }
    Ok(if report.findings.is_empty() { Outcome::Clean } else { Outcome::Found })
}

/// The forms in which a chart is drawn.
enum Form {
    Svg,
    Pdf,
}

/// The form that a file's ending asks for, if the file may be written.
fn chart_form(path: &Path, replace: bool) -> Result<Form, Problem> {
    let ending = path.extension().map(|ending| ending.to_string_lossy().to_lowercase());
    let form = match ending.as_deref() {
        Some("svg") => Form::Svg,
        Some("pdf") => Form::Pdf,
        _ => return Err(Problem::ChartForm { path: path.to_owned() }),
    };
    if path.exists() && !replace {
        return Err(Problem::HandedOut { path: path.to_owned() });
    }
    Ok(form)
}
