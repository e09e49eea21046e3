//! Listening: from samples to the grid, the contours, the turns and a summary in a musician's words.
//!
//! Pure: the same samples and anchors give the same result. Nothing here knows of files, clocks or dances.

mod types;

pub use types::{
    Articulation, Character, Contour, Dynamic, Dynamics, Listening, Loudness, Metre, PhraseCharacter, Pulse,
    SHORTEST, Sureness, TempoPoint, Turn, TurnKind,
};
