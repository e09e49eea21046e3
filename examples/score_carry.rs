//! Scores carrying a dance from one performance to another whose beats are both known, for measuring.
//!
//! `cargo run --release --example score_carry -- A.wav A.json B.wav B.json`: a dance with one cue a bar is laid on the known
//! beats of A and carried to B. The i-th beat of A is the i-th of B; printed is how far the carried beats are from them.

#![allow(clippy::print_stdout, reason = "printing is what it is for")]

use farandole::dance::{Cue, Dance, MoveId, Profile, SCHEMA, Source, carry};
use farandole::grid::{Grid, Phrase};
use farandole::listening::{Ear, align, decode};
use farandole::recording;
use farandole::units::{Beat, Counts, Seconds};
use serde_json::{Map, Value};
use std::error::Error;
use std::path::Path;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [a, a_truth, b, b_truth] = &arguments[..] else {
        return Err("give two recordings, each with its truth: A.wav A.json B.wav B.json".into());
    };
    let (from, to) = (truth(a_truth)?, truth(b_truth)?);
    let sounds = [a, b].map(|path| {
        let recording = recording::decode(Path::new(path), &mut |_| {})?;
        let mut ear = Ear::new(recording.channels, recording.rate);
        ear.push(&recording.samples);
        Ok::<_, Box<dyn Error>>((recording.identity.clone(), ear.finish()))
    });
    let [here, there] = sounds;
    let ((here_known, here), (there_known, there)) = (here?, there?);
    let bars: Vec<usize> = (0..from.len()).step_by(4).collect();
    let phrases = (0..from.len()).step_by(16).map(|start| Phrase { start, letter: "A".into() }).collect();
    let source = |path: &str, identity| Source {
        path: path.into(),
        identity,
        title: None,
        performer: None,
        year: None,
        unknown: Map::new(),
    };
    let dance = Dance {
        schema: SCHEMA,
        title: String::new(),
        recording: source(a, here_known),
        profile: Profile::default().into(),
        notes: String::new(),
        cues: bars
            .iter()
            .map(|&bar| Cue::new(Beat::from(bar), Counts(4.0), MoveId("march".into())))
            .collect(),
        grid: Grid::new(from.iter().copied().map(Seconds).collect(), bars, phrases)?,
        anchors: Vec::new(),
        moves: Vec::new(),
        prompts: Vec::new(),
        silenced: Vec::new(),
        unknown: Map::new(),
    };
    let alignment = align(&here, &there).ok_or("one of them is silent")?;
    let carried = carry(&dance, source(b, there_known), &alignment, &mut |anchors| decode(&there, anchors))?;
    let common = from.len().min(to.len());
    let off = |found: &[f64]| {
        let mut off: Vec<f64> = found.iter().zip(&to).map(|(a, b)| (a - b).abs()).collect();
        off.sort_by(f64::total_cmp);
        let within = off.iter().filter(|off| **off <= 0.07).count();
        let at = |share: f64| off.get((share * off.len() as f64) as usize).copied().unwrap_or(f64::NAN) * 1e3;
        format!(
            "{within:>4} of {:>4} within 70 ms, off by {:>4.0} ms (middle), {:>5.0} (95 %)",
            off.len(),
            at(0.5),
            at(0.95)
        )
    };
    let laid: Vec<f64> = from[..common].iter().map(|&beat| alignment.at(Seconds(beat)).0).collect();
    let grid = &carried.dance.grid;
    let nearest = |at: f64| {
        let beats = grid.beats().iter().map(|beat| beat.0);
        beats.min_by(|x, y| (x - at).abs().total_cmp(&(y - at).abs())).unwrap_or(0.0)
    };
    let settled: Vec<f64> = laid.iter().map(|&at| nearest(at)).collect();
    println!("as laid over    {}", off(&laid));
    println!("as heard there  {}", off(&settled));
    for (index, (found, at)) in settled.iter().zip(&to).enumerate() {
        if (found - at).abs() > 0.07 {
            println!(
                "  beat {index}: {:.2} s there is {at:.2} s, laid over {:.2} s, heard at {found:.2} s",
                from[index], laid[index]
            );
        }
    }
    let cues: Vec<f64> = carried.dance.cues.iter().map(|cue| grid.seconds_at(cue.at).0).collect();
    let whole: Vec<f64> = to.iter().copied().step_by(4).collect();
    let met = cues.iter().filter(|cue| whole.iter().any(|at| (*at - **cue).abs() <= 0.07)).count();
    println!("cues            {met} of {} on their beat; {} left out", dance.cues.len(), carried.left_out);
    println!(
        "unlike {:.2}, covered {:.1} to {:.1} of {:.1} s, speed {:.2}, transposed {}, doubts {:?}",
        alignment.unlike(Seconds(from[0]), Seconds(from[common - 1])),
        alignment.covered().0.0,
        alignment.covered().1.0,
        here.length.0,
        carried.speed,
        carried.transposed,
        carried.doubts
    );
    Ok(())
}

fn truth(path: &str) -> Result<Vec<f64>, Box<dyn Error>> {
    let value: Value = serde_json::from_str(&std::fs::read_to_string(path)?)?;
    let beats = value["beats"].as_array().ok_or("no beats")?;
    Ok(beats.iter().filter_map(Value::as_f64).collect())
}
