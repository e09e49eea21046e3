//! The keys of the count sheet: one table that the program obeys and that the key line and the help show.

use crate::screen::help::Chapter;
use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};

/// What can be asked for on the sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[allow(missing_docs, reason = "each stands with its sentence in the table")]
pub enum Action {
    CountBack,
    CountOn,
    LineUp,
    LineDown,
    PhraseUp,
    PhraseDown,
    Home,
    End,
    SelectBack,
    SelectOn,
    NextCue,
    LastCue,
    NextTurn,
    LastTurn,
    Heard,
    Pin,
    Words,
    Longer,
    Shorter,
    Later,
    Earlier,
    EndAtTurn,
    ToTurn,
    Grain,
    Split,
    Join,
    RubOut,
    Side,
    Mirror,
    Copy,
    PutDown,
    AsIn,
    HandOn,
    Other,
    Lead,
    Prompt,
    Why,
    Notes,
    Title,
    NextFinding,
    Repair,
    Mend,
    Ignore,
    Undo,
    Redo,
    Play,
    Round,
    Clicks,
    Full,
    ThreeQuarters,
    Half,
    Save,
    TakeOver,
    Light,
    Help,
    Leave,
    LetGo,
}

/// What keys are for: under these the help and the docs gather them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Group {
    /// Going about.
    Way,
    /// Writing the dance.
    Moves,
    /// The same once more.
    Again,
    /// Playing.
    Hear,
    /// The beats.
    Beats,
    /// What the check says.
    Heed,
    /// Undoing, saving, leaving.
    Keep,
}

impl Group {
    /// All, in the order of the help.
    pub const ALL: [Self; 7] =
        [Self::Way, Self::Moves, Self::Again, Self::Hear, Self::Beats, Self::Heed, Self::Keep];

    /// What she wants to do.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Way => "Find the way",
            Self::Moves => "Pin moves",
            Self::Again => "Use moves again",
            Self::Hear => "Hear",
            Self::Beats => "Put the beats right",
            Self::Heed => "Heed the check",
            Self::Keep => "Keep",
        }
    }

    /// Its lines of the table.
    pub fn keys(self) -> impl Iterator<Item = &'static Binding> {
        KEYS.iter().filter(move |binding| binding.action.group() == self)
    }
}

/// The table gathered for the help.
pub(super) fn chapters() -> Vec<Chapter> {
    let keys = |group: Group| group.keys().map(|binding| (binding.name, binding.help)).collect();
    Group::ALL.iter().map(|&group| Chapter { name: group.name(), keys: keys(group) }).collect()
}

impl Action {
    /// What it is for.
    #[must_use]
    pub fn group(self) -> Group {
        match self {
            Self::CountBack
            | Self::CountOn
            | Self::LineUp
            | Self::LineDown
            | Self::PhraseUp
            | Self::PhraseDown
            | Self::Home
            | Self::End
            | Self::SelectBack
            | Self::SelectOn
            | Self::NextCue
            | Self::LastCue
            | Self::NextTurn
            | Self::LastTurn
            | Self::Heard
            | Self::Grain
            | Self::LetGo => Group::Way,
            Self::Pin
            | Self::Words
            | Self::Longer
            | Self::Shorter
            | Self::Later
            | Self::Earlier
            | Self::EndAtTurn
            | Self::ToTurn
            | Self::Split
            | Self::Join
            | Self::RubOut
            | Self::Side
            | Self::Lead
            | Self::Prompt
            | Self::Why
            | Self::Notes
            | Self::Title => Group::Moves,
            Self::Copy | Self::PutDown | Self::AsIn | Self::HandOn | Self::Other | Self::Mirror => {
                Group::Again
            }
            Self::Play | Self::Round | Self::Clicks | Self::Full | Self::ThreeQuarters | Self::Half => {
                Group::Hear
            }
            Self::Repair => Group::Beats,
            Self::NextFinding | Self::Mend | Self::Ignore => Group::Heed,
            Self::Undo
            | Self::Redo
            | Self::Save
            | Self::TakeOver
            | Self::Light
            | Self::Help
            | Self::Leave => Group::Keep,
        }
    }
}

/// A key as it is pressed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Press {
    /// By itself. Letters are small; capital ones count as small, so that a forgotten caps lock ruins nothing.
    Key(KeyCode),
    /// With Ctrl held.
    Ctrl(char),
    /// With Shift held.
    Shift(KeyCode),
}

/// One line of the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Binding {
    /// The keys.
    pub keys: &'static [Press],
    /// The keys, as the help writes them.
    pub name: &'static str,
    /// What they ask for.
    pub action: Action,
    /// What they do, in words.
    pub help: &'static str,
    /// A word for the key line; `None` for keys that stand only in the help.
    pub short: Option<&'static str>,
}

