//! The keys of repairing: one table that the program obeys and the help and the docs show.

use crate::screen::keys::{Binding, line};
use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};

/// What she can ask for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs, reason = "each is explained by its line in the table")]
pub enum Action {
    Play,
    Tap,
    Left,
    Right,
    Up,
    Down,
    Home,
    End,
    Halve,
    Double,
    ShiftHalf,
    CountOne,
    BarStart,
    /// Bars of so many beats.
    BarsOf(u8),
    PhraseLength,
    Earlier,
    Later,
    Insert,
    Remove,
    HoldLonger,
    HoldShorter,
    Compare,
    Along,
    List,
    AsHeard,
    Clicks,
    Undo,
    Redo,
    Help,
    Sheet,
    Leave,
}

const BARS: &[KeyCode] = &[
    KeyCode::Char('2'),
    KeyCode::Char('3'),
    KeyCode::Char('4'),
    KeyCode::Char('5'),
    KeyCode::Char('6'),
    KeyCode::Char('7'),
    KeyCode::Char('8'),
    KeyCode::Char('9'),
];

/// Every key, in the order of the help.
pub const KEYS: &[Binding<Action>] = &[
    line(&[KeyCode::Char(' ')], "space", Action::Play, "play from here, or pause", "play"),
    line(
        &[KeyCode::Char('t'), KeyCode::Enter],
        "t",
        Action::Tap,
        "tap the beat while it plays; two taps already tell",
        "tap",
    ),
    line(&[KeyCode::Left], "arrows", Action::Left, "go by beats, or by phrases; home and end", ""),
    line(&[KeyCode::Right], "right", Action::Right, "", ""),
    line(&[KeyCode::Up], "up", Action::Up, "", ""),
    line(&[KeyCode::Down], "down", Action::Down, "", ""),
    line(&[KeyCode::Home], "home", Action::Home, "", ""),
    line(&[KeyCode::End], "end", Action::End, "", ""),
    line(&[KeyCode::Char('h')], "h", Action::Halve, "half as fast from here on", "halve"),
    line(&[KeyCode::Char('d')], "d", Action::Double, "twice as fast from here on", "double"),
    line(&[KeyCode::Char('s')], "s", Action::ShiftHalf, "half a beat later from here on", "shift"),
    line(&[KeyCode::Char('1')], "1", Action::CountOne, "this beat is count one of a phrase", "count one"),
    line(BARS, "2 to 9", Action::BarsOf(2), "bars of so many beats from here on", "bars"),
    line(&[KeyCode::Char('|')], "|", Action::BarStart, "a bar begins on this beat", ""),
    line(
        &[KeyCode::Char('p')],
        "p",
        Action::PhraseLength,
        "phrases of so many counts from here on",
        "phrases",
    ),
    line(&[KeyCode::Char(',')], ", .", Action::Earlier, "this beat 10 ms earlier, or later", "nudge"),
    line(&[KeyCode::Char('.')], ".", Action::Later, "", ""),
    line(
        &[KeyCode::Char('i'), KeyCode::Insert],
        "i",
        Action::Insert,
        "put a beat in after this one",
        "put in",
    ),
    line(&[KeyCode::Char('x'), KeyCode::Delete], "x", Action::Remove, "take this beat out", "take out"),
    line(
        &[KeyCode::Char('f')],
        "f F",
        Action::HoldLonger,
        "a fermata: hold this beat over the next one, or one less",
        "fermata",
    ),
    line(&[KeyCode::Char('F')], "F", Action::HoldShorter, "", ""),
    line(
        &[KeyCode::Char('b')],
        "b",
        Action::Compare,
        "show the beats as they were before, or as they are now",
        "before",
    ),
    line(
        &[KeyCode::Char('c')],
        "c",
        Action::Along,
        "count one takes the moves along, or leaves them where they are",
        "",
    ),
    line(&[KeyCode::Char('m')], "m", Action::Clicks, "metronome: clicks on the beat, or none", "clicks"),
    line(&[KeyCode::Char('l')], "l", Action::List, "list your corrections; x takes one back", "list"),
    line(
        &[KeyCode::Char('o')],
        "o",
        Action::AsHeard,
        "return to what was heard: all corrections away",
        "as heard",
    ),
    line(&[KeyCode::Char('u')], "u r", Action::Undo, "undo, redo", "undo"),
    line(&[KeyCode::Char('r')], "r", Action::Redo, "", ""),
    line(&[KeyCode::Char('?')], "?", Action::Help, "these keys", "help"),
    line(&[KeyCode::Char('k')], "k", Action::Sheet, "to the count sheet", ""),
    line(
        &[KeyCode::Esc, KeyCode::Char('q')],
        "esc",
        Action::Leave,
        "leave the repairing: back to where you came from",
        "leave",
    ),
];

/// What a key asks for; keys with Ctrl or Alt ask for nothing, but Ctrl-C leaves.
#[must_use]
pub fn action(key: KeyEvent) -> Option<Action> {
    if key.modifiers.contains(KeyModifiers::CONTROL) {
        return (key.code == KeyCode::Char('c')).then_some(Action::Leave);
    }
    if key.modifiers.contains(KeyModifiers::ALT) {
        return None;
    }
    let binding = KEYS.iter().find(|binding| binding.keys.contains(&key.code))?;
    Some(match (binding.action, key.code) {
        (Action::BarsOf(_), KeyCode::Char(digit)) => Action::BarsOf(digit.to_digit(10)? as u8),
        (action, _) => action,
    })
}
