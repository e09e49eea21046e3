//! Lessons: what a dance is at a glance, and several dances in the order in which they are taught.
//!
//! Pure. The shelf finds dances by their glances; a programme adds them up.

mod glance;
mod programme;

pub use glance::{Glance, energy_word};
pub use programme::{Item, Part, Programme, ProgrammeError, Remark, Sum};
