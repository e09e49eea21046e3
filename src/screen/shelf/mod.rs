//! The shelf: the dances of a folder, found by what they teach.
//!
//! State, keys and picture are functions of what is known; reading the dances is done elsewhere and comes as messages.

mod keys;
mod look;
mod state;
mod view;

pub use keys::{Action, KEYS};
pub use look::{Looker, look};
pub use state::{Choice, Effect, Message, Shelf, Slip, State, update};
pub use view::draw;

#[cfg(test)]
mod tests;