const fn row(
    keys: &'static [Press],
    name: &'static str,
    action: Action,
    help: &'static str,
    short: Option<&'static str>,
) -> Binding {
    Binding { keys, name, action, help, short }
}

use Action as A;
use KeyCode::Char;
use Press::{Ctrl, Key, Shift};

/// Every key of the sheet. The key line shows them in this order, as many as fit; the help gathers them by [`Group`].
pub const KEYS: &[Binding] = &[
    row(
        &[Key(KeyCode::Enter)],
        "enter",
        A::Pin,
        "pin a move here; on a cue's first count, change it",
        Some("move"),
    ),
    row(&[Key(Char('+')), Key(Char('='))], "+", A::Longer, "longer", Some("longer")),
    row(&[Key(Char('-'))], "-", A::Shorter, "shorter", Some("shorter")),
    row(
        &[Key(KeyCode::Delete), Key(KeyCode::Backspace), Key(Char('x'))],
        "x",
        A::RubOut,
        "rub out: this cue, or what is selected",
        Some("rub out"),
    ),
    row(&[Key(Char(' '))], "space", A::Play, "play from here, or stop", Some("play")),
    row(&[Key(Char('u')), Ctrl('z')], "u", A::Undo, "undo", Some("undo")),
    row(&[Key(Char('k'))], "k", A::Repair, "counts wrong? put the beats right by ear", Some("beats")),
    row(&[Key(Char('w'))], "w", A::Words, "words: of this cue, or free words here", Some("words")),
    row(&[Key(Char('z')), Ctrl('y')], "z", A::Redo, "do again what was undone", None),
    row(&[Key(Char('>'))], ">", A::Later, "begin later", Some("later")),
    row(&[Key(Char('<'))], "<", A::Earlier, "begin earlier", None),
    row(&[Key(Char('t'))], "t", A::EndAtTurn, "last until the music turns next", None),
    row(&[Key(Char('b'))], "b", A::ToTurn, "begin where the music turns next", None),
    row(&[Key(Char('g'))], "g", A::Grain, "go by counts, half counts or bars", None),
    row(&[Key(Char('/'))], "/", A::Split, "split the cue here", Some("split")),
    row(&[Key(Char('j'))], "j", A::Join, "join the cue with the next one", None),
    row(&[Key(Char('s'))], "s", A::Side, "side: left, right, neither", Some("side")),
    row(
        &[Key(Char('m'))],
        "m",
        A::Mirror,
        "mirror left and right: phrase, or what is selected",
        Some("mirror"),
    ),
    row(&[Key(Char('('))], "(", A::Copy, "copy: this cue, or what is selected", Some("copy")),
    row(&[Key(Char(')'))], ")", A::PutDown, "put the copy down here", Some("put down")),
    row(
        &[Key(Char('a'))],
        "a",
        A::AsIn,
        "as in another phrase: write its moves into this one",
        Some("as in"),
    ),
    row(&[Key(Char('h'))], "h", A::HandOn, "hand this phrase's moves on to all of its letter", None),
    row(&[Key(Char('o'))], "o", A::Other, "another move everywhere in place of this one", None),
    row(&[Key(Char('e'))], "e", A::Lead, "how early this cue is called", None),
    row(&[Key(Char('p'))], "p", A::Prompt, "prompt: a question to the class, and its answer", Some("prompt")),
    row(&[Key(Char('y'))], "y", A::Why, "why this cue is here: a note of yours", None),
    row(&[Key(Char('n'))], "n", A::Notes, "notes to yourself on the dance", None),
    row(&[Key(Char('d'))], "d", A::Title, "the dance's title", None),
    row(&[Key(Char('v'))], "v", A::NextFinding, "visit what the check found next", Some("findings")),
    row(&[Key(Char('f'))], "f", A::Mend, "fix it as the check offers", Some("fix")),
    row(&[Key(Char('i'))], "i", A::Ignore, "ignore it from now on, with your reason", Some("ignore")),
    row(&[Key(Char('r'))], "r", A::Round, "round and round: phrase, or what is selected", Some("round")),
    row(&[Key(Char('c'))], "c", A::Clicks, "clicks on the beat, or none", Some("clicks")),
    row(&[Key(Char('1'))], "1", A::Full, "at the music's own speed", Some("full speed")),
    row(&[Key(Char('7'))], "7", A::ThreeQuarters, "at 75 per cent, at the same pitch", Some("slower")),
    row(&[Key(Char('5'))], "5", A::Half, "at 50 per cent, at the same pitch", Some("half speed")),
    row(&[Key(KeyCode::Left)], "left", A::CountBack, "a count back", None),
    row(&[Key(KeyCode::Right)], "right", A::CountOn, "a count on", None),
    row(&[Key(KeyCode::Up)], "up", A::LineUp, "the line above", None),
    row(&[Key(KeyCode::Down)], "down", A::LineDown, "the line below", None),
    row(&[Key(KeyCode::PageUp)], "page up", A::PhraseUp, "a phrase back", None),
    row(&[Key(KeyCode::PageDown)], "page down", A::PhraseDown, "a phrase on", None),
    row(&[Key(KeyCode::Home)], "home", A::Home, "to the start of the line, then of the music", None),
    row(&[Key(KeyCode::End)], "end", A::End, "to the end of the line, then of the music", None),
    row(&[Key(KeyCode::Tab)], "tab", A::NextCue, "to the next cue", None),
    row(
        &[Key(KeyCode::BackTab), Shift(KeyCode::BackTab)],
        "shift-tab",
        A::LastCue,
        "to the cue before",
        None,
    ),
    row(&[Key(Char('.'))], ".", A::NextTurn, "on to where the music turns next", Some("next turn")),
    row(&[Key(Char(','))], ",", A::LastTurn, "back to where it turned last", None),
    row(&[Key(Char('0'))], "0", A::Heard, "to the count that is heard, or was heard last", Some("go there")),
    row(&[Shift(KeyCode::Left)], "shift-left", A::SelectBack, "select counts backwards", None),
    row(&[Shift(KeyCode::Right)], "shift-right", A::SelectOn, "select counts", None),
    row(&[Key(KeyCode::Esc)], "esc", A::LetGo, "let go of what is selected", Some("let go")),
    row(&[Ctrl('s')], "ctrl-s", A::Save, "save now (it is saved by itself, too)", None),
    row(
        &[Ctrl('o')],
        "ctrl-o",
        A::TakeOver,
        "open it anew, once another program has left it",
        Some("go on here"),
    ),
    row(&[Key(Char('l'))], "l", A::Light, "light or dark screen", None),
    row(&[Key(Char('?')), Key(KeyCode::F(1))], "?", A::Help, "this help", Some("all keys")),
    row(&[Key(Char('q')), Ctrl('c')], "q", A::Leave, "leave; everything is saved", Some("leave")),
];

