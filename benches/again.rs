//! How long a teacher waits for the grid to be heard again after she has corrected it: a session of corrections to a piece
//! of five minutes, one after another as in the editor, and the same from nothing.
//!
//! Run with `cargo bench --bench again`. Measured is `Memory::grid_again`, from the anchors to beats, bars, phrases and
//! sureness, on one thread; the evidence is there already, and the picture and what is told of the music on the new grid
//! are not in it (`cargo bench --bench sheet` has those). The recording is the demo *March and farandole*, over and over.
//! What was measured, and on which machine, is in `docs/measurements.md`.

#![allow(clippy::print_stdout, reason = "the figures are the result")]

use farandole::grid::mend::Repair;
use farandole::grid::{Anchor, Grid};
use farandole::listening::{Ear, Memory, Metering, Remembered};
use farandole::recording;
use farandole::units::Seconds;
use std::hint::black_box;
use std::path::Path;
use std::time::{Duration, Instant};

/// Seconds of music, and how often each correction is timed.
const LENGTH: usize = 5 * 60;
const TIMES: usize = 100;

fn report(what: &str, mut times: Vec<Duration>) {
    times.sort();
    let at = |part: f64| times[((times.len() - 1) as f64 * part).round() as usize].as_secs_f64() * 1e3;
    println!(
        "{what:<60} n {:>4}  p50 {:>6.1} ms  p99 {:>6.1} ms  most {:>6.1} ms",
        times.len(),
        at(0.5),
        at(0.99),
        at(1.0)
    );
}

fn five_minutes() -> Memory {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("assets/demo/march-and-farandole.ogg");
    let recording = recording::decode(&demo, &mut |_| {}).expect("the demo is whole");
    let length = LENGTH * recording.rate.0 as usize * usize::from(recording.channels);
    let samples: Vec<f32> = recording.samples.iter().copied().cycle().take(length).collect();
    let mut ear = Ear::new(recording.channels, recording.rate);
    let mut metering = Metering::new(recording.channels, recording.rate);
    ear.push(&samples);
    metering.push(&samples);
    Memory { evidence: ear.finish(), envelope: metering.finish() }
}

/// So many taps along the beats from one on, 30 ms early as people tap.
fn taps(grid: &Grid, from: usize, count: usize) -> Repair {
    Repair::Taps(grid.beats()[from..from + count].iter().map(|at| Seconds(at.0 - 0.03)).collect())
}

fn timed(mut once: impl FnMut() -> Duration) -> Vec<Duration> {
    (0..TIMES).map(|_| once()).collect()
}

/// One correction of the session: its name, and what she does to the grid that is on the screen.
type Correction = (&'static str, fn(&Grid) -> Repair);

/// In this order, each on the grid that the one before led to.
const SESSION: [Correction; 12] = [
    ("8 taps along the beginning", |grid| taps(grid, 0, 8)),
    ("2 taps in the middle", |grid| taps(grid, grid.len() / 2, 2)),
    ("2 taps after a quarter", |grid| taps(grid, grid.len() / 4, 2)),
    ("count one in the middle", |grid| Repair::CountOne { at: grid.len() / 2 }),
    ("count one near the beginning", |_| Repair::CountOne { at: 9 }),
    ("bars of three from the middle", |grid| Repair::BarsOf { from: grid.len() / 2, beats: 3 }),
    ("a beat after a quarter nudged", |grid| Repair::Nudge { beat: grid.len() / 4, by: Seconds(0.03) }),
    ("twice as fast from the middle", |grid| Repair::Double { from: grid.len() / 2 }),
    ("half as fast from there again", |grid| Repair::Halve { from: grid.len() / 2 }),
    ("half a beat later from a quarter on", |grid| Repair::ShiftHalf { from: grid.len() / 4 }),
    ("twice as fast from near the beginning", |_| Repair::Double { from: 12 }),
    ("8 more taps near the beginning", |grid| taps(grid, 12, 8)),
];

fn main() {
    let memory = five_minutes();
    let mut remembered = Remembered::default();
    let mut grid = memory.grid_again(&[], &mut remembered).grid.rounded();
    let unaided = timed(|| {
        let begun = Instant::now();
        drop(black_box(memory.grid(black_box(&[]))));
        begun.elapsed()
    });
    report("nothing said, from nothing (as when listening)", unaided);
    let mut said: Vec<Anchor> = Vec::new();
    let mut all = Vec::new();
    for (what, repair) in SESSION {
        said = repair(&grid).anchors(&grid, &said).expect("possible");
        let from_nothing = timed(|| {
            let begun = Instant::now();
            drop(black_box(memory.grid(black_box(&said))));
            begun.elapsed()
        });
        let times = timed(|| {
            let mut remembered = remembered.clone();
            let begun = Instant::now();
            drop(black_box(memory.grid_again(black_box(&said), &mut remembered)));
            begun.elapsed()
        });
        all.extend_from_slice(&times);
        report(what, times);
        report("   the same from nothing", from_nothing);
        grid = memory.grid_again(&said, &mut remembered).grid.rounded();
    }
    report("all corrections of the session", all);
}
