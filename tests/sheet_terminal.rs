//! The count sheet in a pseudo-terminal: written on, killed, taken up again; with the mouse; and with its beats repaired.
#![cfg(unix)]

#[path = "support/home.rs"]
mod home;

use farandole::grid::Anchor;
use farandole::screen::sheet::{Group, KEYS};
use farandole::shelf;
use home::{Home, right};
use std::fs;
use std::path::Path;
use vt100::{Color, MouseProtocolEncoding, MouseProtocolMode};

/// Every key of the count sheet stands in its page, as the program itself says it.
#[test]
fn the_page_of_the_count_sheet_has_every_key() {
    let page = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/count-sheet.md");
    let page = fs::read_to_string(page).expect("docs are in the repository");
    let written: Vec<&str> = page
        .lines()
        .filter(|line| line.starts_with("### ") || line.starts_with("| "))
        .filter(|line| !line.starts_with("| key |"))
        .collect();
    let mut wanted = Vec::new();
    for group in Group::ALL {
        wanted.push(format!("### {}", group.name()));
        wanted.extend(group.keys().map(|key| format!("| {} | {} |", key.name.replace('|', "\\|"), key.help)));
    }
    assert_eq!(written, wanted);
    assert_eq!(wanted.len(), KEYS.len() + Group::ALL.len(), "every key is in one group");
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

/// A home with a drafted dance.
fn drafted() -> Home {
    let home = Home::new();
    assert!(home.runs(&["draft", "goats.ogg"]).status.success());
    home
}

#[test]
fn what_is_half_typed_outlives_the_program_too() {
    let home = drafted();
    let mut sheet = home.opens("sheet");
    sheet.shows("all keys");
    sheet.press("n");
    sheet.shows("notes to yourself");
    sheet.press("bring the drum");
    sheet.shows("bring the drum");
    sheet.is_killed();

    let mut again = home.opens("sheet");
    again.shows("take them in");
    again.press("y");
    again.shows("taken in");
    again.press("q");
    assert_eq!(again.ends(), 0);
    let notes = shelf::load(&home.path("goats.dance.json")).expect("saved").dance.notes;
    assert_eq!(notes, "bring the drum");
}

#[test]
fn a_second_program_only_looks_until_the_first_has_left_and_then_takes_over_what_that_one_wrote() {
    let home = drafted();
    let mut first = home.opens("sheet");
    first.shows("all keys");
    let mut second = home.opens("sheet");
    second.shows("only to look at");
    second.press("d again\r");
    second.shows("open in another Farandole");
    first.press("d 2\r");
    first.shows("Wall 2");
    first.press("q");
    assert_eq!(first.ends(), 0);
    second.shows("ctrl-o opens it anew");
    second.press("\x0f");
    second.shows("Wall 2");
    second.press("d 3\r");
    second.shows("Wall 2 3");
    let mut third = home.opens("sheet");
    third.shows("only to look at");
    third.press("q");
    third.ends();
    second.press("q");
    assert_eq!(second.ends(), 0);
    let title = shelf::load(&home.path("goats.dance.json")).expect("saved").dance.title;
    assert!(title.ends_with("Wall 2 3"), "{title}");
}

#[test]
fn a_click_goes_to_its_count_and_the_mouse_is_given_back() {
    let watched = (MouseProtocolMode::ButtonMotion, MouseProtocolEncoding::Sgr);
    let home = drafted();
    let mut sheet = home.opens("sheet");
    sheet.shows("all keys");
    assert_eq!(sheet.mouse(), watched);
    let five = sheet.place(" 1 A", "5");
    sheet.click(five);
    sheet.shows("count 5");
    // A second click on the same count comes too soon for another wish: it opens the choice of a move.
    sheet.click(five);
    sheet.shows("letters:");
    sheet.press("\x1b");
    sheet.shows("all keys");
    sheet.press("k");
    sheet.shows("repairing the beats");
    let three = sheet.place("   1 A", " 3");
    sheet.click((three.0 + 1, three.1));
    sheet.shows("count 3");
    sheet.press("\x1b");
    sheet.shows("count 5");
    sheet.press("q");
    assert_eq!(sheet.ends(), 0);
    sheet.gives_the_mouse_back();

    let mut sheet = home.opens("sheet");
    sheet.shows("all keys");
    assert_eq!(sheet.mouse(), watched);
    sheet.is_asked_to_end();
    sheet.ends();
    sheet.gives_the_mouse_back();

    let mut sheet = home.opens_with("sheet", &["--no-mouse"]);
    sheet.shows("all keys");
    assert_eq!(sheet.mouse().0, MouseProtocolMode::None, "left to the terminal");
    sheet.press("q");
    assert_eq!(sheet.ends(), 0);
}

#[test]
fn beats_are_repaired_from_the_sheet_in_one_history_and_she_comes_back_to_her_place() {
    let home = drafted();
    let path = home.path("goats.dance.json");
    let draft = shelf::load(&path).expect("drafted").dance;
    let mut sheet = home.opens("sheet");
    sheet.shows("all keys");
    sheet.press("\x1b[H\x1b[H");
    sheet.press("d and back\r");
    sheet.shows("Wall and back");
    sheet.press(&right(4));
    sheet.shows("count 5");
    sheet.press("k");
    sheet.shows("repairing the beats");
    sheet.shows("sure");
    sheet.press(&right(1));
    sheet.shows("count 6");
    sheet.press("...");
    sheet.shows("moved by up to 30 ms");
    sheet.press("k");
    sheet.shows("all keys");
    sheet.shows("count 5");
    sheet.is_killed();

    // Title and beats come back together, from one recovery copy.
    let mut again = home.opens("sheet");
    again.shows("take them in");
    again.press("y");
    again.shows("taken in");
    again.shows("Wall and back");
    again.press("q");
    assert_eq!(again.ends(), 0);
    let kept = shelf::load(&path).expect("saved").dance;
    let beat = draft.grid.beats()[5];
    assert!(
        matches!(kept.anchors[..], [Anchor::Beat { at }] if (at.0 - beat.0 - 0.03).abs() < 2e-4),
        "{:?} for {beat:?}",
        kept.anchors
    );
    let checked = home.runs(&["check", "goats.dance.json"]);
    assert_eq!(checked.status.code(), Some(0), "{}", String::from_utf8_lossy(&checked.stdout));
}

#[test]
fn the_terminal_gets_the_colours_that_it_promises_and_none_when_none_are_wanted() {
    let home = drafted();
    let colours = |terminal: &[(&str, &str)]| {
        let mut sheet = home.opens_on("sheet", &[], terminal);
        sheet.shows("all keys");
        let colours = sheet.colours();
        sheet.press("q");
        assert_eq!(sheet.ends(), 0);
        colours
    };
    let none = colours(&[("TERM", "xterm-256color"), ("COLORTERM", "truecolor"), ("NO_COLOR", "1")]);
    assert_eq!(none, [Color::Default]);
    let full = colours(&[("TERM", "xterm-256color"), ("COLORTERM", "truecolor")]);
    assert!(full.contains(&Color::Rgb(0x56, 0xB4, 0xE9)), "{full:?}");
    let cube = colours(&[("TERM", "xterm-256color")]);
    assert!(cube.contains(&Color::Idx(74)) && cube.iter().all(|colour| !matches!(colour, Color::Rgb(..))));
    let sixteen = colours(&[("TERM", "linux")]);
    assert!(
        sixteen.iter().all(|colour| matches!(colour, Color::Default | Color::Idx(0..=15))),
        "{sixteen:?}"
    );
    assert!(sixteen.len() > 3, "{sixteen:?}");
}
