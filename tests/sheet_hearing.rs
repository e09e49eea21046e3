//! Hearing on the count sheet, and what it tells of the place she is at: keys that matter now, moves that suit the music.

#[path = "support/choreography.rs"]
mod choreography;
#[path = "support/heard.rs"]
mod support;

use choreography::dance;
use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use farandole::dance::edit::History;
use farandole::dance::{Cue, MoveBook, MoveId};
use farandole::screen::colours::Palette;
use farandole::screen::sheet::{Effect, Message, Music, Sheet, draw, update};
use farandole::sound::{Heard, Sound};
use farandole::units::{Beat, Counts};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use std::time::Duration;
use support::{heard, phrase};

/// A walking piece and a running one after it, with a march in the first phrase.
fn sheet() -> Sheet {
    let listening = heard(0, &[phrase("A", 16, 108.0, 3), phrase("B", 16, 180.0, 4)], &[]);
    let march = Cue::new(Beat(0.0), Counts(8.0), MoveId("march".into()));
    let dance = dance(listening.grid.clone(), vec![march]);
    let mut sheet = Sheet::new(dance, History::of_saved(), MoveBook::built_in(), Palette::default());
    update(&mut sheet, Message::Size(120, 30));
    update(&mut sheet, Message::Music(Music::Ready));
    update(&mut sheet, Message::Listened(Box::new(listening)));
    sheet
}

fn key(sheet: &mut Sheet, code: KeyCode, modifiers: KeyModifiers) -> Vec<Effect> {
    update(sheet, Message::Key(KeyEvent::new(code, modifiers)))
}

fn letters(sheet: &mut Sheet, letters: &str) -> Vec<Effect> {
    letters.chars().flat_map(|letter| key(sheet, KeyCode::Char(letter), KeyModifiers::NONE)).collect()
}

/// The music is at a beat, and plays or not.
fn hears(sheet: &mut Sheet, beat: f64, playing: bool) {
    let at = sheet.dance.grid.seconds_at(Beat(beat));
    let heard = Heard { at, playing, sound: Sound::Sounding, ..Heard::default() };
    update(sheet, Message::Heard(heard, Duration::from_secs(1)));
}

fn rows(sheet: &Sheet) -> Vec<String> {
    let area = Rect::new(0, 0, sheet.size.0, sheet.size.1);
    let mut buffer = Buffer::empty(area);
    draw(sheet, area, &mut buffer);
    (0..area.height).map(|y| (0..area.width).map(|x| buffer[(x, y)].symbol()).collect()).collect()
}

fn key_line(sheet: &Sheet) -> String {
    rows(sheet).pop().expect("rows")
}

#[test]
fn the_cursor_goes_to_the_count_that_is_heard_and_the_music_goes_on() {
    let mut sheet = sheet();
    hears(&mut sheet, 11.6, true);
    assert!(rows(&sheet)[0].contains("playing phrase 1 (A), count 12"), "{}", rows(&sheet)[0]);
    assert_eq!(letters(&mut sheet, "0"), [], "nothing is stopped or set elsewhere");
    assert_eq!(sheet.cursor, Beat(11.0));
    // Stopped, it is the count that was heard last.
    key(&mut sheet, KeyCode::Home, KeyModifiers::NONE);
    hears(&mut sheet, 20.2, false);
    assert!(rows(&sheet)[0].contains(" phrase 1 (A), count 1 "), "the cursor's place: {}", rows(&sheet)[0]);
    letters(&mut sheet, "0");
    assert_eq!(sheet.cursor, Beat(20.0));
}

