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
    /// Go round from here, to where it is pressed again; then let it go.
    Round,
    /// To four counts before the next turn.
    NextTurn,
    /// To four counts before the turn behind.
    LastTurn,
    /// To the phrase of this number, from 1.
    Phrase(u8),
    /// Slower by five per cent.
    Slower,
    /// Faster by five per cent.
    Faster,
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
    /// To the page on which sound and picture are brought in step.
    InStep,
    /// Lock the keys.
    Lock,
    /// This help.
    Help,
    /// Leave.
    Leave,
}

/// What she can ask for on the page on which sound and picture are brought in step.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StepAction {
    /// A tap with what is heard or seen.
    Tap,
    /// The picture so many milliseconds later.
    Move(i32),
    /// Tap with what is seen, or with what is heard again.
    Sense,
    /// No trim.
    Zero,
    /// Remember the trim for this device, and go back.
    Keep,
    /// Go back with the trim that was before.
    Leave,
}

/// One line of the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Binding<A: 'static = Action> {
    /// The keys, as pressed.
    pub keys: &'static [KeyCode],
    /// The keys, as the help writes them.
    pub name: &'static str,
    /// What they do.
    pub action: A,
    /// What they do, in words.
    pub help: &'static str,
}

/// The keys that name a phrase.
const DIGITS: &[KeyCode] = &[
    KeyCode::Char('1'),
    KeyCode::Char('2'),
    KeyCode::Char('3'),
    KeyCode::Char('4'),
    KeyCode::Char('5'),
    KeyCode::Char('6'),
    KeyCode::Char('7'),
    KeyCode::Char('8'),
    KeyCode::Char('9'),
];

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
        keys: &[KeyCode::Char('f')],
        name: "f",
        action: Action::Round,
        help: "go round from here to the next f; f lets go",
    },
    Binding {
        keys: DIGITS,
        name: "1 to 9",
        action: Action::Phrase(1),
        help: "to that phrase; while playing, twice",
    },
    Binding {
        keys: &[KeyCode::Char('.')],
        name: ".",
        action: Action::NextTurn,
        help: "on to where the music changes next",
    },
    Binding {
        keys: &[KeyCode::Char(',')],
        name: ",",
        action: Action::LastTurn,
        help: "back to where it changed last",
    },
    Binding {
        keys: &[KeyCode::Down, KeyCode::Char('-')],
        name: "down",
        action: Action::Slower,
        help: "slower, to half the speed, at the same pitch",
    },
    Binding {
        keys: &[KeyCode::Up, KeyCode::Char('+')],
        name: "up",
        action: Action::Faster,
        help: "faster again, to 110 per cent",
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
        keys: &[KeyCode::Char('t')],
        name: "t",
        action: Action::InStep,
        help: "bring sound and picture in step, when it stands",
    },
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

/// Every key of the page on which sound and picture are brought in step.
pub const STEP_KEYS: &[Binding<StepAction>] = &[
    Binding {
        keys: &[KeyCode::Char(' ')],
        name: "space",
        action: StepAction::Tap,
        help: "tap, with the clicks or with the steps",
    },
    Binding {
        keys: &[KeyCode::Right],
        name: "right",
        action: StepAction::Move(1),
        help: "the picture 1 ms later",
    },
    Binding {
        keys: &[KeyCode::Left],
        name: "left",
        action: StepAction::Move(-1),
        help: "the picture 1 ms earlier",
    },
    Binding {
        keys: &[KeyCode::Up],
        name: "up",
        action: StepAction::Move(10),
        help: "the picture 10 ms later",
    },
    Binding {
        keys: &[KeyCode::Down],
        name: "down",
        action: StepAction::Move(-10),
        help: "the picture 10 ms earlier",
    },
    Binding {
        keys: &[KeyCode::Char('s')],
        name: "s",
        action: StepAction::Sense,
        help: "silence: tap with what you see; s again: clicks",
    },
    Binding {
        keys: &[KeyCode::Char('0')],
        name: "0",
        action: StepAction::Zero,
        help: "nothing added: as the device says",
    },
    Binding {
        keys: &[KeyCode::Enter],
        name: "enter",
        action: StepAction::Keep,
        help: "remember it for this device, and go back",
    },
    Binding {
        keys: &[KeyCode::Char('q'), KeyCode::Esc],
        name: "q",
        action: StepAction::Leave,
        help: "go back without a change",
    },
];

