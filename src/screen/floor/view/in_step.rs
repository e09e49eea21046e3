//! The page that brings sound and picture in step.

use super::super::app::App;
use super::super::in_step::{PERIOD, Sense, in_words};
use super::super::keys::STEP_KEYS;
use super::{line, line_right, rows};
use crate::screen::colours::Ink;
use crate::sound::Sound;
use crate::words::wrapped;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use unicode_width::UnicodeWidthStr;

/// Stones across the page; the figure goes over them again and again.
const STONES: u16 = 8;

/// What to do, for those who hear and for those who look.
const HEARING: &str = "Tap the space bar with the clicks that you hear, from where the class stands. Then watch: the \
    figure must step on a stone with every click. The arrows move the picture. A projector that is late itself: press s, \
    and tap with what you see.";
const SEEING: &str = "No click sounds now. Tap the space bar when you see the figure step on the next stone, from where \
    the class stands. Then press s again: the clicks come back, and the picture moves.";

/// What to do where no click can be heard.
const UNHEARD: &str = "No sound device answers, so there are no clicks to tap with. Connect the loudspeaker or switch it on: it \
    is looked for again and again. The arrows move the picture even so.";

pub(super) fn in_step(app: &App, area: Rect, buffer: &mut Buffer) {
    let inner = Rect { x: area.x + 2, width: area.width - 4, ..area };
    let height = inner.height;
    let (quiet, mark) = (app.palette.style(Ink::Quiet), app.palette.style(Ink::Mark));
    line(buffer, inner, "Sound and picture in step", app.palette.style(Ink::Now));
    let device = match app.heard.sound {
        Sound::NoDevice | Sound::NoRecording => "no sound device".to_owned(),
        Sound::Silenced => "silent".to_owned(),
        Sound::Opening | Sound::Sounding => app.in_step.device.clone().unwrap_or_default(),
    };
    if device.width() + 30 <= usize::from(inner.width) {
        line_right(buffer, rows(inner, 0, 1), &device, quiet);
    }
    // From below: the keys, then what is found, then what to do, as far as there is room.
    let keys: Vec<String> =
        STEP_KEYS.iter().map(|binding| format!("{}  {}", binding.name, binding.help)).collect();
    let keys = columns(&keys, usize::from(inner.width));
    let key_rows = u16::try_from(keys.len()).unwrap_or(u16::MAX);
    let key_rows = if height >= key_rows.saturating_add(18) { key_rows } else { 1 };
    let foot = rows(inner, height - key_rows, key_rows);
    if key_rows == 1 {
        let all = "space tap   arrows 1 and 10 ms   s silence   enter keep   q back";
        let keys =
            if all.width() <= usize::from(foot.width) { all } else { "space tap   enter keep   q back" };
        line(buffer, foot, keys, quiet);
    } else {
        for (row, text) in (0..).zip(&keys) {
            line(buffer, rows(foot, row, 1), text, quiet);
        }
    }
    let found = rows(inner, height - key_rows - 2 - u16::from(height >= 12), 2);
    let mut words = in_words(app.in_step.trim);
    words[..1].make_ascii_uppercase();
    words.push('.');
    if words.width() > usize::from(found.width) {
        words = format!("{:+} ms", app.in_step.trim);
    }
    line(buffer, found, &words, mark);
    match &app.notice {
        Some((words, _)) => line(buffer, rows(found, 1, 1), words, mark),
        None if unheard(app) => {}
        None => line(buffer, rows(found, 1, 1), &app.in_step.taps_in_words(), quiet),
    }
    let walk_rows = if height >= 12 { 5 } else { 1 };
    walk(app, rows(inner, 1 + u16::from(height >= 16), walk_rows), buffer);
    let text = match app.in_step.sense {
        _ if unheard(app) => UNHEARD,
        Sense::Hearing => HEARING,
        Sense::Seeing => SEEING,
    };
    let from = 2 + walk_rows + 2 * u16::from(height >= 16);
    let room = rows(inner, from, (found.y - inner.y).saturating_sub(from + 1));
    for (row, text) in (0..room.height).zip(wrapped(text, usize::from(room.width))) {
        line(buffer, rows(room, row, 1), &text, quiet);
    }
}

/// Whether no click can be heard.
fn unheard(app: &App) -> bool {
    matches!(app.heard.sound, Sound::NoDevice | Sound::NoRecording | Sound::Silenced)
}

/// Short texts in as many columns as fit.
fn columns(texts: &[String], width: usize) -> Vec<String> {
    let wide = texts.iter().map(|text| text.width()).max().unwrap_or(0) + 3;
    let across = (width / wide).max(1);
    let down = texts.len().div_ceil(across);
    (0..down)
        .map(|row| {
            let row = (0..across).filter_map(|column| texts.get(column * down + row));
            row.map(|text| format!("{text:<wide$}")).collect::<String>().trim_end().to_owned()
        })
        .collect()
}

/// The figure on its stones. It steps with the click, and lifts half way to the next.
fn walk(app: &App, area: Rect, buffer: &mut Buffer) {
    let clicks = app.heard.at.0 / PERIOD + 1e-6;
    let here = (clicks.floor().rem_euclid(f64::from(STONES))) as u16;
    let lifted = clicks.rem_euclid(1.0) >= 0.5;
    let wide = area.width / STONES;
    let stones = if area.height >= 4 { 2 } else { 1 };
    for stone in 0..STONES {
        let ink = if stone == here { Ink::Leader } else { Ink::Stone };
        for x in 0..wide.saturating_sub(1).max(1) {
            for y in 0..stones {
                let symbol = match (stone == here, stones - y) {
                    (true, 1) => "█",
                    (true, _) => "▄",
                    (false, 1) => "▄",
                    (false, _) => " ",
                };
                put(buffer, area, (stone * wide + x, area.height - stones + y), symbol, app, ink);
            }
        }
    }
    if area.height < 5 {
        return;
    }
    let x = here * wide + wide.saturating_sub(1) / 2;
    let foot = area.height - stones - 1 - u16::from(lifted);
    put(buffer, area, (x, foot), if lifted { "│" } else { "Λ" }, app, Ink::Leader);
    put(buffer, area, (x, foot - 1), "o", app, Ink::Leader);
}

fn put(buffer: &mut Buffer, area: Rect, (x, y): (u16, u16), symbol: &str, app: &App, ink: Ink) {
    if x < area.width
        && y < area.height
        && let Some(cell) = buffer.cell_mut((area.x + x, area.y + y))
    {
        cell.set_symbol(symbol).set_style(app.palette.style(ink));
    }
}
