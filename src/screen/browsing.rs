//! The loop of the shelf: it waits for keys and for dances that became known, and draws.

use super::ScreenError;
use super::inputs::asked_to_end;
use super::shelf::{Choice, Effect, Looker, Message, Shelf, draw, update};
use super::terminal::{Screen, fault};
use crossterm::event::{self, Event};
use std::path::PathBuf;
use std::time::Duration;

/// How long a key is waited for before the dances that became known meanwhile are shown.
const WAIT: Duration = Duration::from_millis(100);

/// Shows the shelf until something is to be done with a dance, which is told, or until she leaves. The terminal is given
/// back before this returns, so that whatever is done has it for itself; the shelf can then be shown again.
///
/// Keys are read here and on no thread: one that went on reading would take keys from what is done next.
///
/// # Errors
/// [`ScreenError`]: not a terminal, a terminal that refuses, or a fault of ours.
pub fn run_shelf(shelf: &mut Shelf, looker: &Looker) -> Result<Option<(Choice, PathBuf)>, ScreenError> {
    let asked_to_end = asked_to_end()?;
    let mut screen = Screen::take()?;
    let ended = stay(shelf, looker, &mut screen, &asked_to_end);
    drop(screen);
    if fault() { Err(ScreenError::Fault) } else { ended }
}

fn stay(
    shelf: &mut Shelf,
    looker: &Looker,
    screen: &mut Screen,
    asked_to_end: &impl Fn() -> bool,
) -> Result<Option<(Choice, PathBuf)>, ScreenError> {
    let mut changed = true;
    loop {
        while let Some((path, state)) = looker.answer(Duration::ZERO) {
            update(shelf, Message::Looked(path, state));
            changed = true;
        }
        if std::mem::take(&mut changed) {
            screen.draw(|frame| {
                let area = frame.area();
                draw(shelf, area, frame.buffer_mut());
            })?;
        }
        if asked_to_end() || fault() {
            return Ok(None);
        }
        // All that has piled up is taken before one picture is drawn.
        let mut wait = WAIT;
        while event::poll(wait).map_err(ScreenError::Terminal)? {
            wait = Duration::ZERO;
            match event::read().map_err(ScreenError::Terminal)? {
                Event::Key(key) => {
                    changed = true;
                    match update(shelf, Message::Key(key)) {
                        Some(Effect::Do(choice, path)) => return Ok(Some((choice, path))),
                        Some(Effect::Leave) => return Ok(None),
                        None => {}
                    }
                }
                Event::Resize(..) => {
                    changed = true;
                    screen.forget()?;
                }
                _ => {}
            }
        }
    }
}
