//! All keys, gathered by what she wants to do, on as many pages as the window needs.

use super::colours::{Ink, Palette};
use super::fitting::{line, pieces, rows};
use crossterm::event::KeyCode;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

/// Columns that the keys and their words need side by side.
const COLUMN: u16 = 66;
/// Columns of the keys.
const NAME: usize = 12;
/// From how many rows on groups are parted by an empty one.
const AIRY: u16 = 30;

/// Keys for one purpose.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Chapter {
    /// What she wants to do.
    pub(super) name: &'static str,
    /// The keys and what they do.
    pub(super) keys: Vec<(&'static str, &'static str)>,
}

/// A row of the help.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Row {
    Title(&'static str),
    Key((&'static str, &'static str)),
    Empty,
}

/// How many pages the help has in a window of some columns and rows.
pub(super) fn pages(chapters: &[Chapter], (width, height): (u16, u16)) -> usize {
    columns(chapters, height).len().div_ceil(across(width)).max(1)
}

/// The page that a key goes to, counted from 0; `None`: the key closes the help.
pub(super) fn turned(page: usize, pages: usize, key: KeyCode) -> Option<usize> {
    match key {
        KeyCode::Down | KeyCode::Right | KeyCode::PageDown | KeyCode::Char(' ') if pages > 1 => {
            Some((page + 1).min(pages - 1))
        }
        KeyCode::Up | KeyCode::Left | KeyCode::PageUp if pages > 1 => {
            Some(page.min(pages - 1).saturating_sub(1))
        }
        _ => None,
    }
}

/// Columns of keys that stand side by side.
fn across(width: u16) -> usize {
    usize::from(width / COLUMN).max(1)
}

/// All columns of all pages. A chapter stays whole where a column can hold it.
fn columns(chapters: &[Chapter], height: u16) -> Vec<Vec<Row>> {
    let room = usize::from(height.saturating_sub(1)).max(2);
    let mut columns: Vec<Vec<Row>> = vec![Vec::new()];
    for chapter in chapters {
        let rows: Vec<Row> = chapter.keys.iter().copied().map(Row::Key).collect();
        let Some(column) = columns.last_mut() else { continue };
        let gap = usize::from(height >= AIRY && !column.is_empty());
        if column.len() + gap + 1 + rows.len() <= room {
            column.extend((0..gap).map(|_| Row::Empty));
            column.push(Row::Title(chapter.name));
            column.extend(rows);
            continue;
        }
        if column.is_empty() {
            columns.pop();
        }
        // One that no column holds goes on in the next, under its name again.
        for part in rows.chunks(room - 1) {
            columns.push(std::iter::once(Row::Title(chapter.name)).chain(part.iter().copied()).collect());
        }
    }
    columns
}

/// Draws one page; `about` is what the keys are the keys of.
pub(super) fn draw(
    chapters: &[Chapter],
    about: &str,
    page: usize,
    palette: Palette,
    area: Rect,
    buffer: &mut Buffer,
) {
    let across = across(area.width);
    let columns = columns(chapters, area.height);
    let last = columns.len().div_ceil(across).max(1) - 1;
    let page = page.min(last);
    let (now, next) = (palette.style(Ink::Now), palette.style(Ink::Next));
    let quiet = palette.style(Ink::Quiet);
    let title = match (page, last) {
        (_, 0) => format!(" {about}   any key goes back"),
        (0, _) => format!(" {about}, page 1 of {}   page down: more   esc: back", last + 1),
        (page, last) if page == last => {
            format!(" {about}, page {0} of {0}   page up: before   esc: back", last + 1)
        }
        _ => format!(" {about}, page {} of {}   page down, page up: more   esc: back", page + 1, last + 1),
    };
    line(buffer, rows(area, 0, 1), &title, quiet);
    let width = area.width / across as u16;
    for (column, lines) in columns.iter().skip(page * across).take(across).enumerate() {
        let x = width * column as u16;
        for (row, text) in (1..area.height).zip(lines) {
            let place = rows(area, row, 1);
            let place = Rect { x: area.x + x, width: width.min(area.width - x), ..place };
            match text {
                Row::Empty => {}
                Row::Title(name) => line(buffer, place, &format!(" {name}"), now),
                Row::Key((name, help)) => {
                    let name = format!("   {name:<NAME$}");
                    pieces(buffer, place, &[(&name, next), (help, quiet)]);
                }
            }
        }
    }
}
