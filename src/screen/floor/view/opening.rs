//! The page before the class begins: what to look after, and whether the words can be read. And the help.

use super::super::app::{App, Version};
use super::super::in_step::{Origin, in_words};
use super::super::keys::KEYS;
use super::super::legible::readable_from;
use super::floor::{Rooms, aired, said, sign_and_words};
use super::{line, rows};
use crate::screen::blocks::Words;
use crate::screen::colours::Ink;
use crate::screen::fitting::fitting;
use crate::words::wrapped;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use unicode_width::UnicodeWidthStr;

/// How to begin, in as few words as name the keys.
const SHORT_BEGIN: &str = "space begins   ? keys   q leaves";

/// What is said of gentle versions where there are moves, and in a free dance, which has none.
const GENTLE: &str = "Seated and low-impact versions stand under every move; g is for everyone.";
const FREE: &str = "Everyone moves in their own way, sitting too; small movements count as much.";

/// What to look after before children move; the most important first, as a small window shows fewer.
pub(crate) const CAUTIONS: &[&str] = &[
    "Your school's rules and each child's own plan come before this screen.",
    "Space: 3 square metres a child; bags, bottles and chairs out of the way.",
    "Floor clean and dry; bare feet or shoes that grip, never socks alone.",
    "Scarves in the hand: never round neck, face or wrist; picked up at once.",
    GENTLE,
    "Warm up; land softly with bent knees; stop on pain or dizziness.",
    "Agree on a stop signal; see every child; at home an adult within call.",
    "Music no louder than you can talk over.",
];

pub(super) fn opening(app: &App, area: Rect, buffer: &mut Buffer) {
    let inner = Rect { x: area.x + 2, width: area.width - 4, ..area };
    let height = inner.height;
    let title = app.floor.dance().title.as_str();
    let title_rows = if height >= 30 {
        height / 4
    } else if height >= 20 {
        5
    } else {
        1
    };
    let title_area = rows(inner, 0, title_rows);
    if title_rows > 1 {
        let words = Words::fit(title, title_area.width, title_area.height, 2);
        words.draw(title_area, buffer, app.palette.style(Ink::Now));
    } else {
        line(buffer, title_area, title, app.palette.style(Ink::Now));
    }
    let foot = rows(inner, height - 1, 1);
    let begin = begin(app, usize::from(foot.width));
    // What went wrong with keeping a trim is said here too.
    let said = match &app.notice {
        Some((words, _)) => wrapped(words, usize::from(foot.width)),
        None => vec![begin],
    };
    let foot = rows(inner, height - (said.len() as u16).min(3), 3);
    let mut reading = wrapped(&legibility(app, area), usize::from(inner.width));
    if height >= 16 {
        reading.splice(0..0, wrapped(&trim(app), usize::from(inner.width)));
    }
    let reading_rows = u16::try_from(reading.len()).unwrap_or(u16::MAX).min(height - 2);
    let below = rows(inner, title_rows, (height - title_rows).saturating_sub(reading_rows + 2));
    let mut from = u16::from(below.height > 6);
    let gap = u16::from(usize::from(below.height) > 2 * CAUTIONS.len());
    for caution in CAUTIONS {
        let caution = if app.floor.is_free() && *caution == GENTLE { &FREE } else { caution };
        let lines = wrapped(caution, usize::from(below.width));
        let needed = u16::try_from(lines.len()).unwrap_or(u16::MAX);
        if from.saturating_add(needed) > below.height {
            break;
        }
        for text in lines {
            line(buffer, rows(below, from, 1), &text, app.palette.style(Ink::Quiet));
            from += 1;
        }
        from += gap;
    }
    let last = rows(inner, height - 1 - reading_rows - u16::from(height > 12), reading_rows);
    for (row, text) in (0..).zip(reading) {
        line(buffer, rows(last, row, 1), &text, app.palette.style(Ink::Mark));
    }
    for (row, text) in (0..foot.height).zip(said) {
        let row = rows(foot, row, 1);
        line(buffer, row, &" ".repeat(usize::from(row.width)), app.palette.style(Ink::Mark));
        line(buffer, row, &text, app.palette.style(Ink::Mark));
    }
}

