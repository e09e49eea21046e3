//! The floor in a pseudo-terminal: it draws, it leaves, and it gives the terminal back however it ends.
#![cfg(unix)]

#[path = "support/floor_session.rs"]
mod support;

use portable_pty::PtySize;
use std::process::{Command, Stdio};
use std::sync::atomic::Ordering;
use std::thread;
use std::time::Duration;
use support::{Session, demo, size_of};

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
fn pieces_follow_each_other_and_keep_what_was_set_up() {
    let mut session = Session::start(80, 24, &["--silent", "--twice"]);
    session.shows("piece 1 of 2: space begins");
    session.press(" ");
    session.shows("phrase A, count 1");
    session.press("g");
    session.shows("low-impact versions for everyone");
    session.press("r");
    session.shows("repeating");
    session.press("66");
    session.shows("phrase C, count");
    session.press("\x1b[C");
    session.shows("this is the last phrase: press right again for the next piece");
    session.press("\x1b[C");
    // The gentle version is for the class and stays; the repeat was that piece's and goes.
    session.shows("piece 2 of 2: low impact, everyone");
    session.press(" ");
    session.shows("phrase A, count 1");
    assert!(!session.text().contains("repeating"), "{}", session.text());
    session.press("66");
    session.shows("phrase C, count");
    session.press("\x1b[C");
    session.shows("this is the last phrase");
    assert!(!session.text().contains("next piece"), "{}", session.text());
    session.press(" ");
    session.shows("paused");
    session.press("q");
    assert_eq!(session.ends(), 0);
    session.is_given_back();
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
