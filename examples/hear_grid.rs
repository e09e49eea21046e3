//! Prints what is heard in a WAV file as JSON, for scoring: `hear_grid FILE.wav [TAP ...]`, taps in seconds.
//!
//! A tool for measuring, not for teachers.

#![allow(clippy::print_stdout, reason = "printing is what it is for")]

mod wav;

use farandole::grid::Anchor;
use farandole::listening::{decode, gather, mono_22050};
use farandole::units::Seconds;
use std::ops::ControlFlow;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut words = std::env::args().skip(1);
    let path = words.next().ok_or("usage: hear_grid FILE.wav [TAP ...]")?;
    let taps: Vec<Anchor> =
        words.map(|at| at.parse().map(|at| Anchor::Tap { at: Seconds(at) })).collect::<Result<_, _>>()?;
    let (samples, channels, rate) = wav::read(path.as_ref())?;
    let mono = mono_22050(&samples, channels, rate);
    let evidence = gather(&mono, &mut |_| ControlFlow::Continue(())).ok_or("stopped")?;
    let heard = decode(&evidence, &taps);
    let beats = heard.grid.beats();
    let downbeats: Vec<f64> = heard.grid.bars().iter().map(|&bar| beats[bar].0).collect();
    let phrases: Vec<(f64, &str)> =
        heard.grid.phrases().iter().map(|phrase| (beats[phrase.start].0, phrase.letter.as_str())).collect();
    let sureness: Vec<f32> = heard.sureness.iter().map(|s| s.0).collect();
    let out = serde_json::json!({
        "pulse": heard.pulse, "beats": beats.iter().map(|b| b.0).collect::<Vec<_>>(), "downbeats": downbeats,
        "phrases": phrases, "metres": heard.metres, "sureness": sureness, "jumps": evidence.pace.jumps, "steadiness": evidence.pace.steadiness,
    });
    println!("{out}");
    Ok(())
}
