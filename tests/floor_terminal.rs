//! The floor in a pseudo-terminal: it draws, it leaves, and it gives the terminal back however it ends.
#![cfg(unix)]

use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};
use std::io::{Read, Write};
use std::num::NonZero;
use std::path::PathBuf;
use std::process::{Command, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, Once};
use std::thread;
use std::time::{Duration, Instant};

/// The example that leads an invented dance. Cargo builds examples before it runs all tests; for one test alone it is built here.
fn demo() -> PathBuf {
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

fn size_of(cells: u16) -> NonZero<u16> {
    NonZero::new(cells).expect("a terminal has cells")
}

/// A program in a terminal of its own.
struct Session {
    screen: Arc<Mutex<vt100::Parser>>,
    bytes: Arc<Mutex<Vec<u8>>>,
    keys: Option<Box<dyn Write + Send>>,
    child: Box<dyn Child + Send + Sync>,
    master: Option<Box<dyn MasterPty + Send>>,
    hung_up: Arc<AtomicBool>,
}

impl Session {
    fn start(columns: u16, rows: u16, arguments: &[&str]) -> Self {
        let size = PtySize { rows, cols: columns, pixel_width: 0, pixel_height: 0 };
        let pair = native_pty_system().openpty(size).expect("a pseudo-terminal");
        let mut command = CommandBuilder::new(demo());
        command.args(arguments);
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
        thread::spawn(move || {
            let mut buffer = [0; 4096];
            while let Ok(count @ 1..) = reader.read(&mut buffer) {
                if over.load(Ordering::SeqCst) {
                    return;
                }
                seen.lock().expect("whole").process(&buffer[..count]);
                all.lock().expect("whole").extend_from_slice(&buffer[..count]);
            }
        });
        let keys = pair.master.take_writer().expect("a writer");
        Self { screen, bytes, keys: Some(keys), child, master: Some(pair.master), hung_up }
    }

    fn press(&mut self, keys: &str) {
        let writer = self.keys.as_mut().expect("not hung up");
        writer.write_all(keys.as_bytes()).expect("the terminal takes keys");
        writer.flush().expect("the terminal takes keys");
    }

    fn text(&self) -> String {
        self.screen.lock().expect("whole").screen().contents()
    }

    /// Waits until the screen shows `words`.
    fn shows(&self, words: &str) {
        let started = Instant::now();
        while !self.text().contains(words) {
            assert!(started.elapsed() < Duration::from_secs(20), "'{words}' never came:\n{}", self.text());
            thread::sleep(Duration::from_millis(20));
        }
    }

    /// Waits for the end; gives the exit code.
    fn ends(&mut self) -> u32 {
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
    fn is_given_back(&self) {
        let parser = self.screen.lock().expect("whole");
        assert!(!parser.screen().alternate_screen(), "still on the second screen");
        assert!(!parser.screen().hide_cursor(), "the cursor is still hidden");
    }

    fn signal(&self, name: &str) {
        let id = self.child.process_id().expect("running").to_string();
        let sent = Command::new("kill").args([&format!("-{name}"), &id]).status().expect("kill");
        assert!(sent.success());
    }
}

#[test]
fn it_opens_leads_pauses_and_leaves() {
    let mut session = Session::start(80, 24, &["--silent"]);
    session.shows("Your school's rules");
    session.press(" ");
    session.shows("phrase A, count 1");
    session.shows("seated: march sitting");
    session.press(" ");
    session.shows("paused");
    session.press("q");
    assert_eq!(session.ends(), 0);
    session.is_given_back();
}

#[test]
fn a_missing_sound_device_writes_nothing_over_the_picture() {
    // The sound libraries of Linux complain on standard error, which is this terminal.
    let mut session = Session::start(80, 24, &[]);
    session.shows("Your school's rules");
    session.press(" ");
    session.shows("phrase A, count 4");
    session.press("qq");
    assert_eq!(session.ends(), 0);
    let bytes = String::from_utf8_lossy(&session.bytes.lock().expect("whole")).into_owned();
    assert!(!bytes.contains("ALSA"), "a library wrote to the terminal");
    session.is_given_back();
}

#[test]
fn a_window_may_change_while_the_dance_plays() {
    let mut session = Session::start(80, 24, &["--silent"]);
    session.shows("Your school's rules");
    session.press(" ");
    for (rows, cols) in [(40, 120), (3, 10), (1, 1), (24, 80)] {
        let size = PtySize { rows, cols, pixel_width: 0, pixel_height: 0 };
        session.master.as_ref().expect("open").resize(size).expect("a new size");
        session.screen.lock().expect("whole").screen_mut().set_size(size_of(rows), size_of(cols));
        thread::sleep(Duration::from_millis(150));
    }
    session.shows("phrase A");
    session.press("qq");
    assert_eq!(session.ends(), 0);
    session.is_given_back();
}

#[test]
fn signals_end_it_and_give_the_terminal_back() {
    for signal in ["TERM", "HUP", "INT"] {
        let mut session = Session::start(80, 24, &["--silent"]);
        session.shows("Your school's rules");
        session.press(" ");
        session.shows("phrase A");
        session.signal(signal);
        assert_eq!(session.ends(), 0, "after {signal}");
        session.is_given_back();
    }
}

#[test]
fn a_panic_in_another_thread_gives_the_terminal_back_and_is_reported() {
    let mut session = Session::start(80, 24, &["--silent", "--panic"]);
    session.shows("Your school's rules");
    session.press(" ");
    assert_eq!(session.ends(), 2);
    session.is_given_back();
    let shown = session.text();
    assert!(shown.contains("asked to"), "the panic's own words: {shown}");
    assert!(shown.contains("the program had a fault"), "{shown}");
}

#[test]
fn a_terminal_that_goes_away_ends_it() {
    let mut session = Session::start(80, 24, &["--silent"]);
    session.shows("Your school's rules");
    session.press(" ");
    session.shows("phrase A");
    // The window closes: every handle on it, the reader's with the next picture.
    session.hung_up.store(true, Ordering::SeqCst);
    session.keys = None;
    session.master = None;
    session.ends();
}

#[test]
fn what_is_not_a_terminal_is_refused_in_one_sentence() {
    let output = Command::new(demo()).stdin(Stdio::null()).output().expect("the example starts");
    assert_eq!(output.status.code(), Some(2));
    assert_eq!(output.stdout, b"");
    assert_eq!(
        String::from_utf8_lossy(&output.stderr),
        "floor_demo: cannot show the floor: this is not a terminal; run the command in a terminal window\n"
    );
}
