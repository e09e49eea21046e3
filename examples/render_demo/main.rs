//! Renders the demo music from the note lists in `scores/`, and writes down what is true about it.
//!
//! `cargo run --release --example render_demo -- --out DIR`; see `docs/demo.md`.
#![allow(unreachable_pub, reason = "a program of several files: nothing of it can be reached from outside")]
#![allow(clippy::print_stdout, reason = "a command-line tool: its report goes to standard output")]
#![allow(clippy::print_stderr, reason = "a command-line tool: its faults go to standard error")]

mod curve;
mod notes;
mod parse;
mod performance;
mod score;
mod synthesis;
mod tempo;
mod truth;

use std::error::Error;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;

use clap::Parser;
use rustysynth::SoundFont;

/// Render the demo music: NAME.wav and NAME.truth.json for every score.
#[derive(Parser)]
struct Arguments {
    /// A General MIDI sound font (.sf2).
    #[arg(long, default_value = "/usr/share/sounds/sf2/TimGM6mb.sf2")]
    sound_font: PathBuf,
    /// Folder for the recordings.
    #[arg(long, default_value = "target/demo")]
    out: PathBuf,
    /// Folder for the truth files; the same as for the recordings if not given.
    #[arg(long)]
    truth: Option<PathBuf>,
    /// Score files; all of examples/render_demo/scores if none is given.
    scores: Vec<PathBuf>,
}

fn main() -> ExitCode {
    match run(&Arguments::parse()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error}");
            let mut cause = error.source();
            while let Some(inner) = cause {
                eprintln!("  because: {inner}");
                cause = inner.source();
            }
            ExitCode::from(2)
        }
    }
}

fn run(arguments: &Arguments) -> Result<(), Box<dyn Error>> {
    let font = load_font(&arguments.sound_font)?;
    let truths = arguments.truth.as_ref().unwrap_or(&arguments.out);
    fs::create_dir_all(&arguments.out)?;
    fs::create_dir_all(truths)?;
    let mut scores = arguments.scores.clone();
    if scores.is_empty() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/render_demo/scores");
        for entry in fs::read_dir(folder)? {
            scores.push(entry?.path());
        }
        scores.sort();
    }
    for path in scores {
        let name = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let text = fs::read_to_string(&path).map_err(|e| format!("cannot read '{}': {e}", path.display()))?;
        let score = parse::parse(&text).map_err(|e| format!("'{}', {e}", path.display()))?;
        let strokes = performance::perform(&score);
        let samples =
            synthesis::render(&score, &strokes, &font).map_err(|e| format!("'{}': {e}", path.display()))?;
        write_wav(&arguments.out.join(format!("{name}.wav")), &samples)?;
        let truth = truth::truth(&score, &strokes, &format!("{name}.ogg"));
        let mut json = serde_json::to_string_pretty(&truth)?;
        json.push('\n');
        fs::write(truths.join(format!("{name}.truth.json")), json)?;
        println!(
            "{name}\t{}\t{}\t{:.1} s, {} beats, {} phrases",
            score.title,
            score.artist,
            score.duration(),
            truth.beats.len(),
            truth.phrases.len()
        );
    }
    Ok(())
}

fn load_font(path: &Path) -> Result<Arc<SoundFont>, Box<dyn Error>> {
    let mut file = File::open(path).map_err(|error| {
        format!(
            "cannot open the sound font '{}': {error}; install one (Debian, Ubuntu: timgm6mb-soundfont) or name \
             one with --sound-font",
            path.display()
        )
    })?;
    let font = SoundFont::new(&mut file)
        .map_err(|error| format!("'{}' is not a sound font that can be read: {error}", path.display()))?;
    Ok(Arc::new(font))
}

/// Sixteen-bit stereo.
fn write_wav(path: &Path, samples: &[f32]) -> Result<(), hound::Error> {
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: synthesis::SAMPLE_RATE,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec)?;
    for sample in samples {
        writer.write_sample((sample * 32_767.0).round() as i16)?;
    }
    writer.finalize()
}
