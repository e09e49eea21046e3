//! `moves`: the move book.

use super::arguments::Moves;
use super::draft::book;
use super::{Outcome, Output, Problem};
use crate::dance::Move;
use crate::words::wrapped;

/// Runs the command.
pub(super) fn run(options: &Moves, output: &mut Output) -> Result<Outcome, Problem> {
    let book = book(options.moves.as_deref())?;
    let shown: Vec<&Move> = match &options.search {
        Some(letters) => book.search(letters),
        None => book.moves().collect(),
    };
    if options.json && options.search.is_none() {
        output.print(&(serde_json::to_string_pretty(&book)? + "\n"))?;
    } else if options.json {
        output.print(&(serde_json::to_string_pretty(&shown)? + "\n"))?;
    } else if shown.is_empty() {
        output.remark("no move fits these letters; 'farandole moves' lists them all");
    } else {
        output.print(&shown.into_iter().map(entry).collect::<Vec<_>>().join("\n"))?;
    }
    Ok(Outcome::Clean)
}

/// One move on a few lines.
fn entry(it: &Move) -> String {
    let mut lines = vec![format!(
        "{} {}  ({}; {} counts, energy {} of 5, {:.0} to {:.0} counts a minute)",
        it.sign,
        it.words,
        it.id.0,
        it.counts.0,
        it.energy.level(),
        it.tempo.slowest.0,
        it.tempo.fastest.0,
    )];
    let mut say = |label: &str, text: &str| {
        for (row, line) in wrapped(text, 64).into_iter().enumerate() {
            lines.push(format!("  {:<10}{line}", if row == 0 { label } else { "" }));
        }
    };
    say("", &it.how);
    say("seated", &format!("{}: {}", it.seated.words, it.seated.how));
    say("gentle", &format!("{}: {}", it.low_impact.words, it.low_impact.how));
    if let Some(caution) = &it.caution {
        say("caution", caution);
    }
    lines.join("\n") + "\n"
}
