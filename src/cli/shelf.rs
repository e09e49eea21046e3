//! The shelf: the dances of a folder, on the screen or as a list. It is what `farandole` alone opens.

use super::arguments::Shelf;
use super::output::count;
use super::{Outcome, Output, Problem, again, hear};
use crate::lesson::Glance;
use crate::screen::colours::{Depth, Palette, Theme};
use crate::screen::shelf::{self as screen_shelf, Choice, Looker, Message, Slip, State, update};
use crate::screen::{self, require_terminal};
use crate::shelf;
use serde::Serialize;
use std::io::{self, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Version of the JSON form.
const SCHEMA: u32 = 1;
/// A dance takes a few hundredths of a second to look at; longer than this it is not waited for.
const PATIENCE: Duration = Duration::from_secs(60);

/// Runs the command.
pub(super) fn run(options: &Shelf, output: &mut Output) -> Result<Outcome, Problem> {
    let folder = folder(options);
    let paths = dances(&folder)?;
    let words = options.words.join(" ");
    if options.json || options.list || !io::stdout().is_terminal() {
        let (mut slips, looker) = Looker::start(&paths, hear::cache(&options.hearing));
        complete(&mut slips, &looker);
        return list(options, &words, &slips, output);
    }
    require_terminal()?;
    if let Some(state) = shelf::state_folder() {
        shelf::remember_folder(&state, &folder);
    }
    let theme = if options.light { Theme::Light } else { Theme::Dark };
    let palette = Palette { theme, depth: Depth::promised(|name| std::env::var(name).ok()) };
    let (slips, mut looker) = Looker::start(&paths, hear::cache(&options.hearing));
    let mut seen = screen_shelf::Shelf::new(folder.display().to_string(), slips, palette);
    seen.words = words;
    while let Some((choice, path)) = screen::run_shelf(&mut seen, &looker)? {
        act(options, choice, &path, output)?;
        // It may be another dance now, and there may be more of them.
        let (slips, fresh) = Looker::start(&dances(&folder)?, hear::cache(&options.hearing));
        looker = fresh;
        let before = std::mem::replace(
            &mut seen,
            screen_shelf::Shelf::new(folder.display().to_string(), slips, palette),
        );
        (seen.words, seen.writing) = (before.words, false);
        let place = seen.shown().iter().position(|index| seen.slips[*index].path == path);
        seen.cursor = place.unwrap_or(before.cursor).min(seen.shown().len().saturating_sub(1));
        // Those that are not known at once soon are.
        if let Some((path, state)) = looker.answer(Duration::from_millis(50)) {
            update(&mut seen, Message::Looked(path, state));
        }
    }
    Ok(Outcome::Clean)
}

/// The folder that was named, else that of last time, else the one in which the program was started.
fn folder(options: &Shelf) -> PathBuf {
    let last = || shelf::state_folder().and_then(|state| shelf::last_folder(&state));
    options.folder.clone().or_else(last).unwrap_or_else(|| PathBuf::from("."))
}

fn dances(folder: &Path) -> Result<Vec<PathBuf>, Problem> {
    shelf::dances_in(folder).map_err(|source| Problem::File {
        what: "look into",
        path: folder.to_owned(),
        source,
    })
}

/// Waits for the dances that are not known at once.
fn complete(slips: &mut [Slip], looker: &Looker) {
    while slips.iter().any(|slip| slip.state == State::Coming) {
        let Some((path, state)) = looker.answer(PATIENCE) else { return };
        if let Some(slip) = slips.iter_mut().find(|slip| slip.path == path) {
            slip.state = state;
        }
    }
}

/// Does something with a dance, as on the command line; what leaves words on the screen waits until they are read.
fn act(options: &Shelf, choice: Choice, path: &Path, output: &mut Output) -> Result<(), Problem> {
    let (command, reads) = match choice {
        Choice::Lead => ("lead", false),
        Choice::Sheet => ("sheet", false),
        Choice::Repair => ("repair", false),
        Choice::Check => ("check", true),
        Choice::HandOut => ("hand-out", true),
    };
    let mut arguments = vec![command.into(), path.as_os_str().to_owned()];
    if options.light && !reads {
        arguments.push("--light".into());
    }
    if options.silent && !reads {
        arguments.push("--silent".into());
    }
    let clean = again::run(&arguments)?;
    if reads || !clean {
        output.print("\n(enter goes back to the shelf)")?;
        let _ = io::stdout().flush();
        again::wait_for_enter();
        output.print("\n")?;
    }
    Ok(())
}

/// One dance of the list as JSON.
#[derive(Serialize)]
struct Listed<'a> {
    file: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    trouble: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    teaches: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pace: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    check: Option<String>,
    #[serde(flatten)]
    glance: Option<&'a Glance>,
}

#[derive(Serialize)]
struct Whole<'a> {
    schema: u32,
    dances: Vec<Listed<'a>>,
}

fn list(options: &Shelf, words: &str, slips: &[Slip], output: &mut Output) -> Result<Outcome, Problem> {
    let wanted = |slip: &&Slip| match &slip.state {
        State::Known(glance) => glance.answers_to(words),
        _ => words.is_empty(),
    };
    let mut slips: Vec<&Slip> = slips.iter().filter(wanted).collect();
    slips.sort_by_cached_key(|slip| slip.title().to_lowercase());
    if options.json {
        let dances = slips.iter().map(|slip| listed(slip)).collect();
        let text = serde_json::to_string_pretty(&Whole { schema: SCHEMA, dances })? + "\n";
        output.print(&text)?;
        return Ok(Outcome::Clean);
    }
    let mut text = String::new();
    for slip in &slips {
        match &slip.state {
            State::Known(glance) => {
                let seconds = glance.length.0.round() as u64;
                let teaches = glance.teaches();
                let teaches = if teaches.is_empty() { String::new() } else { format!("  {teaches}") };
                text += &format!(
                    "{:<28} {:>3}:{:02}  {:<16} {:<14}{teaches}\n",
                    slip.title(),
                    seconds / 60,
                    seconds % 60,
                    glance.liveliness(),
                    glance.standing()
                );
            }
            State::Broken(why) => text += &format!("{:<28} {why}\n", slip.name),
            State::Coming => text += &format!("{:<28} could not be looked at in time\n", slip.name),
        }
    }
    output.print(&text)?;
    output.remark(format_args!("{}", count(slips.len(), "dance")));
    Ok(Outcome::Clean)
}

fn listed(slip: &Slip) -> Listed<'_> {
    let file = super::listen::file_name(&slip.path);
    match &slip.state {
        State::Known(glance) => Listed {
            file,
            trouble: None,
            teaches: Some(glance.teaches()),
            pace: Some(glance.pace()),
            check: Some(glance.standing()),
            glance: Some(glance),
        },
        State::Broken(why) => {
            Listed { file, trouble: Some(why), teaches: None, pace: None, check: None, glance: None }
        }
        State::Coming => Listed {
            file,
            trouble: Some("could not be looked at in time"),
            teaches: None,
            pace: None,
            check: None,
            glance: None,
        },
    }
}
