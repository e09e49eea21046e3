//! The mouse: everything it does can be done with keys, too.

use super::keys::Action;
use super::modes::{Dragged, Effect, Mode};
use super::state::Sheet;
use super::{beats, typing, view};
use crate::dance::edit::{Command, Over};
use crate::screen::repair::{self, Message};
use crate::units::{Beat, Counts};
use crossterm::event::{KeyCode, KeyEvent, KeyModifiers, MouseButton, MouseEvent, MouseEventKind};
use std::time::Duration;

/// Rows that one turn of the wheel scrolls.
const WHEEL: usize = 3;
/// Two clicks on one place are a double click when the second comes no later than this. Common practice, no source.
const DOUBLE: Duration = Duration::from_millis(500);

pub(super) fn pointed(sheet: &mut Sheet, mouse: MouseEvent) -> Vec<Effect> {
    match &sheet.mode {
        Mode::Sheet if sheet.repairs.is_some() => repairing(sheet, mouse),
        Mode::Sheet => on_the_paper(sheet, mouse),
        Mode::Choose(..) => choosing(sheet, mouse),
        // Elsewhere the wheel is the arrow keys, and what is under a panel is not to be clicked.
        Mode::Help(_) => match mouse.kind {
            MouseEventKind::ScrollDown => key(sheet, KeyCode::Down),
            MouseEventKind::ScrollUp => key(sheet, KeyCode::Up),
            MouseEventKind::Down(_) => key(sheet, KeyCode::Esc),
            _ => Vec::new(),
        },
        Mode::Write(..) | Mode::Ask(_) => Vec::new(),
    }
}

fn key(sheet: &mut Sheet, code: KeyCode) -> Vec<Effect> {
    super::update::pressed_in(sheet, &KeyEvent::new(code, KeyModifiers::NONE))
}

fn on_the_paper(sheet: &mut Sheet, mouse: MouseEvent) -> Vec<Effect> {
    let rows = sheet.paper_rows();
    match mouse.kind {
        MouseEventKind::ScrollDown => {
            sheet.stay_here();
            sheet.scroll = (sheet.scroll + WHEEL).min(sheet.layout.rows.saturating_sub(rows));
        }
        MouseEventKind::ScrollUp => {
            sheet.stay_here();
            sheet.scroll = sheet.scroll.saturating_sub(WHEEL);
        }
        MouseEventKind::Down(MouseButton::Left) => {
            sheet.stay_here();
            if let Some(at) = under(sheet, mouse) {
                let last = sheet.clicked.replace((at, sheet.now));
                sheet.anchor = None;
                sheet.cursor = at;
                sheet.dragged = taken(sheet, at, mouse);
                let twice =
                    |(place, then): (Beat, Duration)| place == at && sheet.now.saturating_sub(then) <= DOUBLE;
                if last.is_some_and(twice) {
                    (sheet.clicked, sheet.dragged) = (None, None);
                    typing::begin(sheet, Action::Pin);
                    sheet.show_cursor();
                }
            }
        }
        MouseEventKind::Drag(MouseButton::Left) => {
            sheet.stay_here();
            return under(sheet, mouse).map_or_else(Vec::new, |at| drag(sheet, at));
        }
        MouseEventKind::Up(MouseButton::Left) => {
            sheet.dragged = None;
            // What comes next is no part of the drag.
            sheet.history.pause();
        }
        _ => {}
    }
    Vec::new()
}

/// The cue that a press of the button takes hold of: by its end on its last count, or in the right half of a cue of one
/// count; to carry it elsewhere.
fn taken(sheet: &Sheet, at: Beat, mouse: MouseEvent) -> Option<Dragged> {
    let index = sheet.cue_here()?;
    let cue = sheet.cue(index)?;
    let last = at.0 + 1.0 > cue.end().0 - 1e-6;
    let cell = sheet.layout.cell.max(1);
    let across = mouse.column.saturating_sub(view::paper(sheet).x + sheet.layout.margin) % cell;
    let right = 2 * across >= cell;
    let by_its_end = last && (cue.counts.0 > 1.0 + 1e-6 || right);
    let held = (!by_its_end).then(|| at.since(cue.at));
    Some(Dragged { cue: index, held, begun: sheet.now })
}

/// The mouse has come to a count with what it holds.
fn drag(sheet: &mut Sheet, at: Beat) -> Vec<Effect> {
    let Some(dragged) = sheet.dragged else { return Vec::new() };
    let Some(cue) = sheet.cue(dragged.cue) else { return Vec::new() };
    let over = Over::Erase;
    let (there, command) = match dragged.held {
        None => {
            let counts = Counts(at.0 + 1.0 - cue.at.0);
            if counts.0 <= 0.0 {
                return Vec::new();
            }
            (counts == cue.counts, Command::StretchCue { cue: dragged.cue, counts, over })
        }
        Some(held) => {
            let to = Beat((at.0 - held.0).max(0.0));
            (to == cue.at, Command::MoveCue { cue: dragged.cue, to, over })
        }
    };
    if there {
        return Vec::new();
    }
    sheet.clicked = None;
    // All of one drag is one gesture, however long it takes: what it passes over and leaves again stays whole.
    let now = std::mem::replace(&mut sheet.now, dragged.begun);
    let effects = sheet.perform(&command);
    sheet.now = now;
    if !effects.is_empty() {
        let cue = sheet.touched.unwrap_or(dragged.cue);
        sheet.dragged = Some(Dragged { cue, ..dragged });
        if dragged.held.is_some() {
            sheet.cursor = sheet.inside(at);
        }
    }
    effects
}

/// The count under the mouse.
fn under(sheet: &Sheet, mouse: MouseEvent) -> Option<Beat> {
    let paper = view::paper(sheet);
    if mouse.row < paper.y || mouse.row >= paper.bottom() {
        return None;
    }
    let row = sheet.scroll + usize::from(mouse.row - paper.y);
    let line = sheet.layout.line_on_row(row)?;
    sheet.layout.beat_under(line, mouse.column.checked_sub(paper.x)?).map(Beat::from)
}

/// A click points at a move; on the one that is pointed at, it takes it.
fn choosing(sheet: &mut Sheet, mouse: MouseEvent) -> Vec<Effect> {
    match mouse.kind {
        MouseEventKind::ScrollDown => key(sheet, KeyCode::Down),
        MouseEventKind::ScrollUp => key(sheet, KeyCode::Up),
        MouseEventKind::Down(MouseButton::Left) => {
            let Some(row) = view::choice_at(sheet, mouse.row) else { return Vec::new() };
            let Mode::Choose(_, _, place) = &mut sheet.mode else { return Vec::new() };
            if *place == row {
                return key(sheet, KeyCode::Enter);
            }
            *place = row;
            Vec::new()
        }
        _ => Vec::new(),
    }
}

fn repairing(sheet: &mut Sheet, mouse: MouseEvent) -> Vec<Effect> {
    let (width, height) = sheet.size;
    let message = match mouse.kind {
        MouseEventKind::ScrollDown => Message::Do(repair::Action::Down),
        MouseEventKind::ScrollUp => Message::Do(repair::Action::Up),
        MouseEventKind::Down(MouseButton::Left) => {
            let Some(repairs) = &sheet.repairs else { return Vec::new() };
            let place = (mouse.column, mouse.row);
            match repair::beat_under(repairs, &sheet.dance, (width, height), place) {
                Some(beat) => Message::Point(beat),
                None => return Vec::new(),
            }
        }
        _ => return Vec::new(),
    };
    beats::tell(sheet, message)
}
