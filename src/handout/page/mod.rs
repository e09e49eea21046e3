//! The take-home page: one HTML file with the recording inside, that leads the dance in any current browser, offline.
//!
//! Nothing is fetched from elsewhere (a content security policy forbids it), and nothing is known of who made it. The page
//! shows what the sound element says is being played; it counts nothing by itself.

mod sound;
mod unsigned;

pub use sound::{Sound, wave};

use super::captions::{one_line, said};
use super::cautions::{GENERAL, moves_used};
use super::drawing::{Drawing, Ink, inner_svg};
use super::form::badges;
use super::hill::{Across, Hill, LEVEL, Signs};
use super::markup::escaped;
use super::{HandoutError, Material, facts, rights};
use crate::dance::{Cue, Dance};
use crate::trail::Trail;
use crate::units::{Beat, Seconds};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use serde_json::{Value, json};
use std::fmt::Write;
use unsigned::unsigned;

const STYLE: &str = include_str!("page.css");
const SCRIPT: &str = include_str!("page.js");

/// Width of the trail's drawing in points; a browser scales it.
const ACROSS: f64 = 720.0;

/// How many places of the path the page is told, so that its walker keeps to the drawn ground.
const PLACES: usize = 240;

/// Nothing from elsewhere: only what is in the file itself, and the sound made of it.
const POLICY: &str = "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; media-src blob:; \
                      base-uri 'none'; form-action 'none'";

/// The whole page with `sound` inside. Ends with a newline; the same dance and sound give the same bytes.
///
/// # Errors
/// [`HandoutError::NoBeats`].
pub fn page(material: &Material<'_>, sound: &Sound<'_>) -> Result<Vec<u8>, HandoutError> {
    let dance = material.dance;
    if dance.grid.is_empty() {
        return Err(HandoutError::NoBeats);
    }
    let trail = Trail::new(&dance.grid, material.heard, dance.recording.length());
    let (drawing, path) = hills(material, &trail);
    let mut page = String::with_capacity(sound.bytes.len() * 4 / 3 + 100_000);
    // Writing into a string cannot fail, so the results are let go here and below.
    let _ = write!(
        page,
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"{POLICY}\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta name=\"color-scheme\" content=\"light dark\">\n<title>{title}: dance along</title>\n<style>\n{STYLE}</style>\n\
         </head>\n<body>\n<main>\n<h1>{title}</h1>\n<p class=\"facts\">{facts}</p>\n",
        title = escaped(&one_line(&dance.title)),
        facts = escaped(&about(dance)),
    );
    let _ = write!(
        page,
        "<section id=\"care\" aria-labelledby=\"care-head\">\n<h2 id=\"care-head\">Before you dance</h2>\n"
    );
    cautions(&mut page, dance);
    page.push_str(
        "<button type=\"button\" id=\"begin\">There is room: begin</button>\n\
         <noscript><p>This page needs JavaScript to keep step with the music.</p></noscript>\n</section>\n",
    );
    stage(&mut page, &drawing);
    questions(&mut page, dance);
    moves(&mut page, dance);
    let _ = write!(page, "<section>\n<h2>Rights in the recording</h2>\n");
    for line in rights::note(dance.recording.year) {
        let _ = writeln!(page, "<p>{}</p>", escaped(&line));
    }
    let told = told(dance, &path).to_string().replace('<', "\\u003c");
    let _ = write!(
        page,
        "</section>\n</main>\n<script type=\"application/json\" id=\"dance\">{told}</script>\n\
         <script type=\"text/plain\" id=\"sound\" data-type=\"{}\">",
        sound.kind
    );
    STANDARD.encode_string(unsigned(sound.bytes), &mut page);
    let _ = write!(page, "</script>\n<script>\n{SCRIPT}</script>\n</body>\n</html>\n");
    Ok(page.into_bytes())
}

/// The recording's details on one line.
fn about(dance: &Dance) -> String {
    let facts = facts::facts(dance);
    let wanted = facts.iter().filter(|(label, _)| !["Form", "Counts"].contains(label));
    wanted.map(|(label, value)| format!("{label}: {}", one_line(value))).collect::<Vec<_>>().join(" \u{b7} ")
}

