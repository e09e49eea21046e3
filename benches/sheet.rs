//! How long an editor keeps a teacher waiting: from a key to the picture, from starting to the first picture, and from a
//! correction of the beats to the grid heard again.
//!
//! Run with `cargo bench --bench sheet`. Plain percentiles, as they are what is promised; what was measured, and on which
//! machine, is in `docs/measurements.md`. The dance is made by rule: 3,000 beats, 1,000 cues.

#![allow(clippy::print_stdout, reason = "the figures are the result")]

#[path = "../tests/support/choreography.rs"]
mod choreography;
#[path = "../tests/support/heard.rs"]
mod support;

use choreography::large;
use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use farandole::check::check;
use farandole::dance::edit::{Command, Follow, History, Selection};
use farandole::dance::{Dance, MoveBook};
use farandole::grid::mend::Repair;
use farandole::grid::{Anchor, Grid, Level};
use farandole::listening::{Ear, Listening, Memory, Metering, Remembered, TurnKind};
use farandole::recording;
use farandole::screen::colours::Palette;
use farandole::screen::desk::{Answer, Keeper, Workers, open_in};
use farandole::screen::sheet::{Effect, Message, Sheet, draw, update};
use farandole::shelf::{self, Cache, Places};
use farandole::units::{Beat, Seconds};
use ratatui::Terminal;
use ratatui::backend::CrosstermBackend;
use ratatui::layout::Rect;
use std::hint::black_box;
use std::io;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};
use support::{Heard, heard, phrase, turn};

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

/// What is heard of a piece with 3,000 beats: 375 phrases of eight counts, a turn every other phrase.
fn long_piece() -> Listening {
    let letters = ["A", "B", "A'"];
    let phrases: Vec<Heard> =
        (0..375).map(|n| phrase(letters[n % 3], 8, 96.0 + (n % 7) as f64 * 6.0, 1 + (n % 5) as u8)).collect();
    let kinds = [TurnKind::Crescendo, TurnKind::SubitoSoft, TurnKind::Accelerando, TurnKind::SuddenlySlower];
    let turns: Vec<_> =
        (0..187).map(|n| turn(kinds[n % 4], 16.0 * n as f64, 16.0 * n as f64 + 4.0)).collect();
    heard(0, &phrases, &turns)
}

/// She at the sheet of the goal, with a journal beside her and a window whose bytes go nowhere.
struct Desk {
    sheet: Sheet,
    keeper: Keeper,
    terminal: Terminal<CrosstermBackend<io::Sink>>,
    started: Instant,
    /// Time that passes besides, so that edits are steps of their own.
    besides: Duration,
    /// What the journal took of the latest key.
    keeping: Duration,
}

impl Desk {
    fn open(folder: &tempfile::TempDir) -> Self {
        let path = folder.path().join("large.dance.json");
        let listening = long_piece();
        let dance = Dance { grid: listening.grid.clone(), ..large() };
        shelf::save(&path, &dance, None).expect("a disk with room");
        let mut desk = open_in(&path, Places::with_state_folder(&path, None)).expect("just saved");
        let keeper = desk.keeper.take().expect("it may be edited");
        let sheet = Sheet::new(desk.dance, desk.history, MoveBook::built_in(), Palette::default());
        let (started, besides) = (Instant::now(), Duration::ZERO);
        let keeping = Duration::ZERO;
        let mut desk = Self { sheet, keeper, terminal: window(), started, besides, keeping };
        desk.tell(Message::Size(WINDOW.width, WINDOW.height));
        desk.tell(Message::Listened(Box::new(listening)));
        desk.check();
        desk.sheet.cursor = Beat(1_500.0);
        desk
    }

    fn tell(&mut self, message: Message) {
        let now = self.started.elapsed() + self.besides;
        black_box(update(&mut self.sheet, Message::Heard(Default::default(), now)));
        for effect in update(&mut self.sheet, message) {
            if let Effect::Record(record) = effect {
                let begun = Instant::now();
                black_box(self.keeper.record(&record, now));
                self.keeping += begun.elapsed();
            }
        }
    }

    /// As the loop does when the keys rest.
    fn check(&mut self) {
        let report = check(&self.sheet.dance, self.sheet.listening.as_deref());
        let state = self.sheet.state;
        self.tell(Message::Checked(state, Box::new(report)));
    }

    fn draw(&mut self) {
        let sheet = &self.sheet;
        self.terminal.draw(|frame| draw(sheet, frame.area(), frame.buffer_mut())).expect("drawn");
    }

    /// From keys to the picture, once for each.
    fn times(&mut self, what: &str, keys: &[KeyCode], rounds: usize) {
        let (mut times, mut kept, mut drawn) = (Vec::new(), Vec::new(), Vec::new());
        for round in 0..rounds {
            let key = KeyEvent::new(keys[round % keys.len()], KeyModifiers::NONE);
            self.besides += Duration::from_secs(4);
            self.keeping = Duration::ZERO;
            let begun = Instant::now();
            self.tell(Message::Key(key));
            let told = Instant::now();
            self.draw();
            drawn.push(told.elapsed());
            times.push(begun.elapsed());
            kept.push(self.keeping);
        }
        report(what, times);
        report("   of it in the journal", kept);
        report("   of it the picture", drawn);
    }
}

