//! The keys of repairing: one table that the program obeys and the help and the docs show.

use crate::screen::help::Chapter;
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
    Round,
    Slower,
    Faster,
    Undo,
    Redo,
    Help,
    Sheet,
    Leave,
}

/// What keys are for: under these the help and the docs gather them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Group {
    /// Going about.
    Way,
    /// Playing.
    Hear,
    /// One beat after the other.
    Place,
    /// All beats from here on.
    Pace,
    /// What the beats are counted in.
    Count,
    /// Comparing, undoing, leaving.
    Keep,
}

impl Group {
    /// All, in the order of the help.
    pub const ALL: [Self; 6] = [Self::Way, Self::Hear, Self::Place, Self::Pace, Self::Count, Self::Keep];

    /// What she wants to do.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Way => "Find the way",
            Self::Hear => "Hear",
            Self::Place => "Put beats where they are",
            Self::Pace => "Count twice or half as fast",
            Self::Count => "Count bars and phrases",
            Self::Keep => "Keep",
        }
    }

    /// Its lines of the table, but for those that the line before explains.
    pub fn keys(self) -> impl Iterator<Item = &'static Binding<Action>> {
        KEYS.iter().filter(move |binding| binding.action.group() == self && !binding.help.is_empty())
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
            Self::Left | Self::Right | Self::Up | Self::Down | Self::Home | Self::End => Group::Way,
            Self::Play | Self::Clicks | Self::Round | Self::Slower | Self::Faster => Group::Hear,
            Self::Tap
            | Self::Earlier
            | Self::Later
            | Self::Insert
            | Self::Remove
            | Self::HoldLonger
            | Self::HoldShorter => Group::Place,
            Self::Halve | Self::Double | Self::ShiftHalf => Group::Pace,
            Self::CountOne | Self::BarsOf(_) | Self::BarStart | Self::PhraseLength | Self::Along => {
                Group::Count
            }
            Self::Compare
            | Self::List
            | Self::AsHeard
            | Self::Undo
            | Self::Redo
            | Self::Help
            | Self::Sheet
            | Self::Leave => Group::Keep,
        }
    }
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
        "fermata: hold this beat over the next, or one less",
        "fermata",
    ),
    line(&[KeyCode::Char('F')], "F", Action::HoldShorter, "", ""),
    line(
        &[KeyCode::Char('b')],
        "b",
        Action::Compare,
        "the beats as they were before, or as they are now",
        "before",
    ),
    line(&[KeyCode::Char('m')], "m", Action::Along, "count one takes the moves along, or lets them be", ""),
    line(&[KeyCode::Char('c')], "c", Action::Clicks, "clicks on the beat, or none", "clicks"),
    line(&[KeyCode::Char('r')], "r", Action::Round, "this phrase round and round, or on", "round"),
    line(
        &[KeyCode::Char('-')],
        "- +",
        Action::Slower,
        "slower (75 %, 50 %) at its own pitch; faster again",
        "slower",
    ),
    line(&[KeyCode::Char('+'), KeyCode::Char('=')], "+", Action::Faster, "", ""),
    line(&[KeyCode::Char('l')], "l", Action::List, "list your corrections; x takes one back", "list"),
    line(
        &[KeyCode::Char('o')],
        "o",
        Action::AsHeard,
        "return to what was heard: all corrections away",
        "as heard",
    ),
    line(&[KeyCode::Char('u')], "u z", Action::Undo, "undo; do again what was undone", "undo"),
    line(&[KeyCode::Char('z')], "z", Action::Redo, "", ""),
    line(&[KeyCode::Char('?')], "?", Action::Help, "these keys", "help"),
    line(&[KeyCode::Char('k')], "k", Action::Sheet, "to the count sheet", ""),
    line(
        &[KeyCode::Esc, KeyCode::Char('q')],
        "esc",
        Action::Leave,
        "leave: back to where you came from",
        "leave",
    ),
];

/// What a key asks for; keys with Ctrl or Alt ask for nothing, but Ctrl-C leaves, Ctrl-Z undoes and Ctrl-Y does again.
#[must_use]
pub fn action(key: KeyEvent) -> Option<Action> {
    if key.modifiers.contains(KeyModifiers::CONTROL) {
        return match key.code {
            KeyCode::Char('c') => Some(Action::Leave),
            // As on the sheet.
            KeyCode::Char('z') => Some(Action::Undo),
            KeyCode::Char('y') => Some(Action::Redo),
            _ => None,
        };
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
