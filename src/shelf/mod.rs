//! The shelf: dances and listenings on disk.
//!
//! Nothing typed is lost: a file is replaced whole or not at all, and never when someone else has changed it.
//! This room decides where and how bytes are kept; what they mean is decided in `dance` and `listening`.

mod autosave;
pub mod journal;
mod lock;
mod places;

pub use autosave::Autosave;
pub use lock::{Held, Lock};
pub use places::Places;
