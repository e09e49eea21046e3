//! Repairing the beats: a mode of the count sheet in which the grid is corrected by ear.
//!
//! She taps along, halves, doubles, shifts, sets count one; each gesture is sent to be heard again at once, and what comes
//! back is one step that can be undone. [`Repairing`] is the state and [`update`] changes it, without touching anything
//! else; what has to be done outside comes back as [`Effect`]s. [`view`] draws it.

mod follow;
pub mod keys;
mod level;
mod state;
mod told;
mod view;

pub use follow::follow;
pub use keys::{Action, Group, KEYS};
pub use state::{Repairing, update};
pub use told::{Effect, Message, Readiness};
pub use view::{beat_under, help_pages, view};
