//! Writes the features of WAV files for fitting: `signal_features OUT_DIR FILE.wav...`.
//!
//! OUT_DIR/NAME.f32: little-endian floats, frames (10 ms) by features. The features' names are printed once.

#![allow(clippy::print_stdout, reason = "printing is what it is for")]

mod wav;

use farandole::listening::{Gathering, mono_22050};
use std::path::{Path, PathBuf};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut words = std::env::args().skip(1);
    let out = PathBuf::from(words.next().ok_or("usage: signal_features OUT_DIR FILE.wav...")?);
    std::fs::create_dir_all(&out)?;
    let mut names = String::new();
    for word in words {
        let path = Path::new(&word);
        let (samples, channels, rate) = wav::read(path)?;
        let mut gathering = Gathering::default();
        gathering.push(&mono_22050(&samples, channels, rate));
        let features = gathering.features();
        names = features.iter().map(|(name, _)| *name).collect::<Vec<_>>().join(" ");
        let frames = features.first().map_or(0, |(_, curve)| curve.len());
        let bytes: Vec<u8> = (0..frames)
            .flat_map(|t| features.iter().flat_map(move |(_, curve)| curve[t].to_le_bytes()))
            .collect();
        std::fs::write(out.join(path.with_extension("f32").file_name().ok_or("no name")?), bytes)?;
    }
    println!("{names}");
    Ok(())
}
