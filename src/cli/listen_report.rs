//! What was heard, in words and a table, for a terminal of 80 columns.

use super::output::count;
use crate::listening::{Articulation, Listening, PhraseCharacter, Sureness, TempoWord, Turn, TurnKind};
use crate::shelf::Heard;
use crate::words::wrapped;
use std::fmt::Write;

/// The whole report. Ends with a newline.
pub(super) fn text(file: &str, heard: &Heard) -> String {
    let listening = &heard.listening;
    let mut out = String::new();
    let about = [heard.tags.title.as_deref(), heard.tags.performer.as_deref()];
    let about: Vec<&str> = about.into_iter().flatten().collect();
    // Writing into a string cannot fail, so the results are let go here and below.
    let _ = writeln!(out, "{file}  ({})", listening.length);
    if !about.is_empty() {
        let _ = writeln!(out, "{}", about.join(", "));
    }
    out.push('\n');
    for sentence in &listening.summary {
        for (row, line) in wrapped(sentence, 74).iter().enumerate() {
            let _ = writeln!(out, "{} {line}", if row == 0 { "  *" } else { "   " });
        }
    }
    if !listening.phrases.is_empty() {
        phrases(&mut out, listening);
    }
    if !listening.turns.is_empty() {
        turns(&mut out, listening);
    }
    doubts(&mut out, listening);
    out
}

fn phrases(out: &mut String, listening: &Listening) {
    let _ = writeln!(out, "\nPhrases");
    let _ = writeln!(
        out,
        "  {:<3} {:<6} {:>6}  {:>6}  {:<19} {:<4} {:<9} energy",
        "no", "music", "from", "counts", "tempo (beats/min)", "loud", "notes"
    );
    let words = TempoWord::along(listening.phrases.iter().map(|character| character.bpm));
    for ((span, character), word) in listening.grid.phrase_spans().zip(&listening.phrases).zip(words) {
        let tempo = format!("{:.0} {word}", character.bpm.0);
        let _ = writeln!(
            out,
            "  {:<3} {:<6} {:>6}  {:>6}  {:<19} {:<4} {:<9} {}",
            span.index + 1,
            span.letter,
            listening.grid.seconds_at(span.start).to_string(),
            span.counts().0,
            tempo,
            character.dynamic.map_or_else(|| "-".into(), |mark| mark.to_string()),
            articulation(character),
            energy(character),
        );
    }
}

fn turns(out: &mut String, listening: &Listening) {
    let _ = writeln!(out, "\nWhere it changes");
    for turn in &listening.turns {
        let place = if listening.grid.is_empty() {
            String::new()
        } else {
            listening.grid.count_at(turn.start_beat).to_string()
        };
        let row = format!(
            "  {:>7}  {place:<24} {:<28} {}",
            turn.start.to_string(),
            change(turn),
            sure(turn.sureness)
        );
        let _ = writeln!(out, "{}", row.trim_end());
    }
}

/// How much of the grid should be listened to again.
fn doubts(out: &mut String, listening: &Listening) {
    let doubtful = listening.sureness.iter().filter(|bar| bar.0 < 0.4).count();
    if doubtful > 0 {
        let _ = writeln!(
            out,
            "\nUnsure of {} of {}: listen there, and tap the beat where it is wrong.",
            count(doubtful, "bar"),
            listening.sureness.len()
        );
    }
}

/// A turn in a few words with its size.
fn change(turn: &Turn) -> String {
    let levels = || format!("{:+.0} LU", turn.to - turn.from);
    let tempi = || format!("{:.0} to {:.0}", turn.from, turn.to);
    let lasts = || format!("{:.1} s", turn.end.since(turn.start).0);
    match turn.kind {
        TurnKind::Crescendo => format!("louder, {} in {}", levels(), lasts()),
        TurnKind::Diminuendo => format!("softer, {} in {}", levels(), lasts()),
        TurnKind::SubitoLoud => format!("suddenly loud, {}", levels()),
        TurnKind::SubitoSoft => format!("suddenly soft, {}", levels()),
        TurnKind::Accelerando => format!("faster, {} in {}", tempi(), lasts()),
        TurnKind::Ritardando => format!("slower, {} in {}", tempi(), lasts()),
        TurnKind::SuddenlyFaster => format!("suddenly faster, {}", tempi()),
        TurnKind::SuddenlySlower => format!("suddenly slower, {}", tempi()),
        TurnKind::ATempo => format!("back in tempo, {:.0}", turn.to),
        TurnKind::Rest => format!("rest, {}", lasts()),
        TurnKind::Fermata => format!("held note, {}", lasts()),
    }
}

fn sure(sureness: Sureness) -> &'static str {
    match sureness.0 {
        x if x >= 0.7 => "",
        x if x >= 0.4 => "(likely)",
        _ => "(perhaps)",
    }
}

fn articulation(character: &PhraseCharacter) -> &'static str {
    match character.articulation {
        Articulation::Staccato => "short",
        Articulation::Detached => "detached",
        Articulation::Legato => "smooth",
        Articulation::Unclear => "unclear",
    }
}

fn energy(character: &PhraseCharacter) -> String {
    format!("{} of 5", character.energy)
}
