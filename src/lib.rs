//! Farandole: teach music by movement.
//!
//! The rooms and who may use whom are described in `DEVELOPERS.md`; `tests/layering.rs` holds the rules.

pub mod check;
pub mod cli;
pub mod dance;
pub mod grid;
pub mod handout;
pub mod identity;
pub mod incoming;
pub mod lesson;
pub mod listening;
pub mod recording;
pub mod screen;
pub mod shelf;
pub mod sound;
pub mod trail;
pub mod units;
pub mod words;
