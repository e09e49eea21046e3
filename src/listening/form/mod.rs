//! Form: which beats start bars, and which bars start phrases.

pub(crate) mod bars;
pub(crate) mod phrases;

pub use bars::bar_features;
pub(crate) use bars::sureness as sureness_of;
