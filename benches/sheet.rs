//! How long an editor keeps a teacher waiting: from a key to the picture, from starting to the first picture, and from a
//! correction of the beats to the grid heard again.
//!
//! Run with `cargo bench --bench sheet`. Plain percentiles, as they are what is promised; what was measured, and on which
//! machine, is in `docs/measurements.md`. The dance is made by rule: 3,000 beats, 1,000 cues.

#![allow(clippy::print_stdout, reason = "the figures are the result")]

#[path = "../tests/support/choreography.rs"]
mod choreography;

use choreography::large;
use farandole::dance::MoveBook;
use farandole::dance::edit::{Command, Follow, Over, Selection};
use farandole::grid::mend::Repair;
use farandole::grid::{Anchor, Grid, Level};
use farandole::listening::{Ear, Memory, Metering, Remembered, Sureness};
use farandole::recording;
use farandole::screen::colours::Palette;
use farandole::screen::desk::{Answer, Workers, open_in};
use farandole::screen::repair::{Action, Message, Readiness, Repairing, update, view};
use farandole::shelf::{self, Cache, Places};
use farandole::units::{Beat, Seconds};
use ratatui::Terminal;
use ratatui::backend::CrosstermBackend;
use ratatui::layout::Rect;
use std::hint::black_box;
use std::io;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// The window of the goal.
const WINDOW: Rect = Rect { x: 0, y: 0, width: 200, height: 60 };

fn report(what: &str, mut times: Vec<Duration>) {
    times.sort();
    let at = |part: f64| times[((times.len() - 1) as f64 * part).round() as usize].as_secs_f64() * 1e3;
    println!(
        "{what:<62} n {:>5}  median {:>7.2} ms  p99 {:>7.2} ms  most {:>7.2} ms",
        times.len(),
        at(0.5),
        at(0.99),
        at(1.0)
    );
}

fn demo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("assets/demo").join(name)
}

fn scratch() -> tempfile::TempDir {
    tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a scratch folder")
}

/// A window of the goal's size whose bytes go nowhere.
fn window() -> Terminal<CrosstermBackend<io::Sink>> {
    let options = ratatui::TerminalOptions { viewport: ratatui::Viewport::Fixed(WINDOW) };
    Terminal::with_options(CrosstermBackend::new(io::sink()), options).expect("a window of fixed size")
}

/// A key that edits a cue: planned, made, in the journal. The picture is that of the repairing, which shows the same
/// counts.
fn edits_and_pictures() {
    let folder = scratch();
    let path = folder.path().join("large.dance.json");
    shelf::save(&path, &large(), None).expect("a disk with room");
    let mut desk = open_in(&path, Places::with_state_folder(&path, None)).expect("just saved");
    let (book, mut keeper) = (MoveBook::built_in(), desk.keeper.take().expect("it may be edited"));
    let mut terminal = window();
    let mut state = Repairing::new(&desk.dance, Beat(1_500.0), Readiness::Ready, 0);
    state.sureness = vec![Sureness(0.8); desk.dance.grid.bars().len()];
    let started = Instant::now();
    let mut times = Vec::new();
    for round in 0..2_000usize {
        let begun = Instant::now();
        let now = started.elapsed() + Duration::from_secs(4 * round as u64);
        let cue = 3 + (round * 7) % 990;
        let to = Beat(desk.dance.cues[cue].at.0 + if round % 2 == 0 { 1.0 } else { -1.0 });
        let command = Command::MoveCue { cue, to, over: Over::Keep };
        let here = Selection::at(to);
        let done = desk.history.perform(&mut desk.dance, &book, &command, here, now).expect("possible");
        if let Some(done) = done {
            black_box(keeper.record(&done.record, now));
        }
        update(&mut state, &desk.dance, Message::Do(Action::Right), now);
        terminal
            .draw(|frame| view(&state, &desk.dance, Palette::default(), frame.area(), frame.buffer_mut()))
            .expect("drawn");
        times.push(begun.elapsed());
    }
    report("key: move a cue, journal, picture of the counts at 200x60", times);

    let mut times = Vec::new();
    for round in 0..2_000usize {
        let action = [Action::Right, Action::Down, Action::Left, Action::Up][round % 4];
        let begun = Instant::now();
        update(&mut state, &desk.dance, Message::Do(action), Duration::from_secs(9_000));
        terminal
            .draw(|frame| view(&state, &desk.dance, Palette::default(), frame.area(), frame.buffer_mut()))
            .expect("drawn");
        times.push(begun.elapsed());
    }
    report("key: go, picture of the counts at 200x60", times);

    // A grid that was heard again, with all cues carried along on their music.
    let grid = doubled(&desk.dance.grid);
    let mut times = Vec::new();
    for round in 0..100u64 {
        let command = Command::SetGrid {
            grid: grid.clone(),
            anchors: vec![],
            follow: Follow::Music,
            label: "double the beat".into(),
            gesture: None,
        };
        let now = Duration::from_secs(10_000 + 10 * round);
        let begun = Instant::now();
        let done = desk.history.perform(&mut desk.dance, &book, &command, Selection::default(), now);
        black_box(keeper.record(&done.expect("possible").expect("a change").record, now));
        terminal
            .draw(|frame| view(&state, &desk.dance, Palette::default(), frame.area(), frame.buffer_mut()))
            .expect("drawn");
        times.push(begun.elapsed());
        let undone = desk.history.undo(&mut desk.dance).expect("fits").expect("a step");
        black_box(keeper.record(&undone.record, now));
    }
    report("a new grid: 1,000 cues carried along, journal, picture", times);
    keeper.finish(&desk.dance, &mut desk.history, Duration::from_secs(20_000));
}

