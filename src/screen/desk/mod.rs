//! The desk on which the count sheet lies: everything about editing a dance that touches the disk, and everything slow.
//!
//! Nothing here draws or reads keys. [`open`] reads a dance and says what was found beside it; [`Keeper`] sees to it that
//! nothing typed is lost; [`Workers`] find the recording, listen to it and hear the grid again, on threads of their own.
//! Times are passed in, as the time since some fixed moment that never runs backwards.

mod checker;
mod keeper;
mod open;
mod saver;
mod watch;
mod workers;

pub use checker::Checker;
pub use keeper::{Choice, Ending, Keeper, News, Question};
pub use open::{Desk, Recovery, open, open_in};
pub use saver::{OnDisk, Store};
pub use watch::Watch;
pub use workers::{Again, Answer, Workers};
