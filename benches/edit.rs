//! How long a key takes before the screen can be drawn: planning and making an edit, and handing it to the system in
//! the recovery journal, in a dance of 3,000 beats and 1,000 cues.
//!
//! Run with `cargo bench --bench edit`. The journal lies in Cargo's folder for temporary files, on the disk that holds
//! the sources; it is forced to that disk as in the program, on its own thread.

#![allow(missing_docs, reason = "criterion's macros make undocumented functions")]

#[path = "../tests/support/choreography.rs"]
mod choreography;

use choreography::{grid, large};
use criterion::{BatchSize, Criterion, criterion_group, criterion_main};
use farandole::dance::edit::{Command, Follow, History, Over, Selection};
use farandole::dance::{Dance, MoveBook, MoveId};
use farandole::shelf::Places;
use farandole::shelf::journal::{Journal, read};
use farandole::units::{Beat, Counts};
use std::hint::black_box;
use std::io::Write;
use std::time::{Duration, Instant};

fn scratch() -> tempfile::TempDir {
    tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a scratch folder")
}

/// A session whose every command is a step of its own.
struct Session {
    dance: Dance,
    history: History,
    journal: Journal,
    book: MoveBook,
    now: Duration,
}

impl Session {
    fn in_folder(folder: &tempfile::TempDir) -> Self {
        let dance = large();
        let places = Places::with_state_folder(&folder.path().join("large.dance.json"), None);
        let journal = Journal::new(&places, &dance, Some([0; 32]));
        Self { dance, history: History::of_saved(), journal, book: MoveBook::built_in(), now: Duration::ZERO }
    }

    fn key(&mut self, command: &Command) {
        self.now += Duration::from_secs(60);
        let here = Selection::at(Beat(0.0));
        let done = self.history.perform(&mut self.dance, &self.book, command, here, self.now);
        let done = done.expect("possible").expect("a change");
        self.journal.append(&done.record).expect("a disk with room");
    }

    fn undo(&mut self) {
        let undone = self.history.undo(&mut self.dance).expect("fits").expect("a step");
        self.journal.append(&undone.record).expect("a disk with room");
    }
}

fn commands() -> Vec<(&'static str, Command)> {
    let cue = 500;
    vec![
        ("type a letter", Command::SetWords { cue, words: Some("march tall".into()) }),
        ("move over a neighbour", Command::MoveCue { cue, to: Beat(1_501.0), over: Over::Erase }),
        ("lengthen", Command::StretchCue { cue, counts: Counts(5.0), over: Over::Erase }),
        (
            "repeat a phrase ten times",
            Command::RepeatPhrase { phrase: 3, into: (100..110).collect(), mirror: true },
        ),
        (
            "replace a move everywhere",
            Command::ReplaceMove { from: MoveId("march".into()), to: MoveId("walk".into()) },
        ),
        (
            "double the beats",
            Command::SetGrid {
                grid: grid(6_000, 0.25, 0, 16),
                anchors: vec![],
                follow: Follow::Music,
                label: "double".into(),
                gesture: None,
            },
        ),
    ]
}

fn keys(criterion: &mut Criterion) {
    for (name, command) in commands() {
        let folder = scratch();
        let mut session = Session::in_folder(&folder);
        criterion.bench_function(&format!("{name}: plan, apply, journal"), |bencher| {
            bencher.iter_custom(|times| {
                (0..times)
                    .map(|_| {
                        let begun = Instant::now();
                        session.key(&command);
                        let lasted = begun.elapsed();
                        session.undo();
                        lasted
                    })
                    .sum()
            });
        });
    }
}

fn whole_session(criterion: &mut Criterion) {
    criterion.bench_function("open: the journal's first line, on the first key", |bencher| {
        bencher.iter_batched(
            scratch,
            |folder| {
                let mut session = Session::in_folder(&folder);
                session.key(&commands()[0].1);
                (folder, session.dance)
            },
            BatchSize::SmallInput,
        );
    });
    let folder = scratch();
    let mut session = Session::in_folder(&folder);
    let mut lasted: Vec<Duration> = (0..2_000)
        .map(|key| {
            let words = format!("march {key}");
            let begun = Instant::now();
            session.key(&Command::SetWords { cue: key % 1_000, words: Some(words) });
            begun.elapsed()
        })
        .collect();
    lasted.sort();
    let of = |hundredths: usize| lasted[lasted.len() * hundredths / 100];
    let slowest = lasted[lasted.len() - 1];
    writeln!(std::io::stdout(), "2,000 keys: median {:?}, p99 {:?}, slowest {slowest:?}", of(50), of(99))
        .expect("someone reads the figures");
    let bytes = std::fs::read(session.journal.path().expect("written")).expect("just written");
    criterion.bench_function("recover 2,000 keys", |bencher| bencher.iter(|| read(black_box(&bytes))));
}

criterion_group! {
    name = edit;
    config = Criterion::default().sample_size(30).measurement_time(Duration::from_secs(3));
    targets = keys, whole_session
}
criterion_main!(edit);