/// How to begin: the longest form that fits, so that no word of it is cut.
fn begin(app: &App, width: usize) -> String {
    let (version, forms) = match app.version {
        _ if app.locked => ("", ["keys locked: space begins   k unlocks", "keys locked: space begins"]),
        _ if app.floor.is_free() => {
            ("", ["space begins with a count-in   t in step   ? keys   q leaves", SHORT_BEGIN])
        }
        Version::Full => {
            ("", ["space begins with a count-in   g gentle versions   ? keys   q leaves", SHORT_BEGIN])
        }
        Version::LowImpact => {
            ("low impact, everyone   ", ["space begins   g seated   ? keys   q leaves", SHORT_BEGIN])
        }
        Version::Seated => ("seated, everyone   ", ["space begins   g off   ? keys   q leaves", SHORT_BEGIN]),
    };
    let piece = match app.piece {
        (_, 1) => String::new(),
        (piece, pieces) => format!("piece {piece} of {pieces}: "),
    };
    // Which piece it is gives way first, that all do a gentle version after it.
    let forms: Vec<String> = [(piece.as_str(), version), ("", version), ("", "")]
        .iter()
        .flat_map(|(piece, version)| forms.map(|form| format!("{piece}{version}{form}")))
        .collect();
    fitting(&forms, width).unwrap_or("space begins").to_owned()
}

/// How sound and picture are kept in step, and who says so.
fn trim(app: &App) -> String {
    let words = in_words(app.in_step.trim);
    match (app.in_step.origin, &app.in_step.device) {
        (Origin::Remembered, Some(device)) => format!("For '{device}' {words}, as remembered; t changes it."),
        (Origin::Given, _) => format!("With --trim {words}; t changes it."),
        (Origin::Tried, _) => {
            let mut words = words;
            words[..1].make_ascii_uppercase();
            format!("{words}, which is not remembered; t changes it.")
        }
        _ => "A wireless loudspeaker or a projector? t brings sound and picture in step.".to_owned(),
    }
}

/// Whether the class can read this window from where it sits.
fn legibility(app: &App, area: Rect) -> String {
    let asked = app.floor.dance().profile.distance;
    let metres = readable_from(smallest_letters(app, area), area.height);
    if metres >= asked {
        format!(
            "Full screen on 13 inches, the smallest words can be read from {metres:.1} m; you said {asked:.1} m."
        )
    } else {
        format!(
            "Too small for {asked:.1} m: full screen on 13 inches, the smallest words can be read from {metres:.1} m. \
             Enlarge the letters (often Ctrl and +), or use a larger screen."
        )
    }
}

/// That a window is too small to be read from where the class sits, shortly; `None` when it is not.
pub(super) fn too_small(app: &App, area: Rect) -> Option<String> {
    let asked = app.floor.dance().profile.distance;
    (readable_from(smallest_letters(app, area), area.height) < asked)
        .then(|| format!("too small to read from {asked:.1} m"))
}

/// Rows of the smallest letters in which a move of this dance would be shown in a window.
pub(in crate::screen::floor) fn smallest_letters(app: &App, area: Rect) -> f64 {
    let inner = Rect { x: area.x + 1, width: area.width.saturating_sub(2), ..area };
    let now = aired(Rooms::of(inner).now);
    let calls = app.floor.calls();
    let rows_of = |call| {
        let (_, words) = sign_and_words("x", now);
        Words::fit(said(&call, app.version), words.width, words.height, 2).letter_rows()
    };
    calls.map(rows_of).min_by(f64::total_cmp).unwrap_or(1.0)
}

pub(super) fn help(app: &App, area: Rect, buffer: &mut Buffer) {
    let inner = Rect { x: area.x + 2, width: area.width - 4, ..area };
    line(buffer, inner, "Keys", app.palette.style(Ink::Now));
    let spare = u16::from(inner.height > 2 * KEYS.len() as u16 + 4);
    let mut from = 1 + u16::from(inner.height > KEYS.len() as u16 + 3);
    let room = usize::from(inner.height.saturating_sub(2));
    let shown = if room < KEYS.len() { &KEYS[..room] } else { KEYS };
    for binding in shown {
        let row = rows(inner, from, 1);
        line(buffer, row, binding.name, app.palette.style(Ink::Mark));
        let text = Rect { x: row.x + 9, width: row.width.saturating_sub(9), ..row };
        line(buffer, text, binding.help, app.palette.style(Ink::Quiet));
        from += 1 + spare;
    }
    let (from, closes) = if shown.len() < KEYS.len() {
        (inner.height - 1, "any key closes it; a larger window shows more keys")
    } else {
        ((from + 1).min(inner.height - 1), "any key closes the help")
    };
    let closes = if closes.width() <= usize::from(inner.width) { closes } else { "any key closes it" };
    line(buffer, rows(inner, from, 1), closes, app.palette.style(Ink::Quiet));
}
