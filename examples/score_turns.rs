//! Scores turns against a folder of recordings with known changes: `NAME.wav` (16 bit) beside `NAME.json` with
//! `beats`, `downbeats` and `changes` (`kind`, `beat`, `time`). How `docs/turns.md` came by its figures.
//!
//! ```text
//! cargo run --release --example score_turns -- FOLDER [--heard] [--all]
//! ```
//!
//! The grid is the true one, so that what is scored is the turns alone; with `--heard` it is the one that listening
//! finds. `--all` lists every turn and the summary.

use farandole::grid::{Grid, Phrase};
use farandole::listening::{Envelope, HeardGrid, Listening, Metre, Pulse, TurnKind, describe, listen};
use farandole::units::{SampleRate, Seconds};
use serde::Deserialize;
use std::error::Error;
use std::path::Path;

#[derive(Deserialize)]
struct Truth {
    beats: Vec<f64>,
    downbeats: Vec<f64>,
    #[serde(default)]
    changes: Vec<Change>,
}

#[derive(Deserialize)]
struct Change {
    kind: String,
    time: f64,
}

/// What is true of a change, and which turns tell it.
fn tells(change: &str) -> &'static [TurnKind] {
    use TurnKind::{ATempo, Accelerando, Crescendo, SubitoLoud, SubitoSoft, SuddenlyFaster, SuddenlySlower};
    match change {
        "accelerando" => &[Accelerando],
        "crescendo" => &[Crescendo],
        "tempo-step" => &[SuddenlyFaster, SuddenlySlower, ATempo],
        "level-step" => &[SubitoLoud, SubitoSoft],
        _ => &[],
    }
}

fn told(wav: &Path, truth: &Truth, heard: bool) -> Result<Listening, Box<dyn Error>> {
    let mut reader = hound::WavReader::open(wav)?;
    let spec = reader.spec();
    let samples: Vec<f32> =
        reader.samples::<i16>().map(|s| s.map(|s| f32::from(s) / 32_768.0)).collect::<Result<_, _>>()?;
    let rate = SampleRate(spec.sample_rate);
    if heard {
        let all = listen(&samples, spec.channels, rate, &[], &mut |_| std::ops::ControlFlow::Continue(()));
        return Ok(all.ok_or("told to stop")?);
    }
    let bars: Vec<usize> = truth
        .downbeats
        .iter()
        .filter_map(|at| truth.beats.iter().position(|beat| (beat - at).abs() < 1e-3))
        .collect();
    let phrases = bars.iter().step_by(4).map(|&start| Phrase { start, letter: "A".into() }).collect();
    let mut beats: Vec<Seconds> = truth.beats.iter().copied().map(Seconds).collect();
    beats.dedup_by(|b, a| b.0 <= a.0);
    let metres = vec![Metre { from: 0, beats: 4, compound: false }];
    let grid = Grid::new(beats, bars, phrases)?;
    let heard = HeardGrid { pulse: Pulse::Clear, grid, sureness: Vec::new(), metres };
    Ok(describe(&Envelope::of(&samples, spec.channels, rate), heard))
}

#[expect(clippy::print_stdout, reason = "its output is its purpose")]
fn main() -> Result<(), Box<dyn Error>> {
    let folder = std::env::args().nth(1).ok_or("which folder?")?;
    let asked = |option: &str| std::env::args().any(|argument| argument == option);
    let (all, heard) = (asked("--all"), asked("--heard"));
    let mut names: Vec<_> =
        std::fs::read_dir(folder)?.map(|entry| entry.map(|e| e.path())).collect::<Result<_, _>>()?;
    names.retain(|path| path.extension().is_some_and(|ending| ending == "wav"));
    names.sort();
    for wav in names {
        let truth: Truth = serde_json::from_str(&std::fs::read_to_string(wav.with_extension("json"))?)?;
        let told = told(&wav, &truth, heard)?;
        println!("{}", wav.file_stem().unwrap_or_default().to_string_lossy());
        let mut used = vec![false; told.turns.len()];
        for change in &truth.changes {
            let kinds = tells(&change.kind);
            let nearest = (0..told.turns.len())
                .filter(|&i| kinds.contains(&told.turns[i].kind) && !used[i])
                .min_by(|&a, &b| {
                    let far = |i: usize| (told.turns[i].start.0 - change.time).abs();
                    far(a).total_cmp(&far(b))
                });
            match nearest {
                Some(i) => {
                    used[i] = true;
                    let turn = told.turns[i];
                    let off = turn.start.0 - change.time;
                    println!(
                        "  {:<12} {off:+6.2} s  {:.1} -> {:.1} until {} ({:.2})",
                        change.kind, turn.from, turn.to, turn.end, turn.sureness.0
                    );
                }
                None => println!("  {:<12} missed at {:.1}", change.kind, change.time),
            }
        }
        for (turn, _) in told.turns.iter().zip(&used).filter(|(_, used)| !**used) {
            if all || !truth.changes.is_empty() {
                println!(
                    "    also {:?} {} to {}: {:.1} -> {:.1} ({:.2})",
                    turn.kind, turn.start, turn.end, turn.from, turn.to, turn.sureness.0
                );
            }
        }
        println!("  {} turns in {:.0} s", told.turns.len(), told.length.0);
        if all {
            told.summary.iter().for_each(|sentence| println!("  | {sentence}"));
            let kinds: Vec<String> =
                told.phrases.iter().map(|p| format!("{:?}/{}", p.articulation, p.energy)).collect();
            println!("  {:?} {}", told.dynamics.marks, kinds.join(" "));
        }
    }
    Ok(())
}
