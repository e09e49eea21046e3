//! She at work with a journal, and a medium for it in memory that can be told to fail.

#![allow(dead_code, reason = "every test binary uses its own share of these")]

use farandole::dance::edit::{Command, History, Over, Record, Selection};
use farandole::dance::{Cue, Dance, MoveBook, MoveId};
use farandole::shelf::journal::{Force, Journal, Medium};
use farandole::units::{Beat, Counts};
use std::io;
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// A medium in memory that can be told to fail.
#[derive(Clone, Default)]
pub(crate) struct Paper(Arc<Mutex<Sheet>>);

#[derive(Default)]
pub(crate) struct Sheet {
    pub(crate) bytes: Vec<u8>,
    /// How many more bytes fit before `error` (a system's error number) is given.
    pub(crate) room: Option<(usize, i32)>,
    pub(crate) cut_fails: bool,
    pub(crate) force_fails: Option<i32>,
    pub(crate) forced: usize,
}

impl Paper {
    pub(crate) fn set(&self, change: impl FnOnce(&mut Sheet)) {
        change(&mut self.0.lock().expect("no test panics while it holds this"));
    }

    pub(crate) fn bytes(&self) -> Vec<u8> {
        self.0.lock().expect("no test panics while it holds this").bytes.clone()
    }
}

impl Medium for Paper {
    fn append(&mut self, bytes: &[u8]) -> io::Result<()> {
        let mut sheet = self.0.lock().expect("no test panics while it holds this");
        match sheet.room {
            Some((room, error)) if room < bytes.len() => {
                sheet.bytes.extend(&bytes[..room]);
                sheet.room = Some((0, error));
                Err(io::Error::from_raw_os_error(error))
            }
            _ => {
                sheet.bytes.extend(bytes);
                Ok(())
            }
        }
    }

    fn cut(&mut self, length: u64) -> io::Result<()> {
        let mut sheet = self.0.lock().expect("no test panics while it holds this");
        if sheet.cut_fails {
            return Err(io::Error::from_raw_os_error(5));
        }
        sheet.bytes.truncate(usize::try_from(length).expect("small"));
        Ok(())
    }

    fn force(&self) -> io::Result<Force> {
        let sheet = Arc::clone(&self.0);
        Ok(Box::new(move || {
            let mut sheet = sheet.lock().expect("no test panics while it holds this");
            sheet.forced = sheet.bytes.len();
            sheet.force_fails.map_or(Ok(()), |error| Err(io::Error::from_raw_os_error(error)))
        }))
    }

    fn path(&self) -> Option<&Path> {
        Some(Path::new(".goats.journal"))
    }
}

/// She at work: a dance, its history, its journal, and every state that was on the screen.
pub(crate) struct Session {
    pub(crate) dance: Dance,
    pub(crate) history: History,
    pub(crate) journal: Journal,
    pub(crate) shown: Vec<Dance>,
    pub(crate) book: MoveBook,
}

impl Session {
    pub(crate) fn on(paper: &Paper, dance: Dance) -> Self {
        let journal = Journal::on(Box::new(paper.clone()), &dance, Some([7; 32]));
        Self::with(journal, dance)
    }

    pub(crate) fn with(journal: Journal, dance: Dance) -> Self {
        let shown = vec![dance.clone()];
        Self { dance, history: History::of_saved(), journal, shown, book: MoveBook::built_in() }
    }

    /// Does a thing; `Ok(false)` when nothing came of it. The error is what the journal said.
    pub(crate) fn ask(&mut self, command: &Command) -> Result<bool, String> {
        let now = Duration::from_secs(self.shown.len() as u64);
        let here = Selection::at(Beat(1.0));
        match self.history.perform(&mut self.dance, &self.book, command, here, now) {
            Ok(Some(done)) => self.keep(&done.record).map(|()| true),
            _ => Ok(false),
        }
    }

    pub(crate) fn turn(&mut self, back: bool) -> Result<bool, String> {
        let turned =
            if back { self.history.undo(&mut self.dance) } else { self.history.redo(&mut self.dance) };
        match turned.expect("the history fits the dance") {
            Some(turned) => self.keep(&turned.record).map(|()| true),
            None => Ok(false),
        }
    }

    pub(crate) fn keep(&mut self, record: &Record) -> Result<(), String> {
        let kept = self.journal.append(record).map_err(|error| error.to_string());
        self.shown.push(self.dance.clone());
        kept
    }
}

pub(crate) fn add(at: f64, id: &str) -> Command {
    Command::AddCue { cue: Cue::new(Beat(at), Counts(2.0), MoveId(id.into())), over: Over::Erase }
}

pub(crate) fn words(cue: usize, words: &str) -> Command {
    Command::SetWords { cue, words: Some(words.into()) }
}
