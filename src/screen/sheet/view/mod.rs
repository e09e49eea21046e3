//! Drawing the sheet: a function of what it knows, at any size.

mod foot;
mod panel;
mod written;

use super::modes::{About, Mode};
use super::state::Sheet;
use crate::screen::colours::Ink;
use crate::screen::fitting::{cut, line, pieces, rows};
use crate::screen::floor::path;
use crate::screen::help;
use crate::screen::repair;
use crate::screen::sheet::keys::chapters;
use crate::units::Beat;
use crate::words::wrapped;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use unicode_width::UnicodeWidthStr;

/// From how many rows on the whole piece is shown as a path over the paper.
const TRAIL_FROM: u16 = 34;
/// Rows of that path, and of a higher one from so many rows on.
const TRAIL: u16 = 7;
const HIGH_TRAIL: u16 = 10;
const HIGH_FROM: u16 = 80;

/// Where the paper lies on the screen.
#[must_use]
pub fn paper(sheet: &Sheet) -> Rect {
    let (width, height) = sheet.size;
    let top = u16::from(height >= 4) + trail_rows(sheet);
    let foot = foot_rows(sheet);
    Rect { x: 0, y: top.min(height), width, height: height.saturating_sub(top + foot) }
}

fn trail_rows(sheet: &Sheet) -> u16 {
    match sheet.size.1 {
        HIGH_FROM.. => HIGH_TRAIL,
        TRAIL_FROM.. => TRAIL,
        _ => 0,
    }
}

/// Rows under the paper: what is known of the place, and the key line; or a panel in which something is asked.
fn foot_rows(sheet: &Sheet) -> u16 {
    let height = sheet.size.1;
    let usual = match height {
        20.. => 4,
        10.. => 3,
        4.. => 1,
        _ => 0,
    };
    let wanted = match &sheet.mode {
        Mode::Choose(..) => 11,
        Mode::Write(About::Notes, _) => 10,
        Mode::Write(..) | Mode::Ask(_) => 5,
        _ => usual,
    };
    wanted.min(height.saturating_sub(height / 3)).max(usual)
}

/// Which of the moves to choose from stands in a row of the screen.
pub(super) fn choice_at(sheet: &Sheet, row: u16) -> Option<usize> {
    let Mode::Choose(_, entry, place) = &sheet.mode else { return None };
    let paper = paper(sheet);
    let foot = Rect { y: paper.bottom(), height: sheet.size.1.saturating_sub(paper.bottom()), ..paper };
    let (list, first) = panel::choices(foot, *place);
    let row = row.checked_sub(list.y).filter(|row| *row < list.height)?;
    Some(first + usize::from(row)).filter(|choice| *choice < sheet.found(entry.text()).len())
}

/// Draws the sheet into an area, which is to have the size that the sheet was told.
pub fn draw(sheet: &Sheet, area: Rect, buffer: &mut Buffer) {
    let area = area.intersection(buffer.area);
    buffer.set_style(area, sheet.palette.ground());
    if area.is_empty() {
        return;
    }
    if let Mode::Help(page) = sheet.mode {
        help::draw(&chapters(), "all keys", page, sheet.palette, area, buffer);
        return;
    }
    if let Some(repairs) = &sheet.repairs {
        repair::view(repairs, &sheet.dance, sheet.palette, area, buffer);
        if let Mode::Ask(ask) = &sheet.mode {
            let height = 6.min(area.height);
            let foot = rows(area, area.height - height, height);
            for row in 0..height {
                line(
                    buffer,
                    rows(foot, row, 1),
                    &" ".repeat(usize::from(foot.width)),
                    sheet.palette.ground(),
                );
            }
            panel::ask(sheet, ask, foot, buffer);
        }
        return;
    }
    let paper = paper(sheet).intersection(area);
    if paper.y > 0 {
        head(sheet, rows(area, 0, 1), buffer);
    }
    let trail = trail_rows(sheet);
    if trail > 0 {
        let at = if sheet.heard.playing { sheet.heard.at } else { sheet.dance.grid.seconds_at(sheet.cursor) };
        let step = sheet.playhead().index() % 2 == 1;
        path(&sheet.trail, &sheet.dance, (at, step), sheet.palette, rows(area, 1, trail), buffer);
    }
    if sheet.dance.grid.is_empty() {
        let words = "no beats were heard in this recording, so there are no counts to write on";
        line(buffer, rows(paper, 0, 1), words, sheet.palette.style(Ink::Mark));
    }
    written::paper(sheet, paper, buffer);
    let foot = rows(area, paper.bottom().saturating_sub(area.y), area.height);
    match &sheet.mode {
        Mode::Choose(purpose, entry, place) => panel::choose(sheet, purpose, entry, *place, foot, buffer),
        Mode::Write(about, entry) => panel::write(sheet, about, entry, foot, buffer),
        Mode::Ask(ask) => panel::ask(sheet, ask, foot, buffer),
        Mode::Sheet | Mode::Help(_) => foot::foot(sheet, foot, buffer),
    }
}

/// The title, and where she is.
fn head(sheet: &Sheet, area: Rect, buffer: &mut Buffer) {
    let grid = &sheet.dance.grid;
    let mark = if sheet.unsaved() { " *" } else { "" };
    let title = format!(" {}{mark}", sheet.dance.title);
    // While the music plays its place is told; the cursor's is seen on the paper.
    let playing = sheet.heard.playing;
    let (what, at, time) = if playing {
        ("playing ", Beat(sheet.playhead().0.max(0.0).floor()), sheet.heard.at)
    } else {
        ("", sheet.cursor, grid.seconds_at(sheet.cursor))
    };
    let place = format!("{what}{}   {}   {} ", grid.count_at(at), grid.bar_at(at), time.clock());
    let wide = u16::try_from(place.width()).unwrap_or(u16::MAX);
    if wide + 12 <= area.width && !grid.is_empty() {
        let left = Rect { width: area.width - wide - 2, ..area };
        line(buffer, left, &cut(&title, left.width), sheet.palette.style(Ink::Now));
        let right = Rect { x: area.right() - wide, width: wide, ..area };
        line(buffer, right, &place, sheet.palette.style(Ink::Quiet));
    } else {
        line(buffer, area, &cut(&title, area.width), sheet.palette.style(Ink::Now));
    }
}

/// A text on lines of at most so many columns, its own line breaks kept.
fn wrap(text: &str, width: u16) -> Vec<String> {
    let paragraph = |text: &str| match wrapped(text, usize::from(width)) {
        lines if lines.is_empty() => vec![String::new()],
        lines => lines,
    };
    text.split('\n').flat_map(paragraph).collect()
}
