//! `pack`: a dance and its recording in one file, for a colleague.

use super::arguments::Pack;
use super::hand_out::stem;
use super::listen::file_name;
use super::{Outcome, Output, Problem, hear};
use crate::handout;
use crate::shelf::{self, Bundle};
use std::path::{Path, PathBuf};

/// Runs the command.
pub(super) fn run(options: &Pack, output: &mut Output) -> Result<Outcome, Problem> {
    let opened = shelf::load(&options.dance)?;
    for note in opened.notes.iter().chain(&opened.read_only) {
        output.remark(format_args!("note: {note}"));
    }
    let name = stem(&options.dance);
    let target = options
        .output
        .clone()
        .unwrap_or_else(|| options.dance.with_file_name(format!("{name}.farandole.zip")));
    if target.exists() && !options.replace {
        return Err(Problem::HandedOut { path: target });
    }
    let mut dance = opened.dance;
    let recording = if options.without_recording {
        None
    } else {
        // Only the right recording goes along: a colleague could not tell that the counts do not fit.
        let found = shelf::recording_for(&dance, &options.dance, &mut |path: &Path| {
            let heard = hear::hear(path, &options.hearing, output)?;
            Ok((heard.identity, path.to_owned()))
        });
        let found: Option<PathBuf> = hear::usable(found, &dance, output);
        Some(found.ok_or_else(|| Problem::NothingToPack { path: options.dance.clone() })?)
    };
    let noted = !dance.notes.is_empty();
    if !options.notes {
        dance.notes.clear();
    }
    let file = format!("{name}.dance.json");
    let sound = recording.as_deref().map(file_name);
    let read_me = handout::covering_note(&dance, &file, sound.as_deref());
    shelf::pack(
        &target,
        &Bundle { dance: &dance, name: &name, recording: recording.as_deref(), read_me: &read_me },
    )?;
    if noted && !options.notes {
        output.remark("note: your notes to yourself stayed here; --notes takes them along");
    }
    let with = sound.map_or_else(|| "without its recording".into(), |sound| format!("with '{sound}'"));
    output.print(&format!(
        "'{}' holds the dance {with}\nYour colleague runs: farandole unpack '{}'\nPassing a recording on is not \
         allowed everywhere: check locally.\n",
        target.display(),
        file_name(&target)
    ))?;
    Ok(Outcome::Clean)
}
