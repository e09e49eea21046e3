//! `draft`: a first dance for a recording.

use super::arguments::{Class, Draft};
use super::listen::file_name;
use super::output::count;
use super::{Outcome, Output, Problem, beats, hear};
use crate::dance::{self, Dance, MoveBook, Profile, Source};
use crate::grid::Anchor;
use crate::incoming::Incoming;
use crate::shelf::{self, Heard, Stamp};
use crate::words::wrapped;
use std::fs;
use std::path::{Path, PathBuf};

/// Runs the command.
pub(super) fn run(options: &Draft, output: &mut Output) -> Result<Outcome, Problem> {
    let target = options.output.clone().unwrap_or_else(|| beside(&options.recording));
    let stamp = fresh(&target, options.replace)?;
    let book = book(options.moves.as_deref())?;
    let incoming = options.beats.as_deref().map(|path| beats::read(path, output)).transpose()?;
    let (heard, anchors) = hear(options, incoming.as_ref(), output)?;
    for warning in &heard.warnings {
        output.remark(format_args!("note: {warning}"));
    }
    let profile = with_class(Profile::default(), &options.class);
    let drafted = dance::draft(&heard.listening, &book, &profile)
        .map_err(|source| Problem::Draft { path: options.recording.clone(), source })?;
    let title = options.title.clone().or_else(|| heard.tags.title.clone());
    let title = title.unwrap_or_else(|| stem(&options.recording));
    let source = Source {
        path: shelf::relative(shelf::folder_of(&target), &options.recording),
        identity: heard.identity,
        title: heard.tags.title,
        performer: heard.tags.performer,
        year: None,
        unknown: serde_json::Map::new(),
    };
    let mut dance = dance::new_dance(&title, source, profile, &heard.listening, drafted);
    dance.anchors = anchors;
    shelf::save(&target, &dance, stamp)?;
    output.print(&summary(&dance, &target, options.why))?;
    Ok(Outcome::Clean)
}

/// What is heard in the recording, on the beats of a file if there are any, and what that says of the beats.
fn hear(
    options: &Draft,
    incoming: Option<&Incoming>,
    output: &mut Output,
) -> Result<(Heard, Vec<Anchor>), Problem> {
    let (Some(incoming), Some(path)) = (incoming, &options.beats) else {
        return Ok((hear::hear(&options.recording, &options.hearing, output)?, Vec::new()));
    };
    let (heard, memory) = hear::remember(&options.recording, &options.hearing, output)?;
    let length = heard.listening.length;
    beats::beyond(incoming, length, path, output);
    let anchors = vec![incoming.anchor(length)];
    let listening = memory.describe(memory.grid(&anchors));
    Ok((Heard { listening, ..heard }, anchors))
}

/// What the file to be written is known by: nothing if it is not there, and the dance in it if that may be replaced.
///
/// # Errors
/// [`Problem::Exists`], and [`Problem::Load`] for something that is no dance: that is never replaced, whatever was asked.
pub(super) fn fresh(target: &Path, replace: bool) -> Result<Stamp, Problem> {
    match shelf::load(target) {
        _ if !target.exists() => Ok(None),
        Ok(opened) if replace => Ok(opened.stamp),
        Err(error) if replace => Err(error.into()),
        _ => Err(Problem::Exists { path: target.to_owned() }),
    }
}

/// The built-in move book, with the teacher's own moves when she names a file.
pub(super) fn book(own: Option<&Path>) -> Result<MoveBook, Problem> {
    let Some(path) = own else { return Ok(MoveBook::built_in()) };
    let text = fs::read_to_string(path).map_err(|source| Problem::File {
        what: "read",
        path: path.to_owned(),
        source,
    })?;
    MoveBook::built_in().with_own(&text).map_err(|source| Problem::Moves { path: path.to_owned(), source })
}

/// A profile with what was said on the command line in place of its own.
pub(super) fn with_class(profile: Profile, class: &Class) -> Profile {
    Profile { age: class.age.unwrap_or(profile.age), distance: class.distance.unwrap_or(profile.distance) }
}

/// A file's name without its ending.
pub(super) fn stem(path: &Path) -> String {
    path.file_stem().map_or_else(|| file_name(path), |stem| stem.to_string_lossy().into_owned())
}

/// `song.mp3` gives `song.dance.json`.
pub(super) fn beside(recording: &Path) -> PathBuf {
    recording.with_file_name(format!("{}.dance.json", stem(recording)))
}

fn summary(dance: &Dance, target: &Path, why: bool) -> String {
    let mut lines = vec![format!(
        "{}: {} over {}, {}",
        dance.title,
        count(dance.cues.len(), "cue"),
        count(dance.grid.phrases().len(), "phrase"),
        count(dance.prompts.len(), "question"),
    )];
    for (index, cue) in dance.cues.iter().enumerate() {
        lines.push(format!(
            "  {:>7}  {:<26} {:>3} counts  {}",
            dance.grid.seconds_at(cue.at).to_string(),
            dance.grid.count_at(cue.at).to_string(),
            cue.counts.0,
            dance.words_of(&dance.cues[index]),
        ));
        if let (true, Some(why)) = (why, &cue.why) {
            lines.extend(wrapped(why, 66).into_iter().map(|line| format!("             {line}")));
        }
    }
    let shown = target.display();
    lines.push(format!("\nwritten to '{shown}'"));
    lines.push(format!("next: farandole check '{shown}', then farandole lead '{shown}'"));
    lines.join("\n") + "\n"
}