fn doubled(grid: &Grid) -> Grid {
    let beats = grid.beats().windows(2).flat_map(|w| [w[0], Seconds(0.5 * (w[0].0 + w[1].0))]).collect();
    let phrases = grid
        .phrases()
        .iter()
        .map(|phrase| farandole::grid::Phrase { start: 2 * phrase.start, ..phrase.clone() });
    let last = 2 * grid.len() - 2;
    let bars = grid.bars().iter().map(|bar| 2 * bar).filter(|bar| *bar < last).collect();
    Grid::new(beats, bars, phrases.filter(|phrase| phrase.start < last).collect()).expect("ascending")
}

/// From nothing to a picture with the contours of a remembered recording.
fn openings() {
    let folder = scratch();
    let cache = Cache::in_folder(folder.path().join("cache"));
    for name in ["march-and-farandole.ogg", "march-and-farandole.dance.json"] {
        std::fs::copy(demo(name), folder.path().join(name)).expect("a disk with room");
    }
    let path = folder.path().join("march-and-farandole.dance.json");
    let heard = |workers: &Workers| loop {
        match workers.wait(Duration::from_secs(60)).expect("an answer") {
            Answer::Heard(_) => return,
            Answer::NoRecording(why) => panic!("{why}"),
            _ => {}
        }
    };
    let mut remembered = Vec::new();
    let mut repairable = Vec::new();
    for round in 0..31 {
        let begun = Instant::now();
        let desk = open_in(&path, Places::with_state_folder(&path, None)).expect("the demo is whole");
        let workers = Workers::start(&desk.dance, &path, cache.clone(), || {});
        let state = Repairing::new(&desk.dance, Beat(0.0), Readiness::Listening(0.0), 0);
        let mut terminal = window();
        heard(&workers);
        terminal
            .draw(|frame| view(&state, &desk.dance, Palette::default(), frame.area(), frame.buffer_mut()))
            .expect("drawn");
        let first = begun.elapsed();
        // The sound too, so that the next round has the processor to itself.
        let (mut ready, mut sound) = (None, false);
        while ready.is_none() || !sound {
            match workers.wait(Duration::from_secs(60)).expect("an answer") {
                Answer::Repairable { .. } => ready = Some(begun.elapsed()),
                Answer::Sound(_) => sound = true,
                _ => {}
            }
        }
        // The first round listens.
        if round > 0 {
            remembered.push(first);
            repairable.extend(ready);
        }
    }
    report("open a remembered dance (93 s) to its first picture", remembered);
    report("the same until beats can be repaired", repairable);
}

/// A correction, from asking to the grid: three and five minutes of the demo, repeated.
fn hearing_again() {
    let recording =
        recording::decode(&demo("march-and-farandole.ogg"), &mut |_| {}).expect("the demo is whole");
    for minutes in [3usize, 5] {
        let length = minutes * 60 * recording.rate.0 as usize * usize::from(recording.channels);
        let samples: Vec<f32> = recording.samples.iter().copied().cycle().take(length).collect();
        let mut ear = Ear::new(recording.channels, recording.rate);
        let mut metering = Metering::new(recording.channels, recording.rate);
        ear.push(&samples);
        metering.push(&samples);
        let memory = Memory { evidence: ear.finish(), envelope: metering.finish() };
        let grid = memory.grid(&[]).grid.rounded();
        let middle = grid.len() / 2;
        let said = |repair: Repair| repair.anchors(&grid, &[]).expect("possible");
        let taps = grid.beats()[middle..middle + 8].iter().map(|at| Seconds(at.0 - 0.03)).collect();
        let corrections: Vec<(&str, Vec<Anchor>)> = vec![
            ("nothing said", vec![]),
            ("8 taps", said(Repair::Taps(taps))),
            ("one beat nudged", said(Repair::Nudge { beat: middle, by: Seconds(0.03) })),
            ("a beat taken out", said(Repair::RemoveBeat { beat: middle })),
            ("count one", said(Repair::CountOne { at: middle })),
            ("bars of 3", said(Repair::BarsOf { from: middle, beats: 3 })),
            (
                "halved from the middle",
                vec![Anchor::Level { from: grid.beats()[middle], level: Level::Half }],
            ),
            ("half a beat later from the middle", said(Repair::ShiftHalf { from: middle })),
        ];
        for (what, anchors) in corrections {
            // As in the program: the grid on the screen was heard before, this correction was not.
            let mut before = Remembered::default();
            drop(memory.grid_again(&[], &mut before));
            let decoded = (0..30)
                .map(|_| {
                    let mut remembered = before.clone();
                    let begun = Instant::now();
                    drop(black_box(memory.grid_again(black_box(&anchors), &mut remembered)));
                    begun.elapsed()
                })
                .collect();
            report(&format!("{minutes} min heard again: {what}"), decoded);
        }
        let heard = memory.grid(&[]);
        let mut times = Vec::new();
        for _ in 0..30 {
            let heard = heard.clone();
            let begun = Instant::now();
            black_box(memory.describe(heard));
            times.push(begun.elapsed());
        }
        report(&format!("{minutes} min told anew on a grid (turns, tempo, phrases)"), times);
    }
}

fn main() {
    edits_and_pictures();
    openings();
    hearing_again();
}