#[test]
fn what_is_selected_goes_round_and_round_and_else_the_phrase() {
    let mut sheet = sheet();
    let grid = sheet.dance.grid.clone();
    let span = |from: f64, to: f64| Some((grid.seconds_at(Beat(from)), grid.seconds_at(Beat(to))));
    key(&mut sheet, KeyCode::Right, KeyModifiers::SHIFT);
    key(&mut sheet, KeyCode::Right, KeyModifiers::SHIFT);
    let effects = letters(&mut sheet, "r");
    assert_eq!(effects[0], Effect::Repeat(span(0.0, 3.0)));
    assert_eq!(effects[2], Effect::Play);
    assert_eq!(letters(&mut sheet, "r"), [Effect::Repeat(None)]);
    key(&mut sheet, KeyCode::Esc, KeyModifiers::NONE);
    assert_eq!(letters(&mut sheet, "r")[0], Effect::Repeat(span(0.0, 16.0)));
}

#[test]
fn the_key_line_shows_what_is_wanted_now() {
    let mut sheet = sheet();
    let always = |line: &str| line.contains("? all keys") && line.contains("q leave");
    let on_a_cue = key_line(&sheet);
    assert!(on_a_cue.contains("+ longer") && on_a_cue.contains("space play") && always(&on_a_cue));
    (0..9).for_each(|_| drop(key(&mut sheet, KeyCode::Right, KeyModifiers::NONE)));
    let empty = key_line(&sheet);
    assert!(empty.contains("w words") && !empty.contains("longer") && always(&empty), "{empty}");
    key(&mut sheet, KeyCode::Right, KeyModifiers::SHIFT);
    let selected = key_line(&sheet);
    assert!(
        selected.contains("esc let go") && selected.contains("m mirror") && always(&selected),
        "{selected}"
    );
    hears(&mut sheet, 3.0, true);
    let playing = key_line(&sheet);
    assert!(
        playing.contains("space stop") && playing.contains("0 go there") && always(&playing),
        "{playing}"
    );
    hears(&mut sheet, 3.0, false);
    key(&mut sheet, KeyCode::Esc, KeyModifiers::NONE);
    sheet.read_only = Some("another program has it".into());
    let looking = key_line(&sheet);
    assert!(!looking.contains("undo") && !looking.contains("enter") && always(&looking), "{looking}");
}

/// The move book's own range of the march is 100 to 126 counts a minute.
#[test]
fn moves_that_suit_the_music_stand_first_and_the_others_say_why_not() {
    let mut sheet = sheet();
    let named = |sheet: &Sheet| sheet.found("").iter().map(|entry| entry.id.0.clone()).collect::<Vec<_>>();
    key(&mut sheet, KeyCode::Right, KeyModifiers::NONE);
    key(&mut sheet, KeyCode::Enter, KeyModifiers::NONE);
    assert_eq!(named(&sheet)[0], "march", "it suits, and the class dances it already");
    let text = rows(&sheet).join("\n");
    assert!(text.contains("a few of the move's name") && !text.contains("! "), "{text}");
    key(&mut sheet, KeyCode::Esc, KeyModifiers::NONE);
    // Where it is danced, another one is wanted.
    key(&mut sheet, KeyCode::Home, KeyModifiers::NONE);
    key(&mut sheet, KeyCode::Enter, KeyModifiers::NONE);
    assert_ne!(named(&sheet)[0], "march");
    key(&mut sheet, KeyCode::Esc, KeyModifiers::NONE);
    // In the running music it does not.
    key(&mut sheet, KeyCode::PageDown, KeyModifiers::NONE);
    key(&mut sheet, KeyCode::Enter, KeyModifiers::NONE);
    let here = named(&sheet);
    let (suited, rest): (Vec<_>, Vec<_>) =
        here.iter().partition(|id| sheet.unsuited_here(&MoveId((*id).clone())).is_none());
    assert!(rest.iter().any(|id| *id == "march"), "{rest:?}");
    assert!(
        !suited.is_empty() && here.starts_with(&suited.iter().map(|id| (*id).clone()).collect::<Vec<_>>())
    );
    letters(&mut sheet, "march");
    let text = rows(&sheet).join("\n");
    assert!(text.contains("march              ! music too fast "), "{text}");
    // It is her choice all the same.
    key(&mut sheet, KeyCode::Enter, KeyModifiers::NONE);
    assert_eq!(sheet.dance.cues[1].movement, Some(MoveId("march".into())));
}
