//! A dance from its draft to a clean check, in a pseudo-terminal, with the program killed in the middle of the work.
#![cfg(unix)]

use farandole::grid::Anchor;
use farandole::shelf;
use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};
use std::fs;
use std::io::{Read, Write};
use std::num::NonZero;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};
use tempfile::TempDir;

const PROGRAM: &str = env!("CARGO_BIN_EXE_farandole");

/// A folder with a recording, a home of its own, and programs that live there.
struct Home {
    folder: TempDir,
}

impl Home {
    fn new() -> Self {
        let home = Self { folder: tempfile::tempdir().expect("a scratch folder") };
        let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("assets/demo/goats-on-the-wall.ogg");
        fs::copy(demo, home.path("goats.ogg")).expect("the demo is whole");
        home
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn environment(&self) -> [(&'static str, PathBuf); 3] {
        [
            ("HOME", self.folder.path().to_owned()),
            ("FARANDOLE_CACHE_DIR", self.path("cache")),
            ("XDG_STATE_HOME", self.path("state")),
        ]
    }

    fn runs(&self, arguments: &[&str]) -> std::process::Output {
        let mut command = Command::new(PROGRAM);
        command.args(arguments).current_dir(self.folder.path()).envs(self.environment());
        command.output().expect("the program starts")
    }

    fn repair(&self) -> Session {
        self.opens("repair")
    }

    fn opens(&self, what: &str) -> Session {
        self.opens_with(what, &[])
    }

    fn opens_with(&self, what: &str, more: &[&str]) -> Session {
        let size = PtySize { rows: 24, cols: 80, pixel_width: 0, pixel_height: 0 };
        let pair = native_pty_system().openpty(size).expect("a pseudo-terminal");
        let mut command = CommandBuilder::new(PROGRAM);
        command.args([what, "goats.dance.json", "--silent"]);
        command.args(more);
        command.cwd(self.folder.path());
        command.env("TERM", "xterm-256color");
        command.env_remove("NO_COLOR");
        for (name, value) in self.environment() {
            command.env(name, value);
        }
        let child = pair.slave.spawn_command(command).expect("the program starts");
        let cells = |count: u16| NonZero::new(count).expect("a terminal has cells");
        let screen = Arc::new(Mutex::new(vt100::Parser::new(cells(24), cells(80), 0)));
        let mut reader = pair.master.try_clone_reader().expect("a reader");
        let seen = Arc::clone(&screen);
        thread::spawn(move || {
            let mut buffer = [0; 4096];
            while let Ok(count @ 1..) = reader.read(&mut buffer) {
                seen.lock().expect("whole").process(&buffer[..count]);
            }
        });
        let keys = pair.master.take_writer().expect("a writer");
        Session { screen, keys, child, _master: pair.master }
    }
}

struct Session {
    screen: Arc<Mutex<vt100::Parser>>,
    keys: Box<dyn Write + Send>,
    child: Box<dyn Child + Send + Sync>,
    _master: Box<dyn MasterPty + Send>,
}

impl Session {
    fn press(&mut self, keys: &str) {
        self.keys.write_all(keys.as_bytes()).expect("the terminal takes keys");
        self.keys.flush().expect("the terminal takes keys");
    }

    fn text(&self) -> String {
        self.screen.lock().expect("whole").screen().contents()
    }

    fn shows(&self, words: &str) {
        let started = Instant::now();
        while !self.text().contains(words) {
            assert!(started.elapsed() < Duration::from_secs(30), "'{words}' never came:\n{}", self.text());
            thread::sleep(Duration::from_millis(10));
        }
    }

    fn ends(&mut self) -> u32 {
        let started = Instant::now();
        loop {
            if let Some(status) = self.child.try_wait().expect("a child") {
                return status.exit_code();
            }
            assert!(started.elapsed() < Duration::from_secs(30), "it did not end:\n{}", self.text());
            thread::sleep(Duration::from_millis(10));
        }
    }

    /// As `kill -9`: nothing can be tidied up.
    fn is_killed(&mut self) {
        let id = self.child.process_id().expect("running").to_string();
        assert!(Command::new("kill").args(["-KILL", &id]).status().expect("kill").success());
        self.ends();
    }
}

/// Right, so often.
fn right(times: usize) -> String {
    "\x1b[C".repeat(times)
}

#[test]
fn a_drafted_dance_is_repaired_killed_recovered_and_checks_out_clean() {
    let home = Home::new();
    let path = home.path("goats.dance.json");
    let drafted = home.runs(&["draft", "goats.ogg", "--output", "goats.dance.json"]);
    assert!(drafted.status.success(), "{}", String::from_utf8_lossy(&drafted.stderr));
    assert_eq!(home.runs(&["check", "goats.dance.json"]).status.code(), Some(0), "the draft is clean");
    let draft = shelf::load(&path).expect("drafted").dance;

    let mut session = home.repair();
    session.shows("repairing the beats");
    session.shows("sure");
    session.press(&right(5));
    session.shows("count 6");
    session.press("...");
    session.shows("moved by up to 30 ms");
    session.press(&right(8));
    session.press("1");
    session.shows("set count one");
    // Nothing is in the file yet, and the program is gone without a word.
    session.is_killed();
    assert_eq!(shelf::load(&path).expect("untouched").dance, draft);

    // What was on the screen comes back, and a second program may only look meanwhile.
    let mut session = home.repair();
    session.shows("changes are in the recovery copy");
    session.press("y");
    session.shows("taken in");
    let mut second = home.repair();
    second.shows("open in another");
    second.press("q");
    assert_eq!(second.ends(), 0);
    // Count one is taken back, the nudged beat stays.
    session.press("u");
    session.shows("undone: set count one");
    session.press("q");
    assert_eq!(session.ends(), 0);

    let repaired = shelf::load(&path).expect("saved").dance;
    let beat = draft.grid.beats()[5];
    let nudged: Vec<f64> = repaired
        .anchors
        .iter()
        .filter_map(|anchor| if let Anchor::Beat { at } = anchor { Some(at.0) } else { None })
        .collect();
    assert!(nudged.len() == 1 && (nudged[0] - beat.0 - 0.03).abs() < 2e-4, "{nudged:?} for {beat:?}");
    assert_eq!(repaired.anchors.len(), 1);
    let checked = home.runs(&["check", "goats.dance.json"]);
    assert_eq!(checked.status.code(), Some(0), "{}", String::from_utf8_lossy(&checked.stdout));
    // No lock and no journal are left behind.
    let mut names: Vec<String> = fs::read_dir(home.folder.path())
        .expect("a folder")
        .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    assert_eq!(names, ["cache", "goats.dance.json", "goats.ogg"]);
}

/// Every key of the count sheet stands in its page, as the program itself says it.
#[test]
fn the_page_of_the_count_sheet_has_every_key() {
    let page = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/count-sheet.md");
    let page = fs::read_to_string(page).expect("docs are in the repository");
    for binding in farandole::screen::sheet::KEYS {
        let row = format!("| {} | {} |\n", binding.name.replace('|', "\\|"), binding.help);
        assert!(page.contains(&row), "docs/count-sheet.md lacks the row\n{row}");
    }
}

#[test]
fn what_was_written_on_the_count_sheet_outlives_the_program() {
    let home = Home::new();
    assert!(home.runs(&["draft", "goats.ogg"]).status.success());
    let written = || fs::read_to_string(home.path("goats.dance.json")).expect("drafted");
    let before = written();
    assert!(!before.contains(" of ours"));

    let mut sheet = home.opens("sheet");
    sheet.shows("all keys");
    sheet.press("w");
    sheet.press(" of ours\r");
    sheet.shows(" of ours");
    sheet.is_killed();
    assert_eq!(written(), before, "it was not saved yet");

    let mut again = home.opens("sheet");
    again.shows("y ");
    again.press("y");
    again.shows(" of ours");
    again.press("u");
    again.shows("undone");
    again.press("z");
    again.shows(" of ours");
    again.press("q");
    assert_eq!(again.ends(), 0);
    assert!(written().contains(" of ours"));
}

#[test]
fn the_beats_of_a_file_are_laid_in_when_the_screen_opens_and_can_be_undone_there() {
    let home = Home::new();
    assert!(home.runs(&["draft", "goats.ogg"]).status.success());
    let drafted = shelf::load(&home.path("goats.dance.json")).expect("drafted").dance;
    let times: String = drafted.grid.beats().iter().map(|beat| format!("{:.4}\n", beat.0 + 0.015)).collect();
    fs::write(home.path("claps.txt"), times).expect("a writable folder");
    let mut session = home.opens_with("repair", &["--beats", "claps.txt"]);
    session.shows("take the beats of a file: ");
    session.shows("moved by up to 15 ms");
    session.press("u");
    session.shows("undone: take the beats of a file");
    session.press("r");
    session.shows("done again: take the beats of a file");
    session.press("l");
    session.shows("beats from a file");
    session.press("l\u{1b}");
    assert_eq!(session.ends(), 0);
    let kept = shelf::load(&home.path("goats.dance.json")).expect("saved").dance;
    assert!(matches!(&kept.anchors[..], [Anchor::Given { beats, .. }] if beats.len() == drafted.grid.len()));
    assert!((kept.grid.beats()[0].0 - drafted.grid.beats()[0].0 - 0.015).abs() < 2e-4);
    assert_eq!(kept.cues.len(), drafted.cues.len());
}
