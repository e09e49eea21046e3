//! The shelf in a pseudo-terminal: dances are found, led and checked from it, and it is there again afterwards.
#![cfg(unix)]

#[path = "support/home.rs"]
mod home;

use home::{Home, Session};
use std::fs;
use std::path::Path;
use std::thread;
use std::time::Duration;

/// The program on an ordinary terminal.
fn opens(home: &Home, arguments: &[&str], within: &Path) -> Session {
    home.starts(arguments, within, &[("TERM", "xterm-256color")])
}

#[test]
fn a_dance_is_found_checked_and_led_and_the_shelf_is_there_again() {
    let home = Home::with_lessons();
    let mut session = opens(&home, &["shelf", "lessons", "--silent"], home.folder.path());
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
    // Escape takes the words away and does not leave: the other dances are there again.
    session.shows("March and Farandole");
    thread::sleep(Duration::from_millis(100));
    session.press("q");
    assert_eq!(session.ends(), 0);
    // Next time it is that folder, wherever the program is started.
    let mut session = opens(&home, &[], Path::new("/"));
    session.shows("4 dances on the shelf");
    session.press("q");
    assert_eq!(session.ends(), 0);
}

#[test]
fn a_lesson_is_led_dance_by_dance() {
    let home = Home::with_lessons();
    fs::write(
        home.path("lessons/monday.txt"),
        "title: Monday\n5 shake hands\n4 goats-on-the-wall.dance.json twice\n2 evening-boat.dance.json\n",
    )
    .expect("a writable folder");
    let mut session = opens(&home, &["programme", "monday.txt", "--lead", "--silent"], &home.path("lessons"));
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
    let home = Home::with_lessons();
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
