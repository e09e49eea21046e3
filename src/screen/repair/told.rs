//! What repairing is told, and what it asks for.

use super::keys::Action;
use crate::dance::edit::Command;
use crate::grid::Anchor;
use crate::grid::mend::Repair;
use crate::listening::Sureness;
use crate::screen::desk::Again;
use crate::units::Seconds;

/// Whether the grid can be heard again.
#[derive(Debug, Clone, PartialEq)]
pub enum Readiness {
    /// Not yet: how much of the recording has been listened to, 0 to 1.
    Listening(f32),
    /// Yes.
    Ready,
    /// No: why.
    Never(String),
}

/// Something that happened.
#[derive(Debug, Clone, PartialEq)]
pub enum Message {
    /// She asked for something.
    Do(Action),
    /// She asked, before she came, for a gesture that has no key: the beats of a file.
    Gesture(Repair),
    /// She pointed at a beat with the mouse.
    Point(usize),
    /// She typed a digit, while a number is being typed.
    Digit(char),
    /// She took the last digit back.
    RubOut,
    /// The music is here now, and sounds or not.
    Heard {
        /// Where, in heard time.
        at: Seconds,
        /// Whether it plays.
        playing: bool,
    },
    /// The grid was heard again.
    Again(Box<Again>),
    /// It became clear whether the grid can be heard again.
    Ready(Readiness),
    /// How sure each bar of the dance's own grid is.
    Sure(Vec<Sureness>),
    /// The dance was changed, undone or redone otherwise.
    Changed,
}

/// Something to be done outside.
#[derive(Debug, Clone, PartialEq)]
pub enum Effect {
    /// Have the grid heard with these corrections; the answer comes as [`Message::Again`].
    HearAgain {
        /// To be given back.
        number: u64,
        /// All corrections.
        anchors: Vec<Anchor>,
    },
    /// Make this change.
    Change(Command),
    /// Undo.
    Undo,
    /// Redo.
    Redo,
    /// Play from here.
    Play(Seconds),
    /// Pause.
    Pause,
    /// Go here without stopping or starting.
    Seek(Seconds),
    /// Clicks on the beat, or none.
    Clicks,
    /// The phrase of this beat round and round, or on.
    Round(usize),
    /// Slower, or back towards the music's own speed, at the same pitch.
    Pace {
        /// Whether slower.
        slower: bool,
    },
    /// To the count sheet.
    Sheet,
    /// Back to where she came from.
    Leave,
}
