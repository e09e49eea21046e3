//! What a teacher is told when something cannot be changed as she asked.

use crate::grid::GridError;

/// Why a change was not made. The dance is as it was; another position, name or number helps.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum EditError {
    /// A cue was named that the dance does not have.
    #[error("there is no cue {number}: the dance has {have}; choose one of them")]
    NoCue {
        /// Which, from 1.
        number: usize,
        /// How many there are.
        have: usize,
    },
    /// A prompt was named that the dance does not have.
    #[error("there is no prompt {number}: the dance has {have}; choose one of them")]
    NoPrompt {
        /// Which, from 1.
        number: usize,
        /// How many there are.
        have: usize,
    },
    /// A silenced finding was named that the dance does not have.
    #[error("there is no silenced finding {number}: the dance has {have}; choose one of them")]
    NoSilenced {
        /// Which, from 1.
        number: usize,
        /// How many there are.
        have: usize,
    },
    /// A phrase was named that the grid does not have.
    #[error("there is no phrase {number}: the music has {have}; choose one of them")]
    NoPhrase {
        /// Which, from 1.
        number: usize,
        /// How many there are.
        have: usize,
    },
    /// A move was named that neither the move book nor the dance has.
    #[error("there is no move '{name}' in the move book; choose another, or write free words")]
    NoMove {
        /// Its identifier.
        name: String,
    },
    /// A move was to be replaced that no cue names.
    #[error("no cue says '{name}', so there is nothing to replace; choose a move that the dance uses")]
    NotUsed {
        /// Its identifier.
        name: String,
    },
    /// A position before the first beat.
    #[error("'{what}' cannot begin before the first beat; place it on the first beat or later")]
    BeforeTheMusic {
        /// The words of the cue, or 'prompt'.
        what: String,
    },
    /// A position after the last beat.
    #[error(
        "'{what}' cannot begin on beat {beat}, for the music has {have} beats; place it on the last one or earlier"
    )]
    AfterTheMusic {
        /// The words of the cue, or 'prompt'.
        what: String,
        /// Where it would begin, as musicians count: the first beat is 1.
        beat: usize,
        /// How many beats there are.
        have: usize,
    },
    /// A cue would last no time.
    #[error("'{what}' must last some part of a count; remove it if it is not wanted")]
    NoLength {
        /// The words of the cue.
        what: String,
    },
    /// A call would come after its move, or at no time at all.
    #[error(
        "a call comes 0 or more counts before its move, not {lead}; write such a number, or leave it empty"
    )]
    NoLead {
        /// What was asked.
        lead: f64,
    },
    /// A cue can only be split between its beginning and its end.
    #[error("'{what}' can only be split between its first count and its end; go to a count inside it")]
    NotInside {
        /// The words of the cue.
        what: String,
    },
    /// The last cue has none after it.
    #[error("'{what}' is the last cue, so there is none to join it with; lengthen it instead")]
    NothingToJoin {
        /// The words of the cue.
        what: String,
    },
    /// An empty phrase cannot be repeated.
    #[error("phrase {number} has no moves yet, so there is nothing to repeat; choose a phrase that has some")]
    NothingToRepeat {
        /// Which phrase, from 1.
        number: usize,
    },
    /// No phrase was named into which to repeat, or only the phrase itself.
    #[error("name a phrase other than phrase {number} to repeat it in")]
    NowhereToRepeat {
        /// The phrase to be repeated, from 1.
        number: usize,
    },
    /// Nothing there goes to a side.
    #[error("no cue there goes left or right, so there is nothing to mirror; give one a side first")]
    NothingToMirror,
    /// An age that no class has.
    #[error("age {age} is outside what the program knows; write the age of the youngest, 3 to 99")]
    Age {
        /// What was asked, in years.
        age: u8,
    },
    /// A distance that no room has.
    #[error("a distance of {metres} m is none; write how far the last pupil is from the screen, more than 0")]
    Distance {
        /// What was asked, in metres.
        metres: f64,
    },
    /// Beats that make no grid: the program that decoded them is at fault.
    #[error("these beats make no grid: {0}; undo, and tap them again")]
    Grid(#[from] GridError),
    /// An exact edit that was made for another state of the dance: it is replayed out of turn.
    #[error("this change was made for another state of the dance; open the dance again")]
    Misfit,
}
