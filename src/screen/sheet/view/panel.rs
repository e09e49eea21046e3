//! What lies over the paper for a moment: choosing a move, writing, a question, and all keys.

use super::foot::write_keys;
use super::{cut, line, pieces, rows, wrap};
use crate::screen::colours::Ink;
use crate::screen::sheet::entry::Entry;
use crate::screen::sheet::keys::{CHOOSING, WRITING, WRITING_NOTES};
use crate::screen::sheet::modes::{About, Ask, Purpose};
use crate::screen::sheet::state::Sheet;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Modifier;
use unicode_width::UnicodeWidthStr;

/// The line that parts the panel from the paper.
fn edge(sheet: &Sheet, area: Rect, title: &str, buffer: &mut Buffer) {
    let quiet = sheet.palette.style(Ink::Quiet);
    line(buffer, area, &"─".repeat(usize::from(area.width)), quiet);
    let place = Rect { x: area.x + 2.min(area.width), width: area.width.saturating_sub(2), ..area };
    line(buffer, place, &cut(&format!(" {title} "), place.width), sheet.palette.style(Ink::Now));
}

/// What is typed, with the place in it.
fn typed(sheet: &Sheet, entry: &Entry, area: Rect, buffer: &mut Buffer) {
    let (before, behind) = entry.parts();
    let style = sheet.palette.style(Ink::Now);
    // The end of what is typed is always seen.
    let room = usize::from(area.width.saturating_sub(2));
    let skip = before.chars().count().saturating_sub(room);
    let before: String = before.chars().skip(skip).collect();
    let mut letters = behind.chars();
    let at = letters.next().map_or_else(|| " ".to_owned(), String::from);
    let rest: String = letters.collect();
    let place = style.add_modifier(Modifier::REVERSED);
    pieces(buffer, area, &[(&before, style), (&at, place), (&rest, style)]);
}

/// Where the moves to choose from stand in the panel, and the first of them that is seen.
pub(super) fn choices(area: Rect, place: usize) -> (Rect, usize) {
    let keys = u16::from(area.height >= 5);
    let list = rows(area, 2, area.height.saturating_sub(2 + keys));
    (list, (place + 1).saturating_sub(usize::from(list.height)))
}

pub(super) fn choose(
    sheet: &Sheet,
    purpose: &Purpose,
    entry: &Entry,
    place: usize,
    area: Rect,
    buffer: &mut Buffer,
) {
    let title = match purpose {
        Purpose::Pin => format!("a move for {}", sheet.dance.grid.count_at(sheet.cursor)),
        Purpose::Change(index) => {
            let words = sheet.cue(*index).map_or("", |cue| sheet.dance.words_of(cue));
            format!("another move for '{words}'")
        }
        Purpose::Replace(id) => format!("another move for every '{}'", sheet.named(id)),
    };
    edge(sheet, rows(area, 0, 1), &title, buffer);
    let quiet = sheet.palette.style(Ink::Quiet);
    let entry_row = rows(area, 1, 1);
    pieces(buffer, entry_row, &[(" letters: ", quiet)]);
    let from = 10.min(entry_row.width);
    typed(sheet, entry, Rect { x: entry_row.x + from, width: entry_row.width - from, ..entry_row }, buffer);
    let (list, first) = choices(area, place);
    let found = sheet.found(entry.text());
    if found.is_empty() {
        line(buffer, rows(list, 0, 1), " no move fits these letters; esc, then w writes free words", quiet);
    }
    for (row, (index, entry)) in (0..list.height).zip(found.iter().enumerate().skip(first)) {
        let name = format!(" {:<2} {:<18}", entry.sign, entry.words);
        let about = format!(
            " energy {}  {:>2} counts  seated: {}   low impact: {}",
            entry.energy.level(),
            entry.counts.0,
            entry.seated.words,
            entry.low_impact.words
        );
        let chosen = index == place;
        let ink = sheet.palette.style(Ink::Next);
        let ink = if chosen { ink.add_modifier(Modifier::REVERSED) } else { ink };
        let sign = if chosen { ">" } else { " " };
        let why = sheet.unsuited_here(&entry.id).map_or_else(String::new, |why| format!(" ! {why} "));
        let used = u16::try_from(name.width() + why.width()).unwrap_or(0) + 1;
        let about = cut(&about, list.width.saturating_sub(used));
        let mark = sheet.palette.style(Ink::Mark);
        pieces(buffer, rows(list, row, 1), &[(sign, ink), (&name, ink), (&why, mark), (&about, quiet)]);
    }
    if list.bottom() < area.bottom() {
        write_keys(sheet, CHOOSING, &[], rows(area, area.height - 1, 1), buffer);
    }
}

