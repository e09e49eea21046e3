//! She at work on a dance on the disk, and disks that fail.

#![allow(dead_code, reason = "every test binary uses its own share of these")]

use super::choreography::small;
use farandole::dance::edit::{Command, History, Over, Selection};
use farandole::dance::{Cue, Dance, MoveBook, MoveId};
use farandole::screen::desk::{Choice, Desk, Ending, Keeper, News, OnDisk, Store, open_in};
use farandole::shelf::journal::{Force, Journal, Medium};
use farandole::shelf::{self, Lock, Places, SaveError, Stamp};
use farandole::units::{Beat, Counts};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::Duration;
use tempfile::TempDir;

/// A folder with one dance in it, and another folder for recovery copies.
pub(crate) struct Room {
    pub(crate) scratch: TempDir,
}

impl Room {
    pub(crate) fn new() -> Self {
        let room = Self { scratch: tempfile::tempdir().expect("a scratch folder") };
        fs::create_dir(room.scratch.path().join("dances")).expect("a writable folder");
        shelf::save(&room.path(), &small(), None).expect("a writable folder");
        room
    }

    pub(crate) fn path(&self) -> PathBuf {
        self.scratch.path().join("dances").join("goats.dance.json")
    }

    pub(crate) fn places(&self) -> Places {
        Places::with_state_folder(&self.path(), Some(self.scratch.path().join("state")))
    }

    pub(crate) fn open(&self) -> Work {
        Work::of(open_in(&self.path(), self.places()).expect("the dance is whole"))
    }

    pub(crate) fn on_disk(&self) -> Dance {
        shelf::load(&self.path()).expect("the dance is whole").dance
    }

    /// Someone else saves another title.
    pub(crate) fn change_behind_her_back(&self) {
        let mut dance = self.on_disk();
        dance.title = "Sheep".into();
        fs::write(self.path(), farandole::dance::file::to_json(&dance)).expect("a writable folder");
    }

    pub(crate) fn names(&self) -> Vec<String> {
        let entries = fs::read_dir(self.scratch.path().join("dances")).expect("a folder");
        let mut names: Vec<String> = entries
            .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }
}

/// She at work. Her clock runs as fast as a test wants.
pub(crate) struct Work {
    pub(crate) desk: Desk,
    pub(crate) now: Duration,
    typed: u32,
}

impl Work {
    pub(crate) fn of(desk: Desk) -> Self {
        Self { desk, now: Duration::ZERO, typed: 0 }
    }

    pub(crate) fn keeper(&mut self) -> &mut Keeper {
        self.desk.keeper.as_mut().expect("it may be edited")
    }

    /// Changes something.
    pub(crate) fn type_something(&mut self) -> Option<News> {
        self.typed += 1;
        // Far enough apart in time to be steps of their own.
        self.now += Duration::from_secs(4);
        let at = Beat(f64::from(self.typed % 16));
        let words = format!("word {}", self.typed);
        let cue = Cue { words: Some(words), ..Cue::new(at, Counts(1.0), MoveId("march".into())) };
        let command = Command::AddCue { cue, over: Over::Erase };
        let desk = &mut self.desk;
        let done = desk
            .history
            .perform(&mut desk.dance, &MoveBook::built_in(), &command, Selection::at(at), self.now)
            .expect("possible")
            .expect("a change");
        let now = self.now;
        self.keeper().record(&done.record, now)
    }

    pub(crate) fn undo(&mut self) -> Option<News> {
        let turned = self.desk.history.undo(&mut self.desk.dance).expect("fits").expect("a step");
        let now = self.now;
        self.keeper().record(&turned.record, now)
    }

    pub(crate) fn tick(&mut self) -> Vec<News> {
        let keeper = self.desk.keeper.as_mut().expect("it may be edited");
        keeper.tick(&self.desk.dance, &mut self.desk.history, self.now)
    }

