//! The recovery journal and the lock on a disk: work taken up again, damage kept aside, another program, a killed one.

#[path = "support/choreography.rs"]
mod choreography;
#[path = "support/session.rs"]
mod session;

use choreography::small;
use farandole::dance::edit::Command;
use farandole::dance::file::to_json;
use farandole::shelf::journal::{Journal, OnDiskNow, RecoverError, read, recover};
use farandole::shelf::{Held, Lock, Places};
use session::{Session, add};
use std::fs;
use std::io::{self, BufRead, BufReader, Write};
use std::path::Path;
use std::process::{self, Stdio};

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
fn a_dance_is_free_when_its_holder_has_left_and_looking_leaves_nothing() {
    let desk = Desk::new();
    assert!(Lock::is_free(&desk.places()));
    assert!(desk.litter().is_empty(), "looking makes no file");
    let lock = Lock::take(&desk.places()).expect("nobody else");
    assert!(!Lock::is_free(&desk.places()));
    assert_eq!(Lock::take(&desk.places()).err(), Some(Held));
    drop(lock);
    assert!(Lock::is_free(&desk.places()));
    // The empty file of a program that was killed.
    fs::write(desk.folder.path().join(".goats.dance.json.lock"), "").expect("a writable folder");
    assert!(Lock::is_free(&desk.places()));
    assert!(Lock::take(&desk.places()).is_ok());
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
