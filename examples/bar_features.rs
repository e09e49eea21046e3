//! Writes what is heard of bars at known beats, for fitting: `bar_features OUT_DIR TRUTH.jsonl FILE.wav...`.
//!
//! Line N of TRUTH.jsonl belongs to the N-th file and holds `beats` and `downs`. OUT_DIR/NAME.f32: little-endian floats,
//! beats by features, with 1 in the last column where a bar starts.

mod wav;

use farandole::listening::{bar_features, gather, mono_22050};
use farandole::units::Seconds;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

#[derive(serde::Deserialize)]
struct Truth {
    beats: Vec<f64>,
    downs: Vec<f64>,
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut words = std::env::args().skip(1);
    let (Some(out), Some(truths)) = (words.next().map(PathBuf::from), words.next()) else {
        return Err("usage: bar_features OUT_DIR TRUTH.jsonl FILE.wav...".into());
    };
    std::fs::create_dir_all(&out)?;
    for (word, truth) in words.zip(std::fs::read_to_string(truths)?.lines()) {
        let (path, truth): (&Path, Truth) = (word.as_ref(), serde_json::from_str(truth)?);
        let (samples, channels, rate) = wav::read(path)?;
        let mono = mono_22050(&samples, channels, rate);
        let evidence = gather(&mono, &mut |_| ControlFlow::Continue(())).ok_or("stopped")?;
        let beats: Vec<Seconds> =
            truth.beats.iter().filter(|b| **b < evidence.length.0 - 0.5).map(|&b| Seconds(b)).collect();
        let columns = bar_features(&evidence, &beats);
        let bytes: Vec<u8> = (0..beats.len())
            .flat_map(|n| {
                let starts = truth.downs.iter().any(|down| (down - beats[n].0).abs() < 0.03);
                let row = columns.iter().map(move |column| column[n]).chain([f32::from(u8::from(starts))]);
                row.flat_map(f32::to_le_bytes)
            })
            .collect();
        std::fs::write(out.join(path.with_extension("f32").file_name().ok_or("no name")?), bytes)?;
    }
    Ok(())
}
