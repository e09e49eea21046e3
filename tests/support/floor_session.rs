//! The floor's example in a pseudo-terminal of its own, for the tests that lead from outside.

#![allow(dead_code, reason = "every test binary uses its own share of these")]

use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};
use std::io::{Read, Write};
use std::num::NonZero;
use std::path::PathBuf;
use std::process::Command;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, Once};
use std::thread;
use std::time::{Duration, Instant};

/// The example that leads an invented dance. Cargo builds examples before it runs all tests; for one test alone it is built here.
pub(crate) fn demo() -> PathBuf {
    static ONCE: Once = Once::new();
    let test = std::env::current_exe().expect("a running test has a path");
    let built = test.ancestors().nth(2).expect("tests are built two folders down");
    let demo = built.join("examples/floor_demo");
    ONCE.call_once(|| {
        if !demo.exists() {
            let mut cargo = Command::new(env!("CARGO"));
            cargo.args(["build", "--example", "floor_demo", "--target-dir"]);
            cargo.arg(built.parent().expect("the profile's folder is in the target folder"));
            cargo.current_dir(env!("CARGO_MANIFEST_DIR"));
            assert!(
                cargo.status().expect("cargo runs its own tests").success(),
                "the example does not build"
            );
        }
    });
    assert!(demo.exists(), "'{}' is missing after building it", demo.display());
    demo
}

pub(crate) fn size_of(cells: u16) -> NonZero<u16> {
    NonZero::new(cells).expect("a terminal has cells")
}

/// A program in a terminal of its own.
pub(crate) struct Session {
    pub(crate) screen: Arc<Mutex<vt100::Parser>>,
    pub(crate) bytes: Arc<Mutex<Vec<u8>>>,
    pub(crate) keys: Option<Box<dyn Write + Send>>,
    pub(crate) child: Box<dyn Child + Send + Sync>,
    pub(crate) master: Option<Box<dyn MasterPty + Send>>,
    pub(crate) hung_up: Arc<AtomicBool>,
    /// While it is set nothing is read, as by a terminal that is busy or stopped.
    pub(crate) stuck: Arc<AtomicBool>,
}

impl Session {
    pub(crate) fn start(columns: u16, rows: u16, arguments: &[&str]) -> Self {
        let mut command = CommandBuilder::new(demo());
        command.args(arguments);
        Self::of(columns, rows, command)
    }

    /// Any command in a terminal.
    pub(crate) fn of(columns: u16, rows: u16, mut command: CommandBuilder) -> Self {
        let size = PtySize { rows, cols: columns, pixel_width: 0, pixel_height: 0 };
        let pair = native_pty_system().openpty(size).expect("a pseudo-terminal");
        command.env("TERM", "xterm-256color");
        command.env("COLORTERM", "truecolor");
        command.env_remove("NO_COLOR");
        let child = pair.slave.spawn_command(command).expect("the example starts");
        let screen = Arc::new(Mutex::new(vt100::Parser::new(size_of(rows), size_of(columns), 0)));
        let bytes = Arc::new(Mutex::new(Vec::new()));
        let mut reader = pair.master.try_clone_reader().expect("a reader");
        let (seen, all) = (Arc::clone(&screen), Arc::clone(&bytes));
        let hung_up = Arc::new(AtomicBool::new(false));
        let over = Arc::clone(&hung_up);
        let stuck = Arc::new(AtomicBool::new(false));
        let waits = Arc::clone(&stuck);
        thread::spawn(move || {
            let mut buffer = [0; 4096];
            while let Ok(count @ 1..) = reader.read(&mut buffer) {
                if over.load(Ordering::SeqCst) {
                    return;
                }
                seen.lock().expect("whole").process(&buffer[..count]);
                all.lock().expect("whole").extend_from_slice(&buffer[..count]);
                while waits.load(Ordering::SeqCst) {
                    thread::sleep(Duration::from_millis(20));
                }
            }
        });
        let keys = pair.master.take_writer().expect("a writer");
        Self { screen, bytes, keys: Some(keys), child, master: Some(pair.master), hung_up, stuck }
    }

    pub(crate) fn press(&mut self, keys: &str) {
        let writer = self.keys.as_mut().expect("not hung up");
        writer.write_all(keys.as_bytes()).expect("the terminal takes keys");
        writer.flush().expect("the terminal takes keys");
    }

    pub(crate) fn text(&self) -> String {
        self.screen.lock().expect("whole").screen().contents()
    }

    /// Waits until the screen shows `words`.
    pub(crate) fn shows(&self, words: &str) {
        let started = Instant::now();
        while !self.text().contains(words) {
            assert!(started.elapsed() < Duration::from_secs(20), "'{words}' never came:\n{}", self.text());
            thread::sleep(Duration::from_millis(20));
        }
    }

    /// Waits for the end; gives the exit code.
    pub(crate) fn ends(&mut self) -> u32 {
        let started = Instant::now();
        loop {
            if let Some(status) = self.child.try_wait().expect("a child") {
                thread::sleep(Duration::from_millis(100));
                return status.exit_code();
            }
            if started.elapsed() > Duration::from_secs(20) {
                let _ = self.child.kill();
                panic!("it did not end:\n{}", self.text());
            }
            thread::sleep(Duration::from_millis(20));
        }
    }

    /// The terminal is as it was: main screen, cursor visible.
    pub(crate) fn is_given_back(&self) {
        let parser = self.screen.lock().expect("whole");
        assert!(!parser.screen().alternate_screen(), "still on the second screen");
        assert!(!parser.screen().hide_cursor(), "the cursor is still hidden");
    }

    pub(crate) fn signal(&self, name: &str) {
        let id = self.child.process_id().expect("running").to_string();
        let sent = Command::new("kill").args([&format!("-{name}"), &id]).status().expect("kill");
        assert!(sent.success());
    }
}
