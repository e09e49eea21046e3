//! `programme`: a lesson as a running order, added up, or led one dance after another.

use super::arguments::{Floor, Programme as Options};
use super::output::count;
use super::{Outcome, Output, Problem, again, hear};
use crate::check::check;
use crate::dance::{MoveBook, Need};
use crate::lesson::{Glance, Part, Programme, Sum};
use crate::screen;
use crate::shelf;
use crate::units::Seconds;
use crate::words::wrapped;
use serde::Serialize;
use std::ffi::OsString;
use std::fs;
use std::path::{Path, PathBuf};

/// Version of the JSON form of the report.
const SCHEMA: u32 = 1;
/// Columns of a line of text.
const WIDTH: usize = 78;

/// Runs the command.
pub(super) fn run(options: &Options, output: &mut Output) -> Result<Outcome, Problem> {
    let text = fs::read_to_string(&options.file).map_err(|source| Problem::File {
        what: "read",
        path: options.file.clone(),
        source,
    })?;
    let programme =
        Programme::read(&text).map_err(|source| Problem::Programme { path: options.file.clone(), source })?;
    let paths: Vec<Option<PathBuf>> = programme
        .items
        .iter()
        .map(|item| item.dance.as_ref().map(|name| options.file.with_file_name(name)))
        .collect();
    // Before anything is listened to.
    for path in paths.iter().flatten() {
        shelf::load(path)?;
    }
    if options.lead {
        return lead(&programme, &paths, &options.floor, output);
    }
    let book = MoveBook::built_in();
    let mut glances: Vec<Option<Glance>> = Vec::with_capacity(paths.len());
    for path in &paths {
        let glance = path.as_ref().map(|path| glance(path, options, &book, output)).transpose()?;
        glances.push(glance);
    }
    let parts: Vec<Part<'_>> = programme
        .items
        .iter()
        .zip(&glances)
        .map(|(item, glance)| Part { item, glance: glance.as_ref() })
        .collect();
    let sum = Sum::of(&parts);
    output.print(&if options.json {
        json(&programme, &parts, &sum)?
    } else {
        report(&programme, &parts, &sum)
    })?;
    Ok(if sum.remarks.is_empty() { Outcome::Clean } else { Outcome::Found })
}

/// A dance at a glance; its recording is listened to where that is not remembered.
fn glance(path: &Path, options: &Options, book: &MoveBook, output: &mut Output) -> Result<Glance, Problem> {
    let opened = shelf::load(path)?;
    let found = shelf::recording_for(&opened.dance, path, &mut |path| {
        let heard = hear::hear(path, &options.hearing, output)?;
        Ok((heard.identity, heard.listening))
    });
    let heard = hear::usable(found, &opened.dance, output);
    let report = check(&opened.dance, heard.as_ref());
    Ok(Glance::of(&opened.dance, heard.as_ref(), &report, book))
}

/// Leads one dance after another; between them she reads what comes next, and goes on when the class is ready.
fn lead(
    programme: &Programme,
    paths: &[Option<PathBuf>],
    floor: &Floor,
    output: &mut Output,
) -> Result<Outcome, Problem> {
    screen::require_terminal()?;
    let mut flags: Vec<OsString> = Vec::new();
    for (on, flag) in [(floor.silent, "--silent"), (floor.light, "--light"), (floor.gentle, "--gentle")] {
        flags.extend(on.then(|| flag.into()));
    }
    flags.extend(floor.trim.map(|trim| format!("--trim={trim}").into()));
    let (mut at, mut led) = (0.0, false);
    for (index, (item, path)) in programme.items.iter().zip(paths).enumerate() {
        let named =
            path.as_ref().map(|path| shelf::load(path).map(|opened| opened.dance.title)).transpose()?;
        let what = match (&named, item.note.as_str()) {
            (Some(title), "") => format!("'{title}'"),
            (Some(title), note) => format!("'{title}': {note}"),
            (None, "") => "a pause".to_owned(),
            (None, note) => note.to_owned(),
        };
        output.print(&format!(
            "\n{} of {}, from {} on, {} min\n{what}\n",
            index + 1,
            programme.items.len(),
            Seconds(60.0 * at).minutes(),
            item.minutes
        ))?;
        at += item.minutes;
        let next = if path.is_some() { "leads it" } else { "goes on" };
        output.print(&format!("(enter {next}, s and enter leaves it out, q and enter ends the lesson) "))?;
        match again::wait_for_enter().as_deref() {
            None | Some("q") => return Ok(Outcome::Clean),
            Some("s") => continue,
            Some(_) => {}
        }
        if let Some(path) = path {
            let mut arguments: Vec<OsString> = vec!["lead".into(), path.as_os_str().to_owned()];
            arguments.extend(flags.iter().cloned());
            // Once is enough.
            arguments.extend((floor.in_step && !led).then(|| "--in-step".into()));
            led = true;
            again::run(&arguments)?;
        }
    }
    output.print("\nthat was the lesson\n")?;
    Ok(Outcome::Clean)
}

