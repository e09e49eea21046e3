//! The keys of the floor: one table that the program obeys and the help shows.

use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};

/// What the teacher can ask for while leading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Action {
    /// Pause, or go on; on the first screen, begin.
    Pause,
    /// To the beginning of this phrase, or of the one before.
    Back,
    /// To the next phrase.
    On,
    /// Repeat this phrase, or let it go.
    Repeat,
    /// Uncover the answer.
    Answer,
    /// Everyone, low impact, or seated.
    Gentle,
    /// Click on the beats.
    Click,
    /// Hide the next call.
    Hide,
    /// Dark or light.
    Light,
    /// Lock the keys.
    Lock,
    /// This help.
    Help,
    /// Leave.
    Leave,
}

/// One line of the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Binding {
    /// The keys, as pressed.
    pub keys: &'static [KeyCode],
    /// The keys, as the help writes them.
    pub name: &'static str,
    /// What they do.
    pub action: Action,
    /// What they do, in words.
    pub help: &'static str,
}

/// Every key of the floor, in the order of the help.
pub const KEYS: &[Binding] = &[
    Binding {
        keys: &[KeyCode::Char(' '), KeyCode::Enter],
        name: "space",
        action: Action::Pause,
        help: "pause, or go on",
    },
    Binding {
        keys: &[KeyCode::Left],
        name: "left",
        action: Action::Back,
        help: "back to the start of the phrase",
    },
    Binding { keys: &[KeyCode::Right], name: "right", action: Action::On, help: "on to the next phrase" },
    Binding {
        keys: &[KeyCode::Char('r')],
        name: "r",
        action: Action::Repeat,
        help: "repeat this phrase, or stop repeating",
    },
    Binding {
        keys: &[KeyCode::Char('a')],
        name: "a",
        action: Action::Answer,
        help: "uncover the answer to a question",
    },
    Binding {
        keys: &[KeyCode::Char('g')],
        name: "g",
        action: Action::Gentle,
        help: "gentle versions for all: low impact, seated, off",
    },
    Binding {
        keys: &[KeyCode::Char('c')],
        name: "c",
        action: Action::Click,
        help: "clicks on the beat, or none",
    },
    Binding {
        keys: &[KeyCode::Char('n')],
        name: "n",
        action: Action::Hide,
        help: "hide the next move, to test yourselves",
    },
    Binding { keys: &[KeyCode::Char('l')], name: "l", action: Action::Light, help: "light or dark screen" },
    Binding {
        keys: &[KeyCode::Char('k')],
        name: "k",
        action: Action::Lock,
        help: "lock the keys, except space and k",
    },
    Binding {
        keys: &[KeyCode::Char('?'), KeyCode::Char('h'), KeyCode::F(1)],
        name: "? or h",
        action: Action::Help,
        help: "this help",
    },
    Binding {
        keys: &[KeyCode::Char('q'), KeyCode::Esc],
        name: "q",
        action: Action::Leave,
        help: "leave; while playing, press twice",
    },
];

/// What a key asks for. Capital letters count as small ones, so that a forgotten caps lock ruins nothing; Ctrl-C leaves.
#[must_use]
pub(super) fn action(key: &KeyEvent) -> Option<Action> {
    if key.modifiers.contains(KeyModifiers::CONTROL) {
        return (key.code == KeyCode::Char('c')).then_some(Action::Leave);
    }
    if key.modifiers.contains(KeyModifiers::ALT) {
        return None;
    }
    let code = match key.code {
        KeyCode::Char(letter) => KeyCode::Char(letter.to_ascii_lowercase()),
        code => code,
    };
    KEYS.iter().find(|binding| binding.keys.contains(&code)).map(|binding| binding.action)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashSet;

    #[test]
    fn no_key_does_two_things_and_every_action_has_one_line() {
        let keys: Vec<KeyCode> = KEYS.iter().flat_map(|binding| binding.keys).copied().collect();
        assert_eq!(keys.iter().collect::<HashSet<_>>().len(), keys.len());
        for binding in KEYS {
            assert_eq!(KEYS.iter().filter(|other| other.action == binding.action).count(), 1);
            assert!(!binding.help.is_empty() && binding.help.len() <= 50, "'{}' fits a line", binding.help);
        }
    }

    #[test]
    fn caps_lock_changes_nothing() {
        let press = |code| action(&KeyEvent::new(code, KeyModifiers::NONE));
        assert_eq!(press(KeyCode::Char('Q')), Some(Action::Leave));
        assert_eq!(press(KeyCode::Char('z')), None);
        assert_eq!(action(&KeyEvent::new(KeyCode::Char('c'), KeyModifiers::CONTROL)), Some(Action::Leave));
        assert_eq!(action(&KeyEvent::new(KeyCode::Char('q'), KeyModifiers::CONTROL)), None);
    }
}
