//! A dance from its draft to a clean check, in a pseudo-terminal, with the program killed in the middle of the work.
#![cfg(unix)]

#[path = "support/home.rs"]
mod home;

use farandole::grid::Anchor;
use farandole::shelf;
use home::{Home, right};
use std::fs;

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
    session.press("z");
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