pub(super) fn write(sheet: &Sheet, about: &About, entry: &Entry, area: Rect, buffer: &mut Buffer) {
    let (title, hint) = match about {
        About::Words(Some(_)) => ("words of this cue", "left empty, the move's own words come back"),
        About::Words(None) => ("free words for this count", "one to four words can be read in time"),
        About::Lead(_) => ("how many counts early is it called?", "left empty, the words' length decides"),
        About::Why(_) => ("why is this cue here?", "a note of yours; the class does not see it"),
        About::Question(_) => {
            ("a question to the class", "next comes its answer; left empty, the question goes away")
        }
        About::Answer(..) => ("its answer", "hidden until you uncover it"),
        About::Notes => ("notes to yourself on this dance", ""),
        About::Title => ("the dance's title", ""),
        About::AsIn => (
            "as in which phrase?",
            "its letter or number, as in the margin; 'A mirrored' turns left and right",
        ),
        About::Ignore(..) => ("why may this stay?", "your reason is kept with the dance"),
    };
    edge(sheet, rows(area, 0, 1), title, buffer);
    let notes = *about == About::Notes;
    let keys = u16::from(area.height >= 3);
    let room = rows(area, 1, area.height.saturating_sub(1 + keys));
    if notes {
        write_notes(sheet, entry, room, buffer);
    } else {
        let row = rows(room, 0, 1);
        let inner = Rect { x: row.x + 1.min(row.width), width: row.width.saturating_sub(1), ..row };
        typed(sheet, entry, inner, buffer);
        if room.height > 1 {
            line(buffer, rows(room, 1, 1), &format!(" {hint}"), sheet.palette.style(Ink::Quiet));
        }
    }
    if keys == 1 {
        let table = if notes { WRITING_NOTES } else { WRITING };
        write_keys(sheet, table, &[], rows(area, area.height - 1, 1), buffer);
    }
}

/// Several lines: the ones around the place.
fn write_notes(sheet: &Sheet, entry: &Entry, area: Rect, buffer: &mut Buffer) {
    let (before, _) = entry.parts();
    let here = before.matches('\n').count();
    let first = (here + 1).saturating_sub(usize::from(area.height));
    for (row, (index, text)) in (0..area.height).zip(entry.text().split('\n').enumerate().skip(first)) {
        let place = rows(area, row, 1);
        let place = Rect { x: place.x + 1.min(place.width), width: place.width.saturating_sub(1), ..place };
        if index == here {
            let column = before.rsplit('\n').next().unwrap_or_default().chars().count();
            typed(sheet, &Entry::at(text, column), place, buffer);
        } else {
            line(buffer, place, text, sheet.palette.style(Ink::Quiet));
        }
    }
}

pub(super) fn ask(sheet: &Sheet, ask: &Ask, area: Rect, buffer: &mut Buffer) {
    let (sentence, keys): (&str, &[(&str, &str)]) = match ask {
        Ask::Recover(sentence) => {
            (sentence, &[("y", "take them in"), ("n", "leave them out"), ("q", "leave")])
        }
        Ask::Disk(sentence, true) => (
            sentence,
            &[("k", "keep both"), ("t", "take theirs"), ("s", "save mine over it"), ("l", "later")],
        ),
        Ask::Disk(sentence, false) => {
            (sentence, &[("s", "save it again"), ("k", "save under another name"), ("l", "later")])
        }
        Ask::Lost(sentence) => (sentence, &[("y", "leave all the same"), ("n", "stay")]),
    };
    edge(sheet, rows(area, 0, 1), "a question first", buffer);
    let room = rows(area, 1, area.height.saturating_sub(2));
    for (row, text) in (0..room.height).zip(wrap(sentence, room.width.saturating_sub(2))) {
        line(buffer, rows(room, row, 1), &format!(" {text}"), sheet.palette.style(Ink::Mark));
    }
    write_keys(sheet, keys, &[], rows(area, area.height.saturating_sub(1), 1), buffer);
}
