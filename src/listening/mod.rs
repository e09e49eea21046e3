//! Listening: from samples to the grid, the contours, the turns and a summary in a musician's words.
//!
//! Pure: the same samples and anchors give the same result. Nothing here knows of files, clocks or dances.

mod evidence;
mod form;
mod mono;
mod pulse;
mod types;

pub use evidence::{Evidence, Gathering, Likelihood, Passage, TEXTURE_FPS, Texture, gather};
pub use mono::{MonoStream, RATE, mono_22050};
pub use pulse::{HeardGrid, decode};
pub use types::{
    Articulation, Character, Contour, Dynamic, Dynamics, Listening, Loudness, Metre, PhraseCharacter, Pulse,
    SHORTEST, Sureness, TempoPoint, Turn, TurnKind,
};
