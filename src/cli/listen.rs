//! `listen`: what does this recording do?

use super::arguments::Listen;
use super::{Outcome, Output, Problem, hear, listen_report};
use crate::listening::Listening;
use crate::recording::{Tags, Warning};
use crate::shelf::Heard;
use crate::units::Seconds;
use serde::Serialize;
use std::path::Path;

/// Version of the JSON form.
const SCHEMA: u32 = 1;

/// The JSON form of a listening. `beats` and `downbeats` are seconds, ascending.
#[derive(Serialize)]
struct Report<'a> {
    schema: u32,
    recording: About<'a>,
    beats: Vec<Seconds>,
    downbeats: Vec<Seconds>,
    #[serde(flatten)]
    heard: &'a Listening,
}

/// Which recording was heard; its folder is nobody's business.
#[derive(Serialize)]
struct About<'a> {
    file: String,
    hash: &'a str,
    frames: u64,
    rate: u32,
    #[serde(flatten)]
    tags: &'a Tags,
    warnings: &'a [Warning],
}

/// Runs the command.
pub(super) fn run(options: &Listen, output: &mut Output) -> Result<Outcome, Problem> {
    let heard = hear::hear(&options.recording, &options.hearing, output)?;
    for warning in &heard.warnings {
        output.remark(format_args!("note: {warning}"));
    }
    if options.json {
        output.print(&json(&options.recording, &heard)?)?;
    } else {
        output.print(&listen_report::text(&file_name(&options.recording), &heard))?;
    }
    Ok(Outcome::Clean)
}

/// The last part of a path, as it is shown.
pub(super) fn file_name(path: &Path) -> String {
    path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned())
}

fn json(path: &Path, heard: &Heard) -> Result<String, Problem> {
    let grid = &heard.listening.grid;
    let report = Report {
        schema: SCHEMA,
        recording: About {
            file: file_name(path),
            hash: &heard.identity.hash,
            frames: heard.identity.frames,
            rate: heard.identity.rate,
            tags: &heard.tags,
            warnings: &heard.warnings,
        },
        beats: grid.beats().iter().map(|beat| Seconds((beat.0 * 1e4).round() / 1e4)).collect(),
        downbeats: grid
            .bars()
            .iter()
            .map(|&bar| Seconds((grid.beats()[bar].0 * 1e4).round() / 1e4))
            .collect(),
        heard: &heard.listening,
    };
    Ok(serde_json::to_string_pretty(&report)? + "\n")
}
