//! A small convolutional network that hears, 100 times a second, how likely a beat and a bar start are.
//!
//! Pure arithmetic on samples: it decides nothing about tempo or grid, which is the decoder's work.

pub mod features;
