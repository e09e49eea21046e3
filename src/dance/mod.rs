//! Dances: one choreography for one recording, the moves it is made of, and a first draft of one.
//!
//! Pure: nothing here reads a file or a clock. Cues live in beats; only the dance's own grid makes seconds of them.

mod book;
mod carry;
mod draft;
pub mod edit;
pub mod file;
mod free;
mod kept;
pub mod reading;
mod types;

pub use book::{BOOK_SCHEMA, Entry, MoveBook, MoveBookError, Need};
pub use carry::{Carried, CarryError, Doubt, carry};
pub use draft::{Draft, DraftError, FEWEST_BEATS, LONGEST_JUMPING, LONGEST_RUNNING, draft, new_dance};
pub use free::{free_dance, free_lively, free_sign};
pub use kept::Kept;
pub use types::{
    Cue, Dance, Energy, GentleVersion, Move, MoveId, Profile, Prompt, SCHEMA, Side, Silenced, Source,
    StepKind, StepRate,
};
