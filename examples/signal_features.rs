//! Writes the features of WAV files for fitting: `signal_features OUT_DIR FILE.wav...`.
//!
//! OUT_DIR/NAME.f32: little-endian floats, frames (10 ms) by features: ours, then aubio's onset functions, which the fit
//! leaves out unless it is asked to compare. The features' names are printed once, and how long each share took.

#![allow(clippy::print_stdout, reason = "printing is what it is for")]

#[path = "wav/onset_functions.rs"]
mod onset_functions;
mod wav;

use farandole::listening::{Gathering, mono_22050};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut words = std::env::args().skip(1);
    let out = PathBuf::from(words.next().ok_or("usage: signal_features OUT_DIR FILE.wav...")?);
    std::fs::create_dir_all(&out)?;
    let mut names = String::new();
    let (mut ours, mut aubio) = (Duration::ZERO, Duration::ZERO);
    for word in words {
        let path = Path::new(&word);
        let (samples, channels, rate) = wav::read(path)?;
        let mono = mono_22050(&samples, channels, rate);
        let begun = Instant::now();
        let mut gathering = Gathering::default();
        gathering.push(&mono);
        let mut features = gathering.features();
        ours += begun.elapsed();
        let frames = features.first().map_or(0, |(_, curve)| curve.len());
        let begun = Instant::now();
        let theirs = onset_functions::onset_functions(&mono, frames).map_err(|_| "aubio did not start")?;
        aubio += begun.elapsed();
        features.extend(onset_functions::MODES.iter().map(|(name, _)| *name).zip(theirs));
        names = features.iter().map(|(name, _)| *name).collect::<Vec<_>>().join(" ");
        let bytes: Vec<u8> = (0..frames)
            .flat_map(|t| features.iter().flat_map(move |(_, curve)| curve[t].to_le_bytes()))
            .collect();
        std::fs::write(out.join(path.with_extension("f32").file_name().ok_or("no name")?), bytes)?;
    }
    println!("{names}\nour evidence, network included: {ours:.1?}; aubio's functions: {aubio:.1?}");
    Ok(())
}
