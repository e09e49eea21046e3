//! Decoding, checked from outside: files made by ffmpeg and sox, samples compared with what they decode, and every
//! refusal's whole sentence.

#[path = "../support/encode.rs"]
mod encode;

mod clicks;
mod damage;
mod identity;
mod lossless;
mod refusals;
mod stream;
mod tags;

use farandole::recording::{self, DecodeError, Recording, Warning};
use std::io::Cursor;
use std::path::Path;

/// Decodes without listening to progress.
fn decode(path: &Path) -> Result<Recording, DecodeError> {
    recording::decode(path, &mut |_| {})
}

/// Decodes and fails the test with the refusal's own words.
fn decoded(path: &Path) -> Recording {
    decode(path).unwrap_or_else(|error| panic!("{error}"))
}

/// Decodes bytes under a name.
fn decode_bytes(bytes: Vec<u8>, name: &str) -> Result<Recording, DecodeError> {
    recording::decode_from(Box::new(Cursor::new(bytes)), name, &mut |_| {})
}

/// Whether the teacher is told that the start may be off.
fn is_doubted(recording: &Recording) -> bool {
    recording.warnings.iter().any(|warning| matches!(warning, Warning::PaddingUnknown { .. }))
}

/// `seconds` of a signal that no two frames and no two channels share: a slow sweep with a little noise.
fn lively(seconds: f64, channels: u16, rate: u32) -> Vec<f32> {
    let mut noise = 0x2545_f491_u32;
    let frames = (seconds * f64::from(rate)).round() as usize;
    let mut samples = Vec::with_capacity(frames * usize::from(channels));
    for frame in 0..frames {
        let t = frame as f64 / f64::from(rate);
        for channel in 0..channels {
            noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let hiss = f64::from(noise >> 8) / f64::from(1 << 24) - 0.5;
            let pitch = 200.0 * f64::from(channel + 1) + 300.0 * t;
            samples.push((0.6 * (std::f64::consts::TAU * pitch * t).sin() + 0.1 * hiss) as f32);
        }
    }
    samples
}
