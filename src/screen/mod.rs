//! The terminal: the floor from which a class is led. What is drawn is a function of state; what changes state is a
//! function of messages; only the loop between them touches a terminal, a clock or a device.

pub mod blocks;
mod browsing;
pub mod colours;
pub mod desk;
mod fitting;
pub mod floor;
mod glyphs;
mod help;
mod inputs;
pub mod keys;
mod letters;
pub mod repair;
mod run;
pub mod sheet;
pub mod shelf;
mod terminal;
#[cfg(unix)]
mod unix;
mod writing;

pub use browsing::run_shelf;
pub use run::{FloorOptions, Piece, require_terminal, run_floor};
pub use writing::{run_repairing, run_sheet};

use std::io;

/// Why the screen cannot be used, or was left early.
#[derive(Debug, thiserror::Error)]
pub enum ScreenError {
    /// Input or output is a file or a pipe. Run the program in a terminal window.
    #[error("cannot show the floor: this is not a terminal; run the command in a terminal window")]
    NotATerminal,
    /// The terminal refused something. Closing and opening the window usually helps.
    #[error("cannot use this terminal; open a new window and try again")]
    Terminal(#[source] io::Error),
    /// A part of the program failed; what it said stands above.
    #[error("the program had a fault and has left the floor; please report the lines above")]
    Fault,
}