fn keys_and_pictures() {
    let folder = scratch();
    let mut desk = Desk::open(&folder);
    let letter = KeyCode::Char;
    desk.times(
        "key: go, picture at 200x60",
        &[KeyCode::Right, KeyCode::Down, KeyCode::Left, KeyCode::Up],
        2_000,
    );
    desk.times(
        "key: go by pages, picture at 200x60",
        &[KeyCode::PageDown, KeyCode::PageDown, KeyCode::PageUp],
        600,
    );
    desk.sheet.cursor = Beat(1_500.0);
    desk.times("key: a cue longer and shorter, journal, picture", &[letter('+'), letter('-')], 2_000);
    desk.times("key: a cue later and earlier, journal, picture", &[letter('>'), letter('<')], 2_000);
    desk.times("key: undo and redo, journal, picture", &[letter('u'), letter('z')], 1_000);
    desk.times(
        "key: a move everywhere in place of another",
        &[letter('o'), letter('m'), KeyCode::Enter, letter('u')],
        400,
    );
    desk.times("key: moves to choose from, those that suit first", &[KeyCode::Enter, KeyCode::Esc], 400);
    // What a key that changes cues need not do.
    let mut times = Vec::new();
    for _ in 0..400 {
        let begun = Instant::now();
        desk.tell(Message::Size(WINDOW.width, WINDOW.height));
        times.push(begun.elapsed());
    }
    report("all lines laid out anew, no picture", times);
    desk.tell(Message::Key(KeyEvent::new(letter('n'), KeyModifiers::NONE)));
    desk.times(
        "key: a letter of a note, journal, picture",
        &[letter('a'), letter('b'), KeyCode::Backspace],
        1_000,
    );
    desk.tell(Message::Key(KeyEvent::new(KeyCode::Enter, KeyModifiers::NONE)));
    let mut times = Vec::new();
    for _ in 0..60 {
        let begun = Instant::now();
        desk.check();
        desk.draw();
        times.push(begun.elapsed());
    }
    report("the check anew when the keys rest, picture", times);

    // Repairing: the picture of the beats, and a grid that was heard again, with all cues carried along.
    desk.tell(Message::Key(KeyEvent::new(letter('k'), KeyModifiers::NONE)));
    desk.times(
        "key: go in the repairing, picture",
        &[KeyCode::Right, KeyCode::Down, KeyCode::Left, KeyCode::Up],
        2_000,
    );
    let (grid, book) = (doubled(&desk.sheet.dance.grid), MoveBook::built_in());
    let (mut dance, mut history) = (desk.sheet.dance.clone(), History::of_saved());
    let mut times = Vec::new();
    for round in 0..100u64 {
        let command = Command::SetGrid {
            grid: grid.clone(),
            anchors: vec![],
            follow: Follow::Music,
            label: "double the beat".into(),
            gesture: None,
        };
        let now = Duration::from_secs(100_000 + 10 * round);
        let begun = Instant::now();
        let done = history.perform(&mut dance, &book, &command, Selection::default(), now);
        black_box(desk.keeper.record(&done.expect("possible").expect("a change").record, now));
        times.push(begun.elapsed());
        let undone = history.undo(&mut dance).expect("fits").expect("a step");
        black_box(desk.keeper.record(&undone.record, now));
    }
    report("a new grid: 1,000 cues carried along, journal", times);
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
    let told = |workers: &Workers| loop {
        match workers.wait(Duration::from_secs(60)).expect("an answer") {
            Answer::Heard(listening) => return listening,
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
        let mut sheet =
            Sheet::new(desk.dance.clone(), desk.history.clone(), MoveBook::built_in(), Palette::default());
        update(&mut sheet, Message::Size(WINDOW.width, WINDOW.height));
        let mut terminal = window();
        let listening = told(&workers);
        update(&mut sheet, Message::Listened(listening));
        terminal.draw(|frame| draw(&sheet, frame.area(), frame.buffer_mut())).expect("drawn");
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
        // She goes on with a gesture: what was heard for the tap or the nudge before is there.
        let taps = |count: usize| -> Vec<Seconds> {
            grid.beats()[middle..middle + count].iter().map(|at| Seconds(at.0 - 0.03)).collect()
        };
        let nudged = |by: f64| said(Repair::Nudge { beat: middle, by: Seconds(by) });
        let further = [
            ("a ninth tap", said(Repair::Taps(taps(8))), said(Repair::Taps(taps(9)))),
            ("the beat nudged once more", nudged(0.01), nudged(0.02)),
        ];
        for (what, first, then) in further {
            let mut before = Remembered::default();
            drop(memory.grid_again(&first, &mut before));
            let again = (0..30)
                .map(|_| {
                    let mut remembered = before.clone();
                    let begun = Instant::now();
                    drop(black_box(memory.grid_again(black_box(&then), &mut remembered)));
                    begun.elapsed()
                })
                .collect();
            report(&format!("{minutes} min heard again: {what}"), again);
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
    keys_and_pictures();
    openings();
    hearing_again();
}
