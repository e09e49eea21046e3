//! The shelf in a pseudo-terminal: dances are found, led and checked from it, and it is there again afterwards.
#![cfg(unix)]

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

/// A home with the demo dances in a folder of it.
struct Home {
    folder: TempDir,
}

impl Home {
    fn new() -> Self {
        let home = Self { folder: tempfile::tempdir().expect("a scratch folder") };
        assert!(home.runs(&["demo", "--copy-to", "lessons"]).status.success());
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

    fn opens(&self, arguments: &[&str], within: &Path) -> Session {
        let size = PtySize { rows: 24, cols: 80, pixel_width: 0, pixel_height: 0 };
        let pair = native_pty_system().openpty(size).expect("a pseudo-terminal");
        let mut command = CommandBuilder::new(PROGRAM);
        command.args(arguments);
        command.cwd(within);
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
            assert!(started.elapsed() < Duration::from_secs(60), "'{words}' never came:\n{}", self.text());
            thread::sleep(Duration::from_millis(10));
        }
    }

    fn ends(&mut self) -> u32 {
        let started = Instant::now();
        loop {
            if let Some(status) = self.child.try_wait().expect("a child") {
                return status.exit_code();
            }
            assert!(started.elapsed() < Duration::from_secs(30), "it never ended:\n{}", self.text());
            thread::sleep(Duration::from_millis(10));
        }
    }
}

#[test]
fn a_dance_is_found_checked_and_led_and_the_shelf_is_there_again() {
    let home = Home::new();
    let mut session = home.opens(&["shelf", "lessons", "--silent"], home.folder.path());
    session.shows("4 dances on the shelf 'lessons'");
    session.shows("not heard yet");
    session.press("goats");
    session.shows("with 'goats_': 1");
    session.press("\r");
    session.shows("lead the class");
    session.press("c");
    session.shows("(enter goes back to the shelf)");
    session.press("\r");
    // It was heard by the check.
    session.shows("counts, ");
    session.shows("teaches");
    session.press("\rl");
    session.shows("Your school's rules");
    session.press("q");
    session.shows("with 'goats': 1");
    session.press("\u{1b}");
    session.shows("4 dances");
    thread::sleep(Duration::from_millis(100));
    session.press("q");
    assert_eq!(session.ends(), 0);
    // Next time it is that folder, wherever the program is started.
    let mut session = home.opens(&[], Path::new("/"));
    session.shows("4 dances on the shelf");
    session.press("q");
    assert_eq!(session.ends(), 0);
}

#[test]
fn a_lesson_is_led_dance_by_dance() {
    let home = Home::new();
    fs::write(
        home.path("lessons/monday.txt"),
        "title: Monday\n5 shake hands\n4 goats-on-the-wall.dance.json twice\n2 evening-boat.dance.json\n",
    )
    .expect("a writable folder");
    let mut session = home.opens(&["programme", "monday.txt", "--lead", "--silent"], &home.path("lessons"));
    session.shows("1 of 3, from 0:00 on, 5 min");
    session.press("\r");
    session.shows("2 of 3, from 5:00 on, 4 min");
    session.shows("twice");
    session.press("\r");
    session.shows("Your school's rules");
    session.press("q");
    session.shows("3 of 3, from 9:00 on, 2 min");
    session.press("s\r");
    session.shows("that was the lesson");
    assert_eq!(session.ends(), 0);
}

#[test]
fn a_lesson_is_added_up() {
    let home = Home::new();
    fs::write(
        home.path("lessons/monday.txt"),
        "title: Monday\n5 shake hands\n1 goats-on-the-wall.dance.json twice\n3 evening-boat.dance.json\n",
    )
    .expect("a writable folder");
    let report = home.runs(&["programme", "lessons/monday.txt"]);
    let text = String::from_utf8_lossy(&report.stdout).into_owned();
    assert_eq!(report.status.code(), Some(0), "{text}");
    assert!(text.starts_with("Monday: 9 min, 2 dances, "), "{text}");
    let report = home.runs(&["programme", "lessons/monday.txt", "--json"]);
    let told: serde_json::Value = serde_json::from_slice(&report.stdout).expect("JSON");
    assert_eq!(told["items"][2]["from_seconds"], 360.0);
    assert_eq!(told["sum"]["dances"], 2);
}
