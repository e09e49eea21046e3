//! Prints what is heard in a WAV file as JSON, for scoring: `hear_grid FILE.wav`.
//!
//! A tool for measuring, not for teachers: it reads 16-bit, 24-bit and float WAV only.

#![allow(clippy::print_stdout, reason = "printing is what it is for")]

use farandole::listening::{decode, gather, mono_22050};
use farandole::units::SampleRate;
use std::ops::ControlFlow;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let path = std::env::args().nth(1).ok_or("usage: hear_grid FILE.wav")?;
    let mut reader = hound::WavReader::open(path)?;
    let spec = reader.spec();
    let samples: Vec<f32> = match spec.sample_format {
        hound::SampleFormat::Float => reader.samples::<f32>().collect::<Result<_, _>>()?,
        hound::SampleFormat::Int => {
            let scale = 2f32.powi(1 - i32::from(spec.bits_per_sample));
            reader.samples::<i32>().map(|s| s.map(|s| s as f32 * scale)).collect::<Result<_, _>>()?
        }
    };
    let mono = mono_22050(&samples, spec.channels, SampleRate(spec.sample_rate));
    let evidence = gather(&mono, &mut |_| ControlFlow::Continue(())).ok_or("stopped")?;
    let heard = decode(&evidence, &[]);
    let beats = heard.grid.beats();
    let downbeats: Vec<f64> = heard.grid.bars().iter().map(|&bar| beats[bar].0).collect();
    let phrases: Vec<(f64, &str)> =
        heard.grid.phrases().iter().map(|phrase| (beats[phrase.start].0, phrase.letter.as_str())).collect();
    let sureness: Vec<f32> = heard.sureness.iter().map(|s| s.0).collect();
    let out = serde_json::json!({
        "pulse": heard.pulse, "beats": beats.iter().map(|b| b.0).collect::<Vec<_>>(), "downbeats": downbeats,
        "phrases": phrases, "metres": heard.metres, "sureness": sureness,
    });
    println!("{out}");
    Ok(())
}
