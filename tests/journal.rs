//! The recovery journal and the lock: what a crash, a cut, a flipped bit or a full disk leaves of the work.

#[path = "support/choreography.rs"]
mod choreography;

use choreography::{any_command, any_dance, small};
use farandole::dance::edit::{Command, History, Over, Record, Selection};
use farandole::dance::file::to_json;
use farandole::dance::{Cue, Dance, MoveBook, MoveId};
use farandole::shelf::journal::{Force, Journal, Medium, OnDiskNow, RecoverError, read, recover};
use farandole::shelf::{Held, Lock, Places};
use farandole::units::{Beat, Counts};
use proptest::prelude::*;
use std::fs;
use std::io::{self, BufRead, BufReader, Write};
use std::path::Path;
use std::process::{self, Stdio};
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// A medium in memory that can be told to fail.
#[derive(Clone, Default)]
struct Paper(Arc<Mutex<Sheet>>);

#[derive(Default)]
struct Sheet {
    bytes: Vec<u8>,
    /// How many more bytes fit before `error` (a system's error number) is given.
    room: Option<(usize, i32)>,
    cut_fails: bool,
    force_fails: Option<i32>,
    forced: usize,
}

impl Paper {
    fn set(&self, change: impl FnOnce(&mut Sheet)) {
        change(&mut self.0.lock().expect("no test panics while it holds this"));
    }