/// A line of the table for a mode in which something is typed or chosen: the key and what it does.
pub(super) type Plain = (&'static str, &'static str);

/// Keys while a move is chosen.
pub(super) const CHOOSING: &[Plain] = &[
    ("letters", "a few of the move's name"),
    ("up, down", "another one"),
    ("enter", "this one"),
    ("esc", "none"),
];

/// Keys while something is written.
pub(super) const WRITING: &[Plain] =
    &[("enter", "done"), ("ctrl-u", "clear the line"), ("esc", "leave it as it was")];

/// Keys while notes are written, which may have several lines.
pub(super) const WRITING_NOTES: &[Plain] =
    &[("enter", "done"), ("ctrl-j", "new line"), ("ctrl-u", "clear the line"), ("esc", "leave it as it was")];

/// What a key asks for on the sheet.
#[must_use]
pub(super) fn action(key: &KeyEvent) -> Option<Action> {
    let press = if key.modifiers.contains(KeyModifiers::CONTROL) {
        match key.code {
            Char(letter) => Ctrl(letter.to_ascii_lowercase()),
            _ => return None,
        }
    } else if key.modifiers.contains(KeyModifiers::ALT) {
        return None;
    } else {
        match key.code {
            Char(letter) => Key(Char(letter.to_ascii_lowercase())),
            code if key.modifiers.contains(KeyModifiers::SHIFT) => Shift(code),
            code => Key(code),
        }
    };
    KEYS.iter().find(|binding| binding.keys.contains(&press)).map(|binding| binding.action)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashSet;

    #[test]
    fn no_key_does_two_things_and_every_action_has_one_line() {
        let keys: Vec<Press> = KEYS.iter().flat_map(|binding| binding.keys).copied().collect();
        assert_eq!(keys.iter().collect::<HashSet<_>>().len(), keys.len());
        for binding in KEYS {
            assert_eq!(KEYS.iter().filter(|other| other.action == binding.action).count(), 1);
            assert!(!binding.help.is_empty() && binding.help.len() <= 52, "'{}' fits a line", binding.help);
            for key in binding.keys {
                let (code, modifiers) = match *key {
                    Key(code) => (code, KeyModifiers::NONE),
                    Ctrl(letter) => (Char(letter), KeyModifiers::CONTROL),
                    Shift(code) => (code, KeyModifiers::SHIFT),
                };
                assert_eq!(action(&KeyEvent::new(code, modifiers)), Some(binding.action));
            }
        }
    }

    #[test]
    fn caps_lock_changes_nothing() {
        let press = |code| action(&KeyEvent::new(code, KeyModifiers::NONE));
        assert_eq!(press(Char('U')), Some(Action::Undo));
        assert_eq!(press(Char('9')), None);
        assert_eq!(action(&KeyEvent::new(Char('u'), KeyModifiers::ALT)), None);
    }
}