/// What a key asks for. Capital letters count as small ones, so that a forgotten caps lock ruins nothing; Ctrl-C leaves.
#[must_use]
pub(super) fn action(key: &KeyEvent) -> Option<Action> {
    let code = plain(key, Action::Leave)?;
    let code = match code {
        Ok(code) => code,
        Err(leave) => return Some(leave),
    };
    let binding = KEYS.iter().find(|binding| binding.keys.contains(&code))?;
    match (binding.action, code) {
        (Action::Phrase(_), KeyCode::Char(digit)) => {
            digit.to_digit(10).map(|digit| Action::Phrase(digit as u8))
        }
        (action, _) => Some(action),
    }
}

/// The same on the page on which sound and picture are brought in step.
#[must_use]
pub(super) fn step_action(key: &KeyEvent) -> Option<StepAction> {
    match plain(key, StepAction::Leave)? {
        Ok(code) => {
            STEP_KEYS.iter().find(|binding| binding.keys.contains(&code)).map(|binding| binding.action)
        }
        Err(leave) => Some(leave),
    }
}

/// A key without its capitals; `leave` for Ctrl-C, nothing for other keys with Ctrl or Alt.
fn plain<A>(key: &KeyEvent, leave: A) -> Option<Result<KeyCode, A>> {
    if key.modifiers.contains(KeyModifiers::CONTROL) {
        return (key.code == KeyCode::Char('c')).then_some(Err(leave));
    }
    if key.modifiers.contains(KeyModifiers::ALT) {
        return None;
    }
    Some(Ok(match key.code {
        KeyCode::Char(letter) => KeyCode::Char(letter.to_ascii_lowercase()),
        code => code,
    }))
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
        let keys: Vec<KeyCode> = STEP_KEYS.iter().flat_map(|binding| binding.keys).copied().collect();
        assert_eq!(keys.iter().collect::<HashSet<_>>().len(), keys.len());
        for binding in STEP_KEYS {
            assert_eq!(STEP_KEYS.iter().filter(|other| other.action == binding.action).count(), 1);
            assert!(!binding.help.is_empty() && binding.help.len() <= 50, "'{}' fits a line", binding.help);
        }
    }

    #[test]
    fn the_page_on_leading_has_every_key_in_the_words_of_the_help() {
        let page = include_str!("../../../docs/leading.md");
        let rows: Vec<String> = page
            .lines()
            .filter(|line| line.starts_with("| ") && !line.starts_with("| key"))
            .map(str::to_owned)
            .collect();
        let row = |name: &str, help: &str| format!("| {name} | {help} |");
        let floor = KEYS.iter().map(|binding| row(binding.name, binding.help));
        let table: Vec<String> =
            floor.chain(STEP_KEYS.iter().map(|binding| row(binding.name, binding.help))).collect();
        assert_eq!(rows, table);
    }

    #[test]
    fn caps_lock_changes_nothing() {
        let press = |code| action(&KeyEvent::new(code, KeyModifiers::NONE));
        assert_eq!(press(KeyCode::Char('Q')), Some(Action::Leave));
        assert_eq!(press(KeyCode::Char('z')), None);
        assert_eq!(press(KeyCode::Char('7')), Some(Action::Phrase(7)));
        assert_eq!(action(&KeyEvent::new(KeyCode::Char('c'), KeyModifiers::CONTROL)), Some(Action::Leave));
        assert_eq!(action(&KeyEvent::new(KeyCode::Char('q'), KeyModifiers::CONTROL)), None);
    }
}
