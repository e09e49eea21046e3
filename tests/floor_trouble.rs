//! What can happen in the middle of a lesson: the program is stopped, the terminal is busy, the keyboard goes.
//! The place is kept, and the terminal is given back.
#![cfg(unix)]

#[path = "support/floor_session.rs"]
mod support;

use portable_pty::{CommandBuilder, PtySize};
use std::sync::atomic::Ordering;
use std::thread;
use std::time::{Duration, Instant};
use support::{Session, demo, size_of};

/// The seconds that the first line says, as in `0:07 of 0:50`.
fn seconds(session: &Session) -> f64 {
    let text = session.text();
    let place = text.find(" of 0:").unwrap_or_else(|| panic!("no time on the screen:\n{text}"));
    let clock = text[..place].rsplit(' ').next().expect("a time");
    let (minutes, seconds) = clock.split_once(':').expect("minutes and seconds");
    60.0 * minutes.parse::<f64>().expect("minutes") + seconds.parse::<f64>().expect("seconds")
}

fn leading(arguments: &[&str]) -> (Session, Instant) {
    let mut session = Session::start(80, 24, arguments);
    session.shows("Your school's rules");
    session.press(" ");
    session.shows("phrase A, count 1");
    (session, Instant::now())
}

fn leaves(mut session: Session) {
    session.press("qq");
    assert_eq!(session.ends(), 0);
    session.is_given_back();
}

/// Where the dance should be: count one sounds at 0.4 s.
fn expected(begun: Instant) -> f64 {
    0.4 + begun.elapsed().as_secs_f64()
}

#[test]
fn a_program_that_was_stopped_goes_on_where_the_clock_is() {
    let (session, begun) = leading(&["--silent"]);
    session.signal("STOP");
    thread::sleep(Duration::from_secs(3));
    session.signal("CONT");
    thread::sleep(Duration::from_millis(700));
    let (shown, due) = (seconds(&session), expected(begun));
    assert!((shown - due.floor()).abs() <= 1.0, "{shown} s are shown, {due} s are due");
    leaves(session);
}

#[test]
fn a_terminal_that_does_not_read_for_seconds_costs_no_place() {
    let (session, begun) = leading(&["--silent"]);
    session.stuck.store(true, Ordering::SeqCst);
    thread::sleep(Duration::from_millis(100));
    session.screen.lock().expect("whole").screen_mut().set_size(size_of(60), size_of(200));
    // A larger window is drawn whole: more than a terminal holds without reading.
    let size = PtySize { rows: 60, cols: 200, pixel_width: 0, pixel_height: 0 };
    session.master.as_ref().expect("open").resize(size).expect("a new size");
    thread::sleep(Duration::from_secs(4));
    session.stuck.store(false, Ordering::SeqCst);
    thread::sleep(Duration::from_millis(900));
    let (shown, due) = (seconds(&session), expected(begun));
    assert!((shown - due.floor()).abs() <= 1.0, "{shown} s are shown, {due} s are due");
    leaves(session);
}

#[test]
fn a_signal_ends_it_even_while_the_terminal_does_not_read() {
    let (mut session, _) = leading(&["--silent"]);
    session.stuck.store(true, Ordering::SeqCst);
    thread::sleep(Duration::from_millis(100));
    // Larger and larger windows, each drawn whole: the program is held up in the middle of a picture.
    for rows in [60, 61, 62, 63, 64] {
        let size = PtySize { rows, cols: 250, pixel_width: 0, pixel_height: 0 };
        session.master.as_ref().expect("open").resize(size).expect("a new size");
        thread::sleep(Duration::from_millis(300));
    }
    session.signal("TERM");
    let asked = Instant::now();
    assert_eq!(session.ends(), 0);
    assert!(asked.elapsed() < Duration::from_secs(8), "{:?}", asked.elapsed());
    session.stuck.store(false, Ordering::SeqCst);
    thread::sleep(Duration::from_millis(300));
    session.is_given_back();
}

#[test]
fn keys_pressed_while_the_terminal_is_stuck_are_not_lost() {
    let (mut session, _) = leading(&["--silent"]);
    session.stuck.store(true, Ordering::SeqCst);
    session.press("kc");
    thread::sleep(Duration::from_secs(2));
    session.stuck.store(false, Ordering::SeqCst);
    session.shows("keys locked");
    session.press("k");
    leaves(session);
}

#[test]
fn ending_while_the_window_is_a_single_cell_gives_the_terminal_back() {
    let (session, _) = leading(&["--silent"]);
    let size = PtySize { rows: 1, cols: 1, pixel_width: 0, pixel_height: 0 };
    session.master.as_ref().expect("open").resize(size).expect("a new size");
    session.screen.lock().expect("whole").screen_mut().set_size(size_of(1), size_of(1));
    thread::sleep(Duration::from_millis(300));
    let mut session = session;
    session.signal("TERM");
    assert_eq!(session.ends(), 0);
    session.is_given_back();
}

#[test]
fn a_closed_keyboard_is_refused_in_one_sentence() {
    let mut command = CommandBuilder::new("sh");
    command.args(["-c", "exec \"$0\" --silent <&-"]);
    command.arg(demo());
    let mut session = Session::of(80, 24, command);
    assert_eq!(session.ends(), 2);
    session.is_given_back();
    let said = session.text();
    assert!(said.contains("this is not a terminal"), "{said}");
}
