//! The count sheet as one HTML file: no script, nothing from elsewhere.

use crate::dance::Dance;
use crate::handout::cautions::{GENERAL, moves_used};
use crate::handout::markup::escaped;
use crate::handout::{Material, facts, rights};
use std::fmt::Write;

/// The whole page. Ends with a newline.
pub(in crate::handout) fn html(material: &Material<'_>) -> String {
    let dance = material.dance;
    let mut page = String::new();
    // Writing into a string cannot fail, so the results are let go here and below.
    let _ = write!(
        page,
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<title>{0}: count sheet</title>\n\
         <style>@page {{ size: {1}; margin: 12mm }}</style>\n</head>\n<body>\n<h1>{0}</h1>\n<dl>\n",
        escaped(&dance.title),
        material.paper.name()
    );
    for (label, value) in facts::facts(dance) {
        let _ = writeln!(page, "<dt>{label}</dt><dd>{}</dd>", escaped(&value));
    }
    let _ = writeln!(page, "</dl>\n<h2>Before you dance</h2>\n<ul>");
    GENERAL.iter().for_each(|caution| {
        let _ = writeln!(page, "<li>{}</li>", escaped(caution));
    });
    let _ = writeln!(page, "</ul>\n<h2>The dance</h2>\n<ol>");
    for cue in &dance.cues {
        let _ = writeln!(
            page,
            "<li>{}: {} ({} counts)</li>",
            escaped(&dance.grid.count_at(cue.at).to_string()),
            escaped(dance.words_of(cue)),
            cue.counts.0
        );
    }
    let _ = writeln!(page, "</ol>\n<h2>The moves</h2>\n{}<h2>Rights</h2>", moves(dance));
    for line in rights::note(dance.recording.year) {
        let _ = writeln!(page, "<p>{}</p>", escaped(&line));
    }
    let _ = writeln!(page, "</body>\n</html>");
    page
}

/// Every move that is danced, with its gentle versions and its caution.
fn moves(dance: &Dance) -> String {
    let mut out = String::from("<dl>\n");
    for entry in moves_used(dance) {
        let _ = write!(
            out,
            "<dt>{}</dt><dd>{}</dd><dd>Seated: {}. {}</dd><dd>Low impact: {}. {}</dd>",
            escaped(&entry.words),
            escaped(&entry.how),
            escaped(&entry.seated.words),
            escaped(&entry.seated.how),
            escaped(&entry.low_impact.words),
            escaped(&entry.low_impact.how)
        );
        if let Some(caution) = &entry.caution {
            let _ = write!(out, "<dd>Take care: {}</dd>", escaped(caution));
        }
        out.push('\n');
    }
    out + "</dl>\n"
}