fn cautions(page: &mut String, dance: &Dance) {
    page.push_str("<ul>\n");
    for caution in GENERAL {
        let _ = writeln!(page, "<li>{}</li>", escaped(caution));
    }
    for entry in moves_used(dance) {
        if let Some(caution) = &entry.caution {
            let _ = writeln!(
                page,
                "<li>{}: {}</li>",
                escaped(&one_line(&entry.words)),
                escaped(&one_line(caution))
            );
        }
    }
    page.push_str("</ul>\n");
}

/// What is seen while dancing.
fn stage(page: &mut String, drawing: &Drawing) {
    page.push_str(
        "<section id=\"stage\" aria-label=\"The dance\" hidden>\n\
         <div id=\"floor\"><p id=\"now\">get ready</p>\n<p id=\"how\"></p></div>\n\
         <div id=\"coming\"><p><span class=\"label\">next:</span> <span id=\"next\"></span></p>\n\
         <p id=\"togo\"><span id=\"stones\" aria-hidden=\"true\"></span> <span id=\"number\"></span></p></div>\n\
         <div id=\"asked\" hidden><p id=\"question\"></p><button type=\"button\" id=\"uncover\">Show the answer</button>\n\
         <p id=\"answer\" hidden></p></div>\n\
         <p id=\"said\" class=\"unseen\" role=\"status\"></p>\n\
         <div class=\"row\"><button type=\"button\" id=\"back\">Phrase back</button>\n\
         <button type=\"button\" id=\"play\">Play</button>\n\
         <button type=\"button\" id=\"on\">Phrase on</button></div>\n\
         <div id=\"trail\" tabindex=\"0\" role=\"group\" aria-label=\"The trail\">",
    );
    page.push_str(&inner_svg(drawing, "hills"));
    page.push_str(
        "</div>\n<label class=\"place\">Place in the piece <input type=\"range\" id=\"place\" min=\"0\" value=\"0\" step=\"1\"></label>\n\
         <div class=\"row\">\n<fieldset id=\"version\"><legend>How we dance</legend>\n\
         <label><input type=\"radio\" name=\"version\" value=\"all\" checked> standing</label>\n\
         <label><input type=\"radio\" name=\"version\" value=\"seated\"> sitting</label>\n\
         <label><input type=\"radio\" name=\"version\" value=\"low\"> gently</label></fieldset>\n\
         <fieldset id=\"speed\"><legend>How fast</legend>\n\
         <label><input type=\"radio\" name=\"speed\" value=\"1\" checked> as it is</label>\n\
         <label><input type=\"radio\" name=\"speed\" value=\"0.85\"> slower</label>\n\
         <label><input type=\"radio\" name=\"speed\" value=\"0.7\"> slowest</label></fieldset></div>\n\
         <p class=\"keys\">Keys: space plays and pauses, left and right arrow go by phrases.</p>\n</section>\n",
    );
}

/// The questions with their answers, to uncover.
fn questions(page: &mut String, dance: &Dance) {
    if dance.prompts.is_empty() {
        return;
    }
    page.push_str("<section>\n<h2>Questions to listen for</h2>\n");
    for prompt in &dance.prompts {
        let at = dance.grid.seconds_at(prompt.at).minutes();
        let _ = writeln!(
            page,
            "<details><summary>At {at}: {}</summary><p>{}</p></details>",
            escaped(&one_line(&prompt.question)),
            escaped(&one_line(&prompt.answer))
        );
    }
    page.push_str("</section>\n");
}

/// Every move, how it is done, and its gentle versions.
fn moves(page: &mut String, dance: &Dance) {
    page.push_str("<section>\n<h2>The moves</h2>\n");
    for entry in moves_used(dance) {
        let _ = write!(
            page,
            "<details><summary>{}</summary><p>{}</p>\n<p>Sitting: {} \u{2013} {}</p>\n<p>Gently: {} \u{2013} {}</p></details>\n",
            escaped(&one_line(&entry.words)),
            escaped(&entry.how),
            escaped(&entry.seated.words),
            escaped(&entry.seated.how),
            escaped(&entry.low_impact.words),
            escaped(&entry.low_impact.how),
        );
    }
    page.push_str("</section>\n");
}