    fn bytes(&self) -> Vec<u8> {
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
struct Session {
    dance: Dance,
    history: History,
    journal: Journal,
    shown: Vec<Dance>,
    book: MoveBook,
}

impl Session {
    fn on(paper: &Paper, dance: Dance) -> Self {
        let journal = Journal::on(Box::new(paper.clone()), &dance, Some([7; 32]));
        Self::with(journal, dance)
    }

    fn with(journal: Journal, dance: Dance) -> Self {
        let shown = vec![dance.clone()];
        Self { dance, history: History::of_saved(), journal, shown, book: MoveBook::built_in() }
    }

    /// Does a thing; `Ok(false)` when nothing came of it. The error is what the journal said.
    fn ask(&mut self, command: &Command) -> Result<bool, String> {
        let now = Duration::from_secs(self.shown.len() as u64);
        let here = Selection::at(Beat(1.0));
        match self.history.perform(&mut self.dance, &self.book, command, here, now) {
            Ok(Some(done)) => self.keep(&done.record).map(|()| true),
            _ => Ok(false),
        }
    }

    fn turn(&mut self, back: bool) -> Result<bool, String> {
        let turned =
            if back { self.history.undo(&mut self.dance) } else { self.history.redo(&mut self.dance) };
        match turned.expect("the history fits the dance") {
            Some(turned) => self.keep(&turned.record).map(|()| true),
            None => Ok(false),
        }
    }

    fn keep(&mut self, record: &Record) -> Result<(), String> {
        let kept = self.journal.append(record).map_err(|error| error.to_string());
        self.shown.push(self.dance.clone());
        kept
    }
}

fn add(at: f64, id: &str) -> Command {
    Command::AddCue { cue: Cue::new(Beat(at), Counts(2.0), MoveId(id.into())), over: Over::Erase }
}

fn words(cue: usize, words: &str) -> Command {
    Command::SetWords { cue, words: Some(words.into()) }
}

/// A short session with everything in it: an edit with an eraser, typing that joins, undo, redo, a save.
fn short_session(paper: &Paper) -> Session {
    let mut session = Session::on(paper, small());
    for command in [add(3.0, "clap"), words(0, "m"), words(0, "mé"), Command::RemoveCue { cue: 1 }] {
        assert_eq!(session.ask(&command), Ok(true));
    }
    assert_eq!(session.turn(true), Ok(true));
    let revision = session.history.begin_save();
    session.journal.saved(revision, [9; 32]).expect("memory has room");
    session.history.saved(revision);
    assert_eq!(session.turn(false), Ok(true));
    assert_eq!(session.ask(&Command::SetNotes("\"blue\nbox\"".into())), Ok(true));
    session
}

#[test]
fn a_replayed_session_is_the_session_with_its_undo_steps() {
    let paper = Paper::default();
    let mut session = short_session(&paper);
    let mut replayed = read(&paper.bytes()).expect("sound");
    assert!(replayed.damage.is_none());
    assert_eq!(replayed.changes, session.shown.len() - 1);
    assert_eq!(replayed.dance, session.dance);
    session.history.pause();
    assert_eq!(replayed.history, session.history);
    assert!(replayed.history.unsaved());
    while replayed.history.undo(&mut replayed.dance).expect("fits").is_some() {}
    assert_eq!(replayed.dance, small());
}

/// Every prefix: what is read is what was on the screen after as many changes as are whole.
#[test]
fn a_journal_cut_at_any_byte_gives_the_state_after_its_last_whole_line() {
    let paper = Paper::default();
    let session = short_session(&paper);
    let bytes = paper.bytes();
    let header = bytes.iter().position(|&byte| byte == b'\n').expect("a first line") + 1;
    let mut reached = Vec::new();
    for cut in 0..=bytes.len() {
        let Some(replayed) = read(&bytes[..cut]) else {
            assert!(cut < header, "byte {cut}");
            continue;
        };
        assert!(cut >= header, "byte {cut}");
        assert_eq!(replayed.dance, session.shown[replayed.changes], "byte {cut}");
        let whole_lines = bytes[..cut].iter().filter(|&&byte| byte == b'\n').count();
        // The save is a line and no change.
        let saves =
            usize::from(bytes[..cut].windows(9).any(|window| window == b"{\"saved\":") && whole_lines > 6);
        assert_eq!(replayed.changes, whole_lines - 1 - saves, "byte {cut}");
        let torn = replayed.damage.map_or(0, |damage| {
            assert!(damage.only_the_last_line);
            damage.bytes
        });
        assert_eq!(torn, cut - bytes[..cut].iter().rposition(|&byte| byte == b'\n').expect("a line") - 1);
        reached.push(replayed.changes);
    }
    reached.dedup();
    assert_eq!(reached, (0..session.shown.len()).collect::<Vec<_>>());
}

/// Every bit: one of the earlier states or nothing, never another state. The checksum has 64 bits.
#[test]
fn a_flipped_bit_ends_what_is_read_and_is_never_obeyed() {
    let paper = Paper::default();
    let session = short_session(&paper);
    let mut bytes = paper.bytes();
    let mut line_starts = vec![0];
    line_starts.extend(bytes.iter().enumerate().filter(|(_, byte)| **byte == b'\n').map(|(at, _)| at + 1));
    for at in 0..bytes.len() {
        let line = line_starts.iter().filter(|&&start| start <= at).count() - 1;
        for bit in 0..8 {
            bytes[at] ^= 1 << bit;
            match read(&bytes) {
                Some(replayed) => {
                    assert!(line > 0, "bit {bit} of byte {at} in the first line");
                    assert!(replayed.damage.is_some(), "bit {bit} of byte {at}");
                    let saves = usize::from(line > 6);
                    assert_eq!(replayed.changes, line - 1 - saves, "bit {bit} of byte {at}");
                    assert_eq!(replayed.dance, session.shown[replayed.changes]);
                }
                None => assert_eq!(line, 0, "bit {bit} of byte {at}"),
            }
            bytes[at] ^= 1 << bit;
        }
    }
}

#[test]
fn lines_that_are_missing_doubled_swapped_or_foreign_end_what_is_read() {
    let paper = Paper::default();
    let session = short_session(&paper);
    let bytes = paper.bytes();
    let lines: Vec<&[u8]> = bytes.split_inclusive(|&byte| byte == b'\n').collect();
    let other = Paper::default();
    let mut foreign = Session::on(&other, Dance { title: "Another".into(), ..small() });
    foreign.ask(&add(3.0, "clap")).expect("memory has room");
    let other = other.bytes();
    let foreign: Vec<&[u8]> = other.split_inclusive(|&byte| byte == b'\n').collect();
    let cases: [(&str, Vec<&[u8]>); 4] = [
        ("missing", [&lines[..2], &lines[3..]].concat()),
        ("doubled", [&lines[..2], &lines[1..]].concat()),
        ("swapped", [&lines[..2], &[lines[3], lines[2]]].concat()),
        ("foreign", [&lines[..2], &foreign[1..]].concat()),
    ];
    for (name, lines) in cases {
        let replayed = read(&lines.concat()).expect("the first line is sound");
        assert_eq!(replayed.changes, 1, "{name}");
        assert_eq!(replayed.dance, session.shown[1], "{name}");
    }
}

proptest! {
    #[test]
    fn any_session_is_replayed_as_it_was(
        start in any_dance(),
        asked in prop::collection::vec((any_command(), 0..8u8), 0..20),
        cut in any::<prop::sample::Index>(),
    ) {
        let paper = Paper::default();
        let mut session = Session::on(&paper, start);
        for (command, then) in asked {
            session.ask(&command).expect("memory has room");
            match then {
                0 => drop(session.turn(true)),
                1 => drop(session.turn(false)),
                _ => {}
            }
        }
        session.journal.catch_up().expect("memory has room");
        let bytes = paper.bytes();
        let whole = read(&bytes).expect("sound");
        session.history.pause();
        prop_assert_eq!(&whole.dance, &session.dance);
        prop_assert_eq!(&whole.history, &session.history);
        if let Some(part) = read(&bytes[..cut.index(bytes.len())]) {
            prop_assert_eq!(&part.dance, &session.shown[part.changes]);
        }
    }

    #[test]
    fn noise_is_no_journal(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        prop_assert!(read(&bytes).is_none());
    }
}

/// ENOSPC, EIO, EACCES, EROFS and ENODEV are 28, 5, 13, 30 and 19 on Linux (errno(3)).
#[cfg(target_os = "linux")]
#[test]
fn a_refused_write_keeps_the_work_says_one_sentence_and_is_made_good_later() {
    let cases = [
        (28, "the disk is full"),
        (5, "the disk or drive does not answer"),
        (13, "you may not write there"),
        (30, "the disk is read-only"),
        (19, "no such device"),
    ];
    for (error, reason) in cases {
        // However much of a line the disk still took.
        for room in [0, 1, 30, 200] {
            let paper = Paper::default();
            let mut session = Session::on(&paper, small());
            assert_eq!(session.ask(&add(3.0, "clap")), Ok(true));
            paper.set(|sheet| sheet.room = Some((room, error)));
            let expected = format!(
                "cannot keep the recovery copy '.goats.journal': {reason}; your work is still here, save it \
                 somewhere else"
            );
            assert_eq!(session.ask(&add(5.0, "jump")), Err(expected.clone()));
            assert_eq!(session.ask(&add(7.0, "walk")), Err(expected.clone()));
            assert_eq!(session.journal.behind(), 2);
            assert_eq!(session.shown.len(), 4);
            assert_eq!(read(&paper.bytes()).expect("sound").dance, session.shown[1]);
            // A torn line that cannot be cut off is not written after.
            paper.set(|sheet| (sheet.room, sheet.cut_fails) = (None, true));
            assert!(session.journal.catch_up().is_err());
            assert_eq!(read(&paper.bytes()).expect("sound").dance, session.shown[1]);
            paper.set(|sheet| sheet.cut_fails = false);
            assert!(session.journal.catch_up().is_ok());
            assert_eq!(session.journal.behind(), 0);
            let replayed = read(&paper.bytes()).expect("sound");
            assert_eq!((replayed.dance, replayed.damage.is_none()), (session.dance, true));
        }
    }
}

#[cfg(target_os = "linux")]
#[test]
fn what_cannot_be_forced_to_the_disk_is_told_once_and_soon() {
    let paper = Paper::default();
    paper.set(|sheet| sheet.force_fails = Some(5));
    let mut session = Session::on(&paper, small());
    // The thread that forces may be done before the change is, or after: both are told, and never twice.
    let told = session.ask(&add(3.0, "clap")).err().or_else(|| {
        (0..500).find_map(|_| {
            std::thread::sleep(Duration::from_millis(20));
            session.journal.trouble().map(|error| error.to_string())
        })
    });
    let told = told.expect("the thread forces soon");
    assert!(told.contains("the disk or drive does not answer"), "{told}");
    assert!(session.journal.trouble().is_none(), "told once");
    assert_eq!((session.shown.len(), session.journal.behind()), (2, 0), "nothing is lost");
}

#[test]
fn everything_is_forced_to_the_disk_before_a_journal_is_let_go() {
    let paper = Paper::default();
    let session = short_session(&paper);
    drop(session.journal);
    paper.set(|sheet| assert_eq!(sheet.forced, sheet.bytes.len()));
}

/// A folder with a saved dance, and a second place for journals.
struct Desk {
    folder: tempfile::TempDir,
}

impl Desk {
    fn new() -> Self {
        let desk = Self { folder: tempfile::tempdir().expect("a scratch folder") };
        fs::write(desk.file(), to_json(&small())).expect("a writable folder");
        desk
    }

    fn file(&self) -> std::path::PathBuf {
        self.folder.path().join("goats.dance.json")
    }

    fn journal(&self) -> std::path::PathBuf {
        self.folder.path().join(".goats.dance.json.journal")
    }

    fn places(&self) -> Places {
        Places::with_state_folder(&self.file(), Some(self.folder.path().join("state")))
    }

    fn stamp(&self) -> Option<[u8; 32]> {
        fs::read(self.file()).ok().map(|bytes| *blake3::hash(&bytes).as_bytes())
    }

    /// Everything in the folder but the dance itself.
    fn litter(&self) -> Vec<String> {
        let entries = fs::read_dir(self.folder.path()).expect("a folder");
        let names = entries.map(|entry| entry.expect("readable").file_name().to_string_lossy().into_owned());
        let mut names: Vec<String> = names.filter(|name| name != "goats.dance.json").collect();
        names.sort();
        names
    }
}

#[test]
fn work_is_recovered_continued_and_cleared_away() {
    let desk = Desk::new();
    let lock = Lock::take(&desk.places()).expect("nobody else");
    assert!(recover(&desk.places(), &lock).expect("readable").is_none());
    let mut session = Session::with(Journal::new(&desk.places(), &small(), desk.stamp()), small());
    assert_eq!(desk.litter(), [".goats.dance.json.lock"], "looking leaves no journal");
    assert_eq!(session.ask(&add(3.0, "clap")), Ok(true));
    assert_eq!(desk.litter(), [".goats.dance.json.journal", ".goats.dance.json.lock"]);
    let shown = session.dance.clone();
    drop(session);

    let found = recover(&desk.places(), &lock).expect("readable").expect("one change");
    assert_eq!((&found.dance, found.changes), (&shown, 1));
    assert_eq!(found.compared_with(desk.stamp()), OnDiskNow::AsKnown);
    assert_eq!(found.compared_with(None), OnDiskNow::Changed);
    let mut session = Session::with(found.journal, found.dance);
    session.history = found.history;
    assert_eq!(session.ask(&add(5.0, "jump")), Ok(true));
    assert_eq!(session.turn(true), Ok(true));
    assert_eq!(session.turn(true), Ok(true), "an edit from before the crash can be undone");
    assert_eq!(session.turn(false), Ok(true));
    drop(session);

    let found = recover(&desk.places(), &lock).expect("readable").expect("five changes");
    assert_eq!((&found.dance, found.changes), (&shown, 5));
    fs::write(desk.file(), to_json(&found.dance)).expect("a writable folder");
    assert_eq!(found.compared_with(desk.stamp()), OnDiskNow::TheSame);
    found.journal.remove().expect("it is there");
    drop(lock);
    assert_eq!(desk.litter(), Vec::<String>::new());
}

#[test]
fn a_cut_last_line_is_cut_off_and_damage_in_the_middle_is_kept_aside() {
    let desk = Desk::new();
    let lock = Lock::take(&desk.places()).expect("nobody else");
    let mut session = Session::with(Journal::new(&desk.places(), &small(), desk.stamp()), small());
    for command in [add(3.0, "clap"), add(5.0, "jump"), add(7.0, "walk")] {
        assert_eq!(session.ask(&command), Ok(true));
    }
    let shown = session.shown.clone();
    drop(session);
    let whole = fs::read(desk.journal()).expect("just written");

    fs::write(desk.journal(), &whole[..whole.len() - 9]).expect("a writable folder");
    let found = recover(&desk.places(), &lock).expect("readable").expect("two changes");
    assert_eq!((found.changes, &found.dance), (2, &shown[2]));
    let (damage, copy) = found.damage.expect("the last line is cut");
    assert_eq!((damage.only_the_last_line, copy), (true, None));
    drop(found.journal);
    assert!(read(&fs::read(desk.journal()).expect("still there")).expect("sound").damage.is_none());

    let mut broken = whole.clone();
    let second = whole.iter().position(|&byte| byte == b'\n').expect("lines") + 40;
    broken[second] ^= 1;
    fs::write(desk.journal(), &broken).expect("a writable folder");
    let found = recover(&desk.places(), &lock).expect("readable").expect("the first state");
    assert_eq!((found.changes, &found.dance), (0, &shown[0]));
    let (damage, copy) = found.damage.expect("damaged");
    assert!(!damage.only_the_last_line);
    assert_eq!(fs::read(copy.expect("a copy")).expect("readable"), broken);
    drop(found.journal);

    let mut headless = whole;
    headless[100] ^= 1;
    fs::write(desk.journal(), &headless).expect("a writable folder");
    let error = recover(&desk.places(), &lock).expect_err("of no use");
    let RecoverError::Damaged { aside } = &error else { panic!("{error}") };
    assert_eq!(fs::read(aside).expect("kept"), headless);
    assert_eq!(
        error.to_string(),
        format!(
            "the recovery copy of this dance is damaged from its beginning and cannot be used; it is kept as '{}'",
            aside.display()
        )
    );
    assert!(!desk.journal().exists());
}

#[test]
fn an_unfinished_first_line_is_no_work_and_an_unasked_journal_is_moved_aside() {
    let desk = Desk::new();
    let lock = Lock::take(&desk.places()).expect("nobody else");
    fs::write(desk.journal(), b"00000").expect("a writable folder");
    assert!(recover(&desk.places(), &lock).expect("readable").is_none());
    assert!(!desk.journal().exists());
    fs::write(desk.journal(), b"something else").expect("a writable folder");
    let mut session = Session::with(Journal::new(&desk.places(), &small(), None), small());
    assert_eq!(session.ask(&add(3.0, "clap")), Ok(true));
    let aside = desk.folder.path().join(".goats.dance.json.journal.aside-1");
    assert_eq!(fs::read(aside).expect("kept"), b"something else");
}

#[test]
fn a_dance_without_a_file_is_recovered_even_unchanged() {
    let desk = Desk::new();
    let lock = Lock::take(&desk.places()).expect("nobody else");
    let mut journal = Journal::new(&desk.places(), &small(), None);
    journal.catch_up().expect("a writable folder");
    drop(journal);
    let found = recover(&desk.places(), &lock).expect("readable").expect("the draft");
    assert_eq!((found.changes, &found.dance), (0, &small()));
    assert!(found.history.unsaved());
    assert_eq!(found.compared_with(None), OnDiskNow::AsKnown);
}

/// A folder that does not exist stands in for one that may not be written: these tests may run as an administrator,
/// whom nothing is forbidden.
#[test]
fn where_nothing_may_be_written_beside_the_dance_journal_and_lock_lie_in_the_users_folder() {
    let desk = Desk::new();
    let state = desk.folder.path().join("state");
    let nowhere = desk.folder.path().join("locked-away").join("goats.dance.json");
    let places = Places::with_state_folder(&nowhere, Some(state.clone()));
    let lock = Lock::take(&places).expect("nobody else");
    assert!(lock.is_sure());
    assert!(Lock::take(&places).is_err());
    let mut session = Session::with(Journal::new(&places, &small(), Some([1; 32])), small());
    assert_eq!(session.ask(&add(3.0, "clap")), Ok(true));
    assert!(session.journal.path().expect("written").starts_with(&state));
    let shown = session.dance.clone();
    drop(session);
    assert_eq!(recover(&places, &lock).expect("readable").expect("one change").dance, shown);

    let other = desk.folder.path().join("also-locked-away").join("goats.dance.json");
    let other = Places::with_state_folder(&other, Some(state));
    assert!(Lock::take(&other).expect("another dance of that name").is_sure());
    let without = Places::with_state_folder(&nowhere, None);
    assert!(!Lock::take(&without).expect("no lock can be had").is_sure());
    let mut session = Session::with(Journal::new(&without, &small(), None), small());
    assert_eq!(
        session.ask(&add(3.0, "clap")),
        Err("cannot keep the recovery copy: its folder is gone; your work is still here, save it somewhere else".into())
    );
}

#[test]
fn the_second_program_is_told_that_the_dance_is_open() {
    let desk = Desk::new();
    let first = Lock::take(&desk.places()).expect("nobody else");
    assert!(first.is_sure());
    let told = Lock::take(&desk.places()).expect_err("held");
    assert_eq!(
        told.to_string(),
        "this dance is open in another Farandole: here it can be led and printed, but not changed; close it there first"
    );
    drop(first);
    assert_eq!(desk.litter(), Vec::<String>::new());
    assert!(Lock::take(&desk.places()).is_ok());
}

#[cfg(unix)]
#[test]
fn a_dance_opened_through_a_link_is_the_same_dance() {
    let desk = Desk::new();
    let link = desk.folder.path().join("link.dance.json");
    std::os::unix::fs::symlink(desk.file(), &link).expect("links exist on unix");
    let first = Lock::take(&desk.places()).expect("nobody else");
    assert_eq!(Lock::take(&Places::of(&link)).err(), Some(Held));
    drop(first);
}

const HELPER_FILE: &str = "FARANDOLE_TEST_DANCE";

/// Not a test of its own: the other program in the tests below, which ends only when it is killed. It edits the dance
/// named in its environment and says after each change how many the screen has shown.
#[test]
#[ignore = "run in a process of its own by other tests"]
fn another_program_at_work() {
    let file = std::env::var(HELPER_FILE).expect("started by another test");
    let places = Places::with_state_folder(Path::new(&file), None);
    let _lock = Lock::take(&places).expect("nobody else");
    let mut session = Session::with(Journal::new(&places, &small(), Some([1; 32])), small());
    for number in 1.. {
        session.history.pause();
        assert_eq!(session.ask(&Command::SetNotes(format!("note {number}"))), Ok(true));
        writeln!(io::stderr(), "shown {number}").expect("another test listens");
    }
}

fn start_another_program(desk: &Desk) -> (process::Child, impl Iterator<Item = String>) {
    let mut child = process::Command::new(std::env::current_exe().expect("this test"))
        .args(["--exact", "another_program_at_work", "--ignored", "--nocapture"])
        .env(HELPER_FILE, desk.file())
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .expect("this test can be started");
    let lines = BufReader::new(child.stderr.take().expect("piped")).lines();
    (child, lines.map_while(Result::ok).filter(|line| line.starts_with("shown ")))
}

/// `kill` is SIGKILL on Unix and TerminateProcess on Windows: the program has no say in it.
#[test]
fn a_killed_program_loses_nothing_that_was_shown_and_leaves_no_lock() {
    for changes in [1, 2, 50, 333] {
        let desk = Desk::new();
        let (mut child, mut lines) = start_another_program(&desk);
        let seen = lines.by_ref().take(changes).count();
        assert_eq!(seen, changes, "it works until it is killed");
        assert_eq!(Lock::take(&desk.places()).err(), Some(Held), "it is at work");
        child.kill().expect("it runs");
        child.wait().expect("it was killed");
        let shown = changes + lines.count();
        let lock = Lock::take(&desk.places()).expect("the dead hold no locks");
        assert!(lock.is_sure());
        let found = recover(&desk.places(), &lock).expect("readable").expect("changes");
        // The last change may have been kept and not yet shown.
        assert!(found.changes == shown || found.changes == shown + 1, "{} of {shown}", found.changes);
        assert_eq!(found.dance.notes, format!("note {}", found.changes));
    }
}