fn need(need: Need) -> &'static str {
    match need {
        Need::Scarf => "a light scarf for each child, held in the hand",
        Need::Hands => "room to hold hands, and a way of joining in without",
    }
}

fn report(programme: &Programme, parts: &[Part<'_>], sum: &Sum) -> String {
    let title = if programme.title.is_empty() { "The lesson" } else { &programme.title };
    let mut lines = vec![
        format!(
            "{title}: {} min, {}, {} of music",
            sum.minutes,
            count(sum.dances, "dance"),
            sum.music.minutes()
        ),
        String::new(),
    ];
    let mut at = 0.0;
    let say = |lines: &mut Vec<String>, indent: usize, text: &str| {
        lines.extend(wrapped(text, WIDTH - indent).into_iter().map(|line| format!("{:indent$}{line}", "")));
    };
    for part in parts {
        let what = match part.glance {
            Some(glance) => {
                let facts: Vec<String> = [glance.length.minutes(), glance.pace(), glance.liveliness()]
                    .into_iter()
                    .filter(|fact| !fact.is_empty())
                    .collect();
                format!("{} ({})", glance.title, facts.join(", "))
            }
            None if part.item.note.is_empty() => "a pause".to_owned(),
            None => part.item.note.clone(),
        };
        let mut what = wrapped(&what, WIDTH - 18).into_iter();
        let first = what.next().unwrap_or_default();
        lines.push(format!("  {:>6}  {:>4} min  {first}", Seconds(60.0 * at).minutes(), part.item.minutes));
        lines.extend(what.map(|line| format!("{:18}{line}", "")));
        if let Some(glance) = part.glance {
            if !glance.turns.is_empty() {
                say(&mut lines, 18, &format!("teaches {}", glance.teaches()));
            }
            say(&mut lines, 18, &part.item.note);
        }
        at += part.item.minutes;
    }
    lines.push(String::new());
    if sum.dances > 0 {
        say(&mut lines, 2, &format!("energy: {}", Sum::arc(parts).join(" > ")));
        let jumping =
            if sum.jumping.0 < 0.5 { "none".to_owned() } else { format!("{} in all", sum.jumping.minutes()) };
        say(&mut lines, 2, &format!("jumping: {jumping}"));
    }
    if !sum.needs.is_empty() {
        let needs: Vec<&str> = sum.needs.iter().map(|have| need(*have)).collect();
        say(&mut lines, 2, &format!("have ready: {}", needs.join("; ")));
    }
    lines.push(String::new());
    lines.push("Take care".into());
    say(&mut lines, 2, "Your school's own rules, risk assessment and each child's health plan come first.");
    for (words, caution) in &sum.cautions {
        say(&mut lines, 2, &format!("{words}: {caution}"));
    }
    if !sum.remarks.is_empty() {
        lines.push(String::new());
        lines.push("Look at".into());
        for remark in &sum.remarks {
            let folded = wrapped(&remark.to_string(), WIDTH - 4);
            let mut marks = std::iter::once("  ! ").chain(std::iter::repeat("    "));
            lines.extend(folded.iter().map(|line| format!("{}{line}", marks.next().unwrap_or_default())));
        }
    }
    lines.join("\n") + "\n"
}

#[derive(Serialize)]
struct JsonItem<'a> {
    from_seconds: f64,
    minutes: f64,
    dance: Option<&'a str>,
    note: &'a str,
    glance: Option<&'a Glance>,
}

#[derive(Serialize)]
struct JsonProgramme<'a> {
    schema: u32,
    title: &'a str,
    items: Vec<JsonItem<'a>>,
    energy: Vec<String>,
    sum: &'a Sum,
    sentences: Vec<String>,
}

fn json(programme: &Programme, parts: &[Part<'_>], sum: &Sum) -> Result<String, Problem> {
    let mut at = 0.0;
    let items = parts
        .iter()
        .map(|part| {
            let from_seconds = 60.0 * at;
            at += part.item.minutes;
            JsonItem {
                from_seconds,
                minutes: part.item.minutes,
                dance: part.item.dance.as_deref(),
                note: &part.item.note,
                glance: part.glance,
            }
        })
        .collect();
    let whole = JsonProgramme {
        schema: SCHEMA,
        title: &programme.title,
        items,
        energy: Sum::arc(parts),
        sum,
        sentences: sum.remarks.iter().map(ToString::to_string).collect(),
    };
    Ok(serde_json::to_string_pretty(&whole)? + "\n")
}