/// The whole piece as a path, and where it runs: `x` and `y` at [`PLACES`] instants, even in time.
fn hills(material: &Material<'_>, trail: &Trail) -> (Drawing, Vec<[f64; 2]>) {
    let dance = material.dance;
    let grid = &dance.grid;
    let end = grid.seconds_at(grid.end());
    let mut hill = Hill {
        trail,
        across: Across::Time,
        from: Seconds(0.0),
        until: Seconds(dance.recording.length().0.max(end.0)),
        left: 6.0,
        width: ACROSS - 12.0,
        top: 0.0,
        bottom: 0.0,
    };
    // Room for the walker above the highest place, under the landmarks' words.
    hill.top = LEVEL * hill.levels(Signs::Worded) as f64 + 26.0;
    hill.bottom = hill.top + 80.0;
    let mut sheet = Drawing::new(ACROSS, hill.bottom + 4.0, "The whole piece as a path over hills");
    let letters: Vec<&str> = grid.phrases().iter().map(|phrase| phrase.letter.as_str()).collect();
    sheet.about = format!("Higher ground is louder. Phrases: {}.", letters.join(", "));
    hill.ground(&mut sheet, hill.from, hill.until, Ink::PALE.tint(0.5));
    for (span, badge) in grid.phrase_spans().zip(badges(grid)) {
        hill.ground(&mut sheet, grid.seconds_at(span.start), grid.seconds_at(span.end), badge.tint());
    }
    hill.stones(&mut sheet, 5.0);
    hill.landmarks(&mut sheet, Signs::Worded);
    let hundredth = |value: f64| (value * 100.0).round() / 100.0;
    let places = (0..=PLACES).map(|place| {
        let at = Seconds(hill.until.0 * place as f64 / PLACES as f64);
        [hundredth(hill.x(at)), hundredth(hill.y(at))]
    });
    (sheet, places.collect())
}

/// What the page's script is told.
fn told(dance: &Dance, path: &[[f64; 2]]) -> Value {
    let grid = &dance.grid;
    let fine = |value: f64| (value * 1e4).round() / 1e4 + 0.0;
    let cue = |(index, cue): (usize, &Cue)| {
        let entry = dance.move_of(cue);
        let gentle = |gentle: Option<&crate::dance::GentleVersion>| {
            gentle.map_or_else(
                || json!([said(dance, cue), ""]),
                |it| json!([one_line(&it.words), one_line(&it.how)]),
            )
        };
        json!({
            "at": fine(cue.at.0),
            "end": fine(cue.end().0),
            "called": fine(cue.at.0 - dance.lead_of(index).0),
            "all": [said(dance, cue), entry.map_or_else(String::new, |entry| one_line(&entry.how))],
            "seated": gentle(entry.map(|entry| &entry.seated)),
            "low": gentle(entry.map(|entry| &entry.low_impact)),
        })
    };
    let prompts = dance.prompts.iter().map(|prompt| {
        json!({
            "at": fine(grid.seconds_at(prompt.at).0.max(0.0)),
            "question": one_line(&prompt.question),
            "answer": one_line(&prompt.answer),
            "pause": prompt.pause,
        })
    });
    json!({
        "beats": grid.beats().iter().map(|beat| fine(beat.0)).collect::<Vec<_>>(),
        "bars": grid.bars(),
        "phrases": grid.phrases().iter().map(|phrase| phrase.start).collect::<Vec<_>>(),
        "length": fine(dance.recording.length().0.max(grid.seconds_at(Beat::from(grid.len())).0)),
        "cues": dance.cues.iter().enumerate().map(cue).collect::<Vec<_>>(),
        "prompts": prompts.collect::<Vec<_>>(),
        "path": path,
    })
}
