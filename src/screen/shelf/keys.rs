//! The keys of the shelf: one table that the program obeys and the help and the docs show.

use crate::screen::keys::{Binding, line};
use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};

/// What she can ask for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs, reason = "each is explained by its line in the table")]
pub enum Action {
    Up,
    Down,
    PageUp,
    PageDown,
    First,
    Last,
    Choose,
    Words,
    Help,
    Leave,
}

/// Every key, in the order of the help. Any other letter begins the words that are looked for.
pub const KEYS: &[Binding<Action>] = &[
    line(
        &[KeyCode::Up],
        "up down",
        Action::Up,
        "go to another dance; also page up and down, home and end",
        "",
    ),
    line(&[KeyCode::Down], "", Action::Down, "", ""),
    line(&[KeyCode::PageUp], "", Action::PageUp, "", ""),
    line(&[KeyCode::PageDown], "", Action::PageDown, "", ""),
    line(&[KeyCode::Home], "", Action::First, "", ""),
    line(&[KeyCode::End], "", Action::Last, "", ""),
    line(&[KeyCode::Enter], "enter", Action::Choose, "do something with this dance", ""),
    line(
        &[KeyCode::Char('/')],
        "letters",
        Action::Words,
        "show only dances with these words; / first for words that begin with q",
        "",
    ),
    line(&[KeyCode::Char('?')], "?", Action::Help, "these keys", ""),
    line(
        &[KeyCode::Char('q'), KeyCode::Esc],
        "q",
        Action::Leave,
        "leave; esc, too, once it has taken the words away",
        "",
    ),
];

/// What a key asks for, while no words are being typed.
pub(super) fn action(key: KeyEvent) -> Option<Action> {
    if key.modifiers.contains(KeyModifiers::CONTROL) {
        return (key.code == KeyCode::Char('c')).then_some(Action::Leave);
    }
    KEYS.iter().find(|binding| binding.keys.contains(&key.code)).map(|binding| binding.action)
}
