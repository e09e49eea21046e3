//! The count sheet as one HTML file: no script, nothing from elsewhere, to be read on a screen or printed.

use super::pace::KEY;
use super::row::Drawn;
use super::rows::{Row, longest, rows};
use super::sheets::title;
use super::{overview, words_of};
use crate::dance::Dance;
use crate::handout::cautions::{GENERAL, moves_used};
use crate::handout::drawing::{Drawing, inner_svg};
use crate::handout::form::badges;
use crate::handout::markup::escaped;
use crate::handout::{Material, facts, like, rights};
use crate::trail::Trail;
use crate::units::Beat;
use std::fmt::Write;

/// Width of the drawings in points; a browser scales them.
const ACROSS: f64 = 527.0;

const STYLE: &str = "
body { font: 1.05rem/1.45 'DejaVu Sans', Verdana, Arial, sans-serif; color: #000; background: #fff; max-width: 60rem;
  margin: 1.5rem auto; padding: 0 1rem; }
h1 { margin-bottom: .3rem; } h2 { border-bottom: 2px solid #000; margin-top: 2rem; }
h3 { margin: 1.4rem 0 .2rem; font-size: 1rem; } h3 span { font-weight: normal; }
dl.facts { display: flex; flex-wrap: wrap; gap: .1rem 1.2rem; margin: 0; }
dl.facts div { display: flex; gap: .35rem; } dl.facts dd { margin: 0; } dl.facts dt { font-weight: bold; }
svg { display: block; width: 100%; height: auto; }
.care { border: 2px solid #000; border-radius: 6px; padding: .2rem 1rem .6rem; } .care h2 { border: 0; margin: .6rem 0 .2rem; }
.care ul { margin: 0; padding-left: 1.2rem; } section, .move { break-inside: avoid; }
.move { margin: .8rem 0; } .move p { margin: .1rem 0 .1rem 1rem; } small { font-size: .85rem; }
ol.cues { margin: .1rem 0 0; padding-left: 1.6rem; font-size: .85rem; }
@media print { body { margin: 0; max-width: none; font-size: 10pt; } }
";

/// The whole page. Ends with a newline.
pub(in crate::handout) fn html(material: &Material<'_>) -> String {
    let dance = material.dance;
    let trail = Trail::new(&dance.grid, material.heard, dance.recording.length());
    let mut page = String::new();
    // Writing into a string cannot fail, so the results are let go here and below.
    let _ = write!(
        page,
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>{}</title>\n\
         <style>@page {{ size: {}; margin: 12mm }}{STYLE}</style>\n</head>\n<body>\n<main>\n<h1>{}</h1>\n<dl class=\"facts\">\n",
        escaped(&title(material)),
        material.paper.name(),
        escaped(&dance.title)
    );
    for (label, value) in facts::facts(dance) {
        let _ = writeln!(page, "<div><dt>{label}:</dt><dd>{}</dd></div>", escaped(&value));
    }
    let _ = writeln!(page, "</dl>\n<div class=\"care\">\n<h2>Before you dance</h2>\n<ul>");
    for caution in GENERAL {
        let _ = writeln!(page, "<li>{}</li>", escaped(caution));
    }
    let mut whole = Drawing::new(ACROSS + 4.0, 0.0, "The whole piece as a path over hills");
    whole.height = overview(&mut whole, material, &trail, 2.0, 0.0, ACROSS);
    let letters: Vec<&str> = dance.grid.phrases().iter().map(|phrase| phrase.letter.as_str()).collect();
    whole.about = format!("Phrases: {}.", letters.join(", "));
    let _ = writeln!(page, "</ul>\n</div>\n<h2>The dance</h2>\n{}", inner_svg(&whole, "whole"));
    let _ = writeln!(page, "<p class=\"key\">{}</p>", escaped(KEY));
    let rows = rows(dance);
    for phrase in rows.chunk_by(|_, next| !next.begins) {
        section(&mut page, material, &trail, phrase, longest(&rows));
    }
    moves(&mut page, dance);
    if material.notes && !dance.notes.trim().is_empty() {
        let _ = writeln!(page, "<h2>Notes</h2>");
        for paragraph in dance.notes.lines() {
            let _ = writeln!(page, "<p>{}</p>", escaped(paragraph));
        }
    }
    let _ = writeln!(page, "<h2>Rights in the recording</h2>\n<small>");
    for line in rights::note(dance.recording.year) {
        let _ = writeln!(page, "<p>{}</p>", escaped(&line));
    }
    let _ = writeln!(page, "</small>\n</main>\n</body>\n</html>");
    page
}

/// One phrase: its heading and its rows.
fn section(page: &mut String, material: &Material<'_>, trail: &Trail, rows: &[Row<'_>], longest: usize) {
    let Some(first) = rows.first() else { return };
    let grid = &material.dance.grid;
    let clock = grid.seconds_at(first.from).minutes();
    let heading = match first.phrase {
        None => format!("Pickup, at {clock}"),
        Some(span) => {
            let tempo = grid.tempo_at(Beat(0.5 * (span.start.0 + span.end.0)));
            format!(
                "Phrase {} ({}) <span>at {clock}, {} counts: {}</span>",
                span.index + 1,
                escaped(span.letter),
                span.counts().0,
                escaped(&like::words(material.heard, span.index, tempo))
            )
        }
    };
    let _ = writeln!(page, "<section>\n<h3>{heading}</h3>");
    let badges = badges(grid);
    for row in rows {
        let drawn = Drawn::new(material, trail, row, 2.0, (ACROSS, longest));
        let named = format!(
            "Counts {} to {}",
            row.first_count,
            row.first_count + (row.until.0 - row.from.0) as usize - 1
        );
        let mut sheet = Drawing::new(ACROSS + 4.0, drawn.height(), &named);
        sheet.about = spoken(material, row);
        drawn.draw(&mut sheet, 0.0, row.phrase.and_then(|phrase| badges.get(phrase.index)));
        page.push_str(&inner_svg(&sheet, &format!("row-{}", row.from.index())));
    }
    let _ = writeln!(page, "</section>");
}

/// A row in a sentence, for whoever cannot see it.
fn spoken(material: &Material<'_>, row: &Row<'_>) -> String {
    let mut parts: Vec<String> = Vec::new();
    for part in &row.boxes {
        let count = row.first_count as f64 + (part.from.0 - row.from.0).floor();
        let counts = part.until.0 - part.from.0;
        let words = words_of(material, &material.dance.cues[part.cue]);
        parts.push(format!("count {count}: {words}, for {counts} counts"));
    }
    for &prompt in &row.prompts {
        let asked = &material.dance.prompts[prompt];
        parts.push(format!("question: {} answer: {}", asked.question, asked.answer));
    }
    if parts.is_empty() { "nothing to do".into() } else { parts.join("; ") }
}

/// Every move that is danced, with its gentle versions and its caution.
fn moves(page: &mut String, dance: &Dance) {
    let _ = writeln!(page, "<h2>The moves, and how to do them sitting or gently</h2>");
    for entry in moves_used(dance) {
        let _ = write!(
            page,
            "<div class=\"move\"><strong>{}</strong> <span aria-hidden=\"true\">{}</span>\n<p>{}</p>\n",
            escaped(&entry.words),
            escaped(&entry.sign),
            escaped(&entry.how)
        );
        for (name, gentle) in [("Sitting", &entry.seated), ("Gently", &entry.low_impact)] {
            let _ =
                writeln!(page, "<p>{name}: {} \u{2013} {}</p>", escaped(&gentle.words), escaped(&gentle.how));
        }
        if let Some(caution) = &entry.caution {
            let _ = writeln!(page, "<p><strong>Take care: {}</strong></p>", escaped(caution));
        }
        let _ = writeln!(page, "</div>");
    }
}
