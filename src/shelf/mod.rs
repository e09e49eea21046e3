//! The shelf: dances and listenings on disk.
//!
//! Nothing typed is lost: a file is replaced whole or not at all, and never when someone else has changed it.
//! This room decides where and how bytes are kept; what they mean is decided in `dance` and `listening`.

mod autosave;
mod bundle;
mod cache;
mod dance_file;
mod ears;
mod find;
mod first_steps;
pub mod journal;
mod lock;
mod places;
mod stand;
mod trims;
mod write;

pub use autosave::Autosave;
pub use bundle::{Bundle, BundleError, Unpacked, pack, unpack};
pub use cache::{Cache, FileKey, Heard};
pub(crate) use dance_file::plain;
pub use dance_file::{LoadError, Opened, SaveError, Stamp, load, relative, save, stamp_of};
pub use ears::{Ears, listen};
pub use find::{ENDINGS, Found, Open, recording_for};
pub use first_steps::FirstSteps;
pub use lock::{Held, Lock};
pub use places::Places;
pub use stand::{Known, Stand, dances_in, last_folder, remember_folder, state_folder};
pub use trims::{TRIM_RANGE, TrimError, Trims};
pub use write::{folder_of, replace};
