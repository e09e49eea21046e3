//! The check: does every cue land, can it be read in time, can children do it at that speed?
//!
//! Pure: a dance and what was heard go in, findings come out. Each rule is a file of its own.

mod types;

pub use types::{Finding, Report, Severity};
