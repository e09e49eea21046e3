//! A teacher's laptop in small: a folder with a recording, and the program in pseudo-terminals.

#![allow(dead_code, reason = "every test binary uses its own share of these")]

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

pub(crate) const PROGRAM: &str = env!("CARGO_BIN_EXE_farandole");

/// A folder with a recording, a home of its own, and programs that live there.
pub(crate) struct Home {
    pub(crate) folder: TempDir,
}

impl Home {
    pub(crate) fn new() -> Self {
        let home = Self { folder: tempfile::tempdir().expect("a scratch folder") };
        let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("assets/demo/goats-on-the-wall.ogg");
        fs::copy(demo, home.path("goats.ogg")).expect("the demo is whole");
        home
    }

    /// One with the demo dances in its folder `lessons`.
    pub(crate) fn with_lessons() -> Self {
        let home = Self { folder: tempfile::tempdir().expect("a scratch folder") };
        assert!(home.runs(&["demo", "--copy-to", "lessons"]).status.success());
        home
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub(crate) fn environment(&self) -> [(&'static str, PathBuf); 3] {
        [
            ("HOME", self.folder.path().to_owned()),
            ("FARANDOLE_CACHE_DIR", self.path("cache")),
            ("XDG_STATE_HOME", self.path("state")),
        ]
    }

    pub(crate) fn runs(&self, arguments: &[&str]) -> std::process::Output {
        let mut command = Command::new(PROGRAM);
        command.args(arguments).current_dir(self.folder.path()).envs(self.environment());
        command.output().expect("the program starts")
    }

    pub(crate) fn repair(&self) -> Session {
        self.opens("repair")
    }

    pub(crate) fn opens(&self, what: &str) -> Session {
        self.opens_with(what, &[])
    }

    pub(crate) fn opens_with(&self, what: &str, options: &[&str]) -> Session {
        self.opens_on(what, options, &[("TERM", "xterm-256color")])
    }

    /// The same on a terminal that promises what these variables say.
    pub(crate) fn opens_on(&self, what: &str, options: &[&str], terminal: &[(&str, &str)]) -> Session {
        let arguments: Vec<&str> =
            [what, "goats.dance.json", "--silent"].into_iter().chain(options.iter().copied()).collect();
        self.starts(&arguments, self.folder.path(), terminal)
    }

    /// The program with any arguments, in any folder, on a terminal that promises what these variables say.
    pub(crate) fn starts(&self, arguments: &[&str], within: &Path, terminal: &[(&str, &str)]) -> Session {
        let size = PtySize { rows: 24, cols: 80, pixel_width: 0, pixel_height: 0 };
        let pair = native_pty_system().openpty(size).expect("a pseudo-terminal");
        let mut command = CommandBuilder::new(PROGRAM);
        command.args(arguments);
        command.cwd(within);
        for name in ["NO_COLOR", "COLORTERM", "WT_SESSION"] {
            command.env_remove(name);
        }
        for (name, value) in terminal {
            command.env(name, value);
        }
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

pub(crate) struct Session {
    screen: Arc<Mutex<vt100::Parser>>,
    keys: Box<dyn Write + Send>,
    child: Box<dyn Child + Send + Sync>,
    _master: Box<dyn MasterPty + Send>,
}

impl Session {
    pub(crate) fn press(&mut self, keys: &str) {
        self.keys.write_all(keys.as_bytes()).expect("the terminal takes keys");
        self.keys.flush().expect("the terminal takes keys");
    }

    pub(crate) fn text(&self) -> String {
        self.screen.lock().expect("whole").screen().contents()
    }

    pub(crate) fn shows(&self, words: &str) {
        let started = Instant::now();
        while !self.text().contains(words) {
            assert!(started.elapsed() < Duration::from_secs(60), "'{words}' never came:\n{}", self.text());
            thread::sleep(Duration::from_millis(10));
        }
    }

    pub(crate) fn ends(&mut self) -> u32 {
        let started = Instant::now();
        loop {
            if let Some(status) = self.child.try_wait().expect("a child") {
                return status.exit_code();
            }
            assert!(started.elapsed() < Duration::from_secs(30), "it did not end:\n{}", self.text());
            thread::sleep(Duration::from_millis(10));
        }
    }

    /// What the program has asked of the terminal: whether it tells of the mouse, and in which writing.
    pub(crate) fn mouse(&self) -> (vt100::MouseProtocolMode, vt100::MouseProtocolEncoding) {
        let parser = self.screen.lock().expect("whole");
        (parser.screen().mouse_protocol_mode(), parser.screen().mouse_protocol_encoding())
    }

    /// Waits until the terminal is asked not to tell of the mouse any more: what the program wrote last may still be on
    /// its way when it has ended.
    pub(crate) fn gives_the_mouse_back(&self) {
        let started = Instant::now();
        while self.mouse().0 != vt100::MouseProtocolMode::None {
            assert!(started.elapsed() < Duration::from_secs(10), "the terminal still tells of the mouse");
            thread::sleep(Duration::from_millis(10));
        }
    }

    /// The colours that letters have on the screen.
    pub(crate) fn colours(&self) -> Vec<vt100::Color> {
        let parser = self.screen.lock().expect("whole");
        let cells = (0..24).flat_map(|row| (0..80).map(move |column| (row, column)));
        let mut found = Vec::new();
        for (row, column) in cells {
            if let Some(cell) = parser.screen().cell(row, column)
                && !found.contains(&cell.fgcolor())
            {
                found.push(cell.fgcolor());
            }
        }
        found
    }

    /// The column and row, from 0, at which a line of the screen that begins with `start` says `words`.
    pub(crate) fn place(&self, start: &str, words: &str) -> (u16, u16) {
        let text = self.text();
        let found = text.lines().enumerate().find_map(|(row, line)| {
            let at = line.starts_with(start).then(|| line.find(words)).flatten()?;
            Some((line[..at].chars().count() as u16, row as u16))
        });
        found.unwrap_or_else(|| panic!("no line '{start}' with '{words}':\n{text}"))
    }

    /// A click with the left button, as a terminal writes it (xterm's control sequences, SGR 1006).
    pub(crate) fn click(&mut self, (column, row): (u16, u16)) {
        let (column, row) = (column + 1, row + 1);
        self.press(&format!("\x1b[<0;{column};{row}M\x1b[<0;{column};{row}m"));
    }

    /// Asks it to end, as a closing system does.
    pub(crate) fn is_asked_to_end(&mut self) {
        let id = self.child.process_id().expect("running").to_string();
        assert!(Command::new("kill").args(["-TERM", &id]).status().expect("kill").success());
    }

    /// As `kill -9`: nothing can be tidied up.
    pub(crate) fn is_killed(&mut self) {
        let id = self.child.process_id().expect("running").to_string();
        assert!(Command::new("kill").args(["-KILL", &id]).status().expect("kill").success());
        self.ends();
    }
}

/// Right, so often.
pub(crate) fn right(times: usize) -> String {
    "\x1b[C".repeat(times)
}
