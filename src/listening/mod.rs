//! Listening: from samples to the grid, the contours, the turns and a summary in a musician's words.
//!
//! Pure: the same samples and anchors give the same result. Nothing here knows of files, clocks or dances.

mod align;
mod articulation;
mod contrast;
mod dynamics;
mod energy;
mod evidence;
mod form;
mod listener;
mod loudness;
mod memory;
mod mono;
pub mod network;
mod pulse;
mod segments;
mod spectrum;
mod summary;
mod tempo;
mod turns;
mod types;
mod weighting;
mod whole;

pub use align::{Alignment, align};
pub use contrast::{Traits, contrast};
pub use evidence::{Evidence, Gathering, Likelihood, Pace, PaceJump, Passage, TEXTURE_FPS, Texture, gather};
pub use form::bar_features;
pub use listener::{Ear, Listener, listen};
pub use loudness::{Envelope, Metering};
pub use memory::Memory;
pub use mono::{MonoStream, RATE, mono_22050};
pub use pulse::{HeardGrid, Remembered, Settings, TAP_LEAD, decode, decode_remembering, decode_with};
pub use tempo::TempoWord;
pub use types::{
    Articulation, Character, Contour, Dynamic, Dynamics, Listening, Loudness, Metre, PhraseCharacter, Pulse,
    SHORTEST, Sureness, TempoPoint, Turn, TurnKind,
};
pub use whole::{ANALYSER, describe, describe_with_attacks};
