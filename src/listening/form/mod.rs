//! Form: which beats start bars, which bars start phrases, and which phrases are alike.

pub(crate) mod bars;
mod division;
mod letters;
mod likeness;
mod openings;
pub(crate) mod phrases;

pub use bars::bar_features;
pub(crate) use bars::sureness as sureness_of;
