//! All keys, gathered by what she wants to do, on as many pages as the window needs.

use super::{line, pieces, rows};
use crate::screen::colours::Ink;
use crate::screen::sheet::keys::{Binding, Group};
use crate::screen::sheet::state::Sheet;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

/// Columns that the keys and their words need side by side.
const COLUMN: u16 = 66;
/// Columns of the keys.
const NAME: usize = 12;
/// From how many rows on groups are parted by an empty one.
const AIRY: u16 = 30;

/// A row of the help.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Row {
    Title(Group),
    Key(&'static Binding),
    Empty,
}

/// How many pages the help has in a window.
pub(in crate::screen::sheet) fn help_pages((width, height): (u16, u16)) -> usize {
    let columns = columns(height).len();
    columns.div_ceil(across(width)).max(1)
}

/// Columns of keys that stand side by side.
fn across(width: u16) -> usize {
    usize::from(width / COLUMN).max(1)
}

/// All columns of all pages. A group stays whole where a column can hold it.
fn columns(height: u16) -> Vec<Vec<Row>> {
    let room = usize::from(height.saturating_sub(1)).max(2);
    let mut columns: Vec<Vec<Row>> = vec![Vec::new()];
    for group in Group::ALL {
        let rows: Vec<Row> = group.keys().map(Row::Key).collect();
        let Some(column) = columns.last_mut() else { continue };
        let gap = usize::from(height >= AIRY && !column.is_empty());
        if column.len() + gap + 1 + rows.len() <= room {
            column.extend((0..gap).map(|_| Row::Empty));
            column.push(Row::Title(group));
            column.extend(rows);
            continue;
        }
        if column.is_empty() {
            columns.pop();
        }
        // One that no column holds goes on in the next, under its name again.
        for part in rows.chunks(room - 1) {
            columns.push(std::iter::once(Row::Title(group)).chain(part.iter().copied()).collect());
        }
    }
    columns
}

/// Draws one page.
pub(super) fn help(sheet: &Sheet, page: usize, area: Rect, buffer: &mut Buffer) {
    let across = across(area.width);
    let columns = columns(area.height);
    let last = columns.len().div_ceil(across).max(1) - 1;
    let page = page.min(last);
    let (now, next) = (sheet.palette.style(Ink::Now), sheet.palette.style(Ink::Next));
    let quiet = sheet.palette.style(Ink::Quiet);
    let title = match (page, last) {
        (_, 0) => " all keys   any key goes back".to_owned(),
        (0, _) => format!(" all keys, page 1 of {}   page down: more   esc: back", last + 1),
        (page, last) if page == last => {
            format!(" all keys, page {0} of {0}   page up: before   esc: back", last + 1)
        }
        _ => format!(" all keys, page {} of {}   page down, page up: more   esc: back", page + 1, last + 1),
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
                Row::Title(group) => line(buffer, place, &format!(" {}", group.name()), now),
                Row::Key(binding) => {
                    let name = format!("   {:<NAME$}", binding.name);
                    pieces(buffer, place, &[(&name, next), (binding.help, quiet)]);
                }
            }
        }
    }
}