    /// Lets time pass without a key; what she is told.
    pub(crate) fn wait(&mut self, seconds: u64) -> Vec<News> {
        self.now += Duration::from_secs(seconds);
        let mut news = self.tick();
        // What was begun is done on a thread of its own.
        while self.keeper().is_saving() {
            thread::sleep(Duration::from_millis(1));
            news.extend(self.tick());
        }
        news
    }

    pub(crate) fn save(&mut self) -> Vec<News> {
        let keeper = self.desk.keeper.as_mut().expect("it may be edited");
        keeper.save(&self.desk.dance, &mut self.desk.history);
        self.wait(0)
    }

    pub(crate) fn answer(&mut self, choice: Choice) -> News {
        let keeper = self.desk.keeper.as_mut().expect("it may be edited");
        keeper.answer(choice, &mut self.desk.dance, &mut self.desk.history, self.now)
    }

    pub(crate) fn finish(&mut self) -> Ending {
        let keeper = self.desk.keeper.as_mut().expect("it may be edited");
        keeper.finish(&self.desk.dance, &mut self.desk.history, self.now)
    }
}

/// Something to save to that gives a system's error, or saves to the disk.
#[derive(Clone, Default)]
pub(crate) struct Failing(Arc<Mutex<Option<i32>>>);

impl Failing {
    pub(crate) fn with(&self, error: Option<i32>) {
        *self.0.lock().expect("no panics") = error;
    }
}

impl Store for Failing {
    fn save(&mut self, path: &Path, dance: &Dance, stamp: Stamp) -> Result<Stamp, SaveError> {
        match *self.0.lock().expect("no panics") {
            Some(error) => {
                Err(SaveError::Refused { path: path.to_owned(), source: io::Error::from_raw_os_error(error) })
            }
            None => OnDisk.save(path, dance, stamp),
        }
    }
}

/// Linux's numbers: no space left, input/output error, not permitted, read-only file system.
#[cfg(target_os = "linux")]
pub(crate) const REFUSALS: [(i32, &str); 4] =
    [(28, "the disk is full"), (5, "does not answer"), (13, "you may not"), (30, "the disk is read-only")];

/// A journal's medium that gives a system's error, or keeps what it is given.
#[derive(Clone, Default)]
pub(crate) struct Paper(pub(crate) Arc<Mutex<(Vec<u8>, Option<i32>)>>);

impl Paper {
    pub(crate) fn with(&self, error: Option<i32>) {
        self.0.lock().expect("no panics").1 = error;
    }
}

impl Medium for Paper {
    fn append(&mut self, bytes: &[u8]) -> io::Result<()> {
        let mut paper = self.0.lock().expect("no panics");
        // A part of it may have been written.
        let written = if paper.1.is_some() { bytes.len() / 2 } else { bytes.len() };
        paper.0.extend(&bytes[..written]);
        paper.1.map_or(Ok(()), |error| Err(io::Error::from_raw_os_error(error)))
    }

    fn cut(&mut self, length: u64) -> io::Result<()> {
        self.0.lock().expect("no panics").0.truncate(usize::try_from(length).expect("small"));
        Ok(())
    }

    fn force(&self) -> io::Result<Force> {
        Ok(Box::new(|| Ok(())))
    }

    fn path(&self) -> Option<&Path> {
        None
    }
}

/// A dance whose journal lies on `paper` and has nowhere else to go.
pub(crate) fn on_paper(room: &Room, paper: &Paper) -> Work {
    let places = Places::with_state_folder(&room.path(), None);
    let dance = room.on_disk();
    let stamp = shelf::stamp_of(&room.path()).expect("readable");
    let lock = Lock::take(&places).expect("free");
    let journal = Journal::on(Box::new(paper.clone()), &dance, stamp);
    let keeper = Keeper::new(room.path(), places, stamp, lock, journal);
    Work::of(Desk {
        path: room.path(),
        dance,
        history: History::of_saved(),
        keeper: Some(keeper),
        read_only: None,
        notes: vec![],
        watch: None,
        recovery: None,
    })
}
