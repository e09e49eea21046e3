//! `carry`: a dance goes across to another performance of the same piece.

use super::arguments::Carry;
use super::draft::{beside, fresh};
use super::listen::file_name;
use super::output::count;
use super::{Outcome, Output, Problem, hear};
use crate::dance::{self, Carried, Dance, Doubt, Source};
use crate::listening::align;
use crate::shelf;
use crate::words::wrapped;
use std::path::Path;

/// Runs the command.
pub(super) fn run(options: &Carry, output: &mut Output) -> Result<Outcome, Problem> {
    let target = options.output.clone().unwrap_or_else(|| beside(&options.recording));
    let stamp = fresh(&target, options.replace)?;
    let opened = shelf::load(&options.dance)?;
    for note in opened.notes.iter().chain(&opened.read_only) {
        output.remark(format_args!("note: {note}"));
    }
    let found = shelf::recording_for(&opened.dance, &options.dance, &mut |path: &Path| {
        let (heard, memory) = hear::remember(path, &options.hearing, output)?;
        Ok((heard.identity, memory))
    });
    let here = hear::usable(found, &opened.dance, output);
    // Only the sound of the old recording tells which of its instants is which of the new one's.
    let here = here.ok_or_else(|| Problem::NothingToCarryFrom { path: options.dance.clone() })?;
    let (heard, there) = hear::remember(&options.recording, &options.hearing, output)?;
    for warning in &heard.warnings {
        output.remark(format_args!("note: {warning}"));
    }
    let cannot = |source| Problem::Carry { path: options.dance.clone(), source };
    let alignment =
        align(&here.evidence, &there.evidence).ok_or_else(|| cannot(dance::CarryError::Beatless))?;
    let source = Source {
        path: shelf::relative(shelf::folder_of(&target), &options.recording),
        identity: heard.identity,
        title: heard.tags.title,
        performer: heard.tags.performer,
        year: None,
        unknown: serde_json::Map::new(),
    };
    let carried = dance::carry(&opened.dance, source, &alignment, &mut |anchors| there.grid(anchors))
        .map_err(cannot)?;
    shelf::save(&target, &carried.dance, stamp)?;
    output.print(&summary(&opened.dance, &carried, &target))?;
    Ok(if carried.doubts.is_empty() { Outcome::Clean } else { Outcome::Found })
}

fn summary(old: &Dance, carried: &Carried, target: &Path) -> String {
    let key = match carried.transposed {
        0 => "in the same key".to_owned(),
        up @ 1.. => format!("{} higher", count(up.unsigned_abs() as usize, "semitone")),
        down => format!("{} lower", count(down.unsigned_abs() as usize, "semitone")),
    };
    let mut lines = vec![format!(
        "{}: {} carried from '{}' to '{}', which runs at {:.0} % of its speed, {key}",
        carried.dance.title,
        count(carried.dance.cues.len(), "cue"),
        file_name(Path::new(&old.recording.path)),
        file_name(Path::new(&carried.dance.recording.path)),
        100.0 * carried.speed,
    )];
    if carried.left_out > 0 {
        lines.push(format!(
            "  ! left out, because the music is not played: {}",
            count(carried.left_out, "cue")
        ));
    }
    let named = |phrase: usize| {
        let span = old.grid.phrase_spans().nth(phrase);
        span.map_or_else(String::new, |span| {
            let at = old.grid.seconds_at(span.start);
            format!("phrase {} ({}), {at} in the old recording", phrase + 1, span.letter)
        })
    };
    for doubt in &carried.doubts {
        let text = match *doubt {
            Doubt::OtherPiece => {
                "these two do not sound like the same piece; listen before a class does".to_owned()
            }
            Doubt::NotPlayed { phrase } => format!("{}: the new recording does not play it", named(phrase)),
            Doubt::Unlike { phrase } => format!("{}: it sounds otherwise here", named(phrase)),
            Doubt::Parted { phrase, faster } if faster > 1.0 => {
                format!("{}: most of it seems to be left out here", named(phrase))
            }
            Doubt::Parted { phrase, .. } => format!("{}: something seems to be added here", named(phrase)),
        };
        let folded = wrapped(&text, 74);
        let mut marks = std::iter::once("  ? ").chain(std::iter::repeat("    "));
        lines.extend(folded.iter().map(|line| format!("{}{line}", marks.next().unwrap_or_default())));
    }
    let shown = target.display();
    lines.push(format!("\nwritten to '{shown}'"));
    lines.push(format!("next: farandole check '{shown}', then farandole lead '{shown}'"));
    lines.join("\n") + "\n"
}
