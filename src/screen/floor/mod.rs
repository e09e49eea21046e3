//! The floor: one full screen from which a class is led through a dance, in step with the sound.
//!
//! [`Floor::stage`] says what stands on the floor at an instant, [`update`] what a key or the clock changes, [`view`]
//! draws it; none of them knows of terminals, devices or time. The loop that does is `run_floor`.

mod app;
mod in_step;
mod keys;
mod legible;
mod stage;
mod view;
mod words;

pub use app::{App, Effect, Message, Page, Version, update};
pub use in_step::{InStep, Origin, Sense};
pub(in crate::screen) use in_step::{LENGTH as CLICKS_LENGTH, clicks as clicks_alone};
pub use keys::{Action, Binding, KEYS, STEP_KEYS, StepAction};
pub use stage::{Call, Floor, Next, Now, Part, Stage, Stepping};
pub(in crate::screen) use view::path;
pub use view::view;

#[cfg(test)]
pub(in crate::screen) use stage::tests::dance as test_dance;
