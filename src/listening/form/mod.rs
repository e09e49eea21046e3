//! Form: which beats start bars, and which bars start phrases.

pub(crate) mod bars;
pub(crate) mod phrases;

pub use bars::bar_features;
