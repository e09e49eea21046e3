//! The count sheet: where a dance is written, phrases down and counts across, as dance teachers write counts on paper.
//!
//! [`Sheet`] is what it knows, [`update`] what a key, the mouse, the clock or an answer changes, [`draw`] the picture; none
//! of them knows of terminals, disks, devices or time. `writing` is the loop that shows it to a teacher.

mod beats;
mod entry;
mod keys;
mod layout;
mod modes;
mod mouse;
mod pencil;
mod state;
mod typing;
mod update;
mod view;

#[cfg(test)]
mod tests;

pub use entry::Entry;
pub use keys::{Action, Binding, Group, KEYS, Press};
pub use layout::{About as NoteAbout, Layout, Line, Note, Part};
pub use modes::{About, Ask, Dragged, Effect, Grain, Mode, Music, Purpose};
pub use state::Sheet;
pub use update::{Message, update};
pub use view::{draw, paper};
