//! Pictures of the count sheet and of the repairing, at small, usual and large sizes, and their colours, which a picture in
//! letters drops.

#[path = "support/choreography.rs"]
mod choreography;
#[path = "support/heard.rs"]
mod support;

use choreography::dance;
use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use farandole::check::check;
use farandole::dance::edit::History;
use farandole::dance::{Cue, Dance, MoveBook, MoveId, Side};
use farandole::listening::{Listening, Sureness, TurnKind};
use farandole::screen::colours::{Depth, Palette, Theme};
use farandole::screen::sheet::{Ask, Message, Music, Sheet, draw, update};
use farandole::sound::{Heard as Place, Sound};
use farandole::units::{Beat, Counts};
use ratatui::buffer::{Buffer, Cell};
use ratatui::layout::Rect;
use ratatui::style::{Color, Modifier};
use support::{heard, phrase, turn};

const SIZES: [(u16, u16); 4] = [(80, 24), (120, 40), (200, 60), (300, 100)];

/// A piece that grows louder, falls soft and hurries.
fn piece() -> Listening {
    let phrases = [
        phrase("A", 16, 104.0, 3),
        phrase("B", 16, 104.0, 4),
        phrase("A'", 16, 104.0, 2).speeding_to(150.0),
        phrase("C", 12, 150.0, 5),
    ];
    let turns = [
        turn(TurnKind::Crescendo, 10.0, 18.0),
        turn(TurnKind::SubitoSoft, 34.0, 34.0),
        turn(TurnKind::Accelerando, 36.0, 50.0),
    ];
    let mut listening = heard(2, &phrases, &turns);
    let values = &mut listening.loudness.short_term.values;
    let many = values.len();
    for (index, value) in values.iter_mut().enumerate() {
        // Up by steps, then down: sums of whole numbers and halves, alike on every machine.
        let step = (index * 16 / many.max(1)) as f32;
        *value = -40.0 + 1.5 * if step < 9.0 { step } else { 16.0 - step };
    }
    listening
}

fn written(listening: &Listening) -> Dance {
    let cue = |at: f64, counts: f64, id: &str| Cue::new(Beat(at), Counts(counts), MoveId(id.into()));
    let free = Cue { movement: None, words: Some("look at your partner".into()), ..cue(14.0, 4.0, "") };
    let sided = Cue { side: Some(Side::Left), ..cue(18.0, 8.0, "step-touch") };
    let short = Cue { why: Some("before the fall".into()), ..cue(26.0, 1.5, "freeze") };
    let cues = vec![cue(2.0, 12.0, "march"), free, sided, short, cue(34.0, 16.0, "tiptoe")];
    dance(listening.grid.clone(), cues)
}

fn sheet(palette: Palette, (width, height): (u16, u16)) -> Sheet {
    let listening = piece();
    let dance = written(&listening);
    let report = check(&dance, Some(&listening));
    let mut sheet = Sheet::new(dance, History::of_saved(), MoveBook::built_in(), palette);
    let standing = Place { sound: Sound::Sounding, ..Place::default() };
    update(&mut sheet, Message::Size(width, height));
    update(&mut sheet, Message::Heard(standing, std::time::Duration::ZERO));
    update(&mut sheet, Message::Music(Music::Ready));
    let sureness = vec![Sureness(0.9); sheet.dance.grid.bars().len()];
    update(&mut sheet, Message::Repairable(sureness, None));
    update(&mut sheet, Message::Listened(Box::new(listening)));
    let state = sheet.state;
    update(&mut sheet, Message::Checked(state, Box::new(report)));
    sheet.hint = 3;
    sheet
}

fn picture(sheet: &Sheet) -> Buffer {
    let area = Rect::new(0, 0, sheet.size.0, sheet.size.1);
    let mut buffer = Buffer::empty(area);
    draw(sheet, area, &mut buffer);
    buffer
}

fn rows(buffer: &Buffer) -> Vec<String> {
    let area = buffer.area;
    let row = |y| (0..area.width).map(|x| buffer[(x, y)].symbol()).collect::<String>().trim_end().to_owned();
    (0..area.height).map(row).collect()
}

fn text(sheet: &Sheet) -> String {
    rows(&picture(sheet)).join("\n")
}

fn keys(sheet: &mut Sheet, letters: &str) {
    for letter in letters.chars() {
        let code = match letter {
            '\n' => KeyCode::Enter,
            '>' => KeyCode::Right,
            letter => KeyCode::Char(letter),
        };
        update(sheet, Message::Key(KeyEvent::new(code, KeyModifiers::NONE)));
    }
}

#[test]
fn the_sheet_at_every_size() {
    for size in SIZES {
        let (width, height) = size;
        insta::assert_snapshot!(format!("sheet_{width}x{height}"), text(&sheet(Palette::default(), size)));
    }
}

#[test]
fn the_sheet_on_a_small_window() {
    for size in [(40, 12), (60, 16)] {
        let (width, height) = size;
        insta::assert_snapshot!(format!("sheet_{width}x{height}"), text(&sheet(Palette::default(), size)));
    }
}

#[test]
fn what_lies_over_the_paper() {
    let small = SIZES[0];
    let mut choosing = sheet(Palette::default(), small);
    keys(&mut choosing, "\nma");
    insta::assert_snapshot!("choosing_80x24", text(&choosing));
    let mut writing = sheet(Palette::default(), small);
    keys(&mut writing, "pIs it louder?");
    insta::assert_snapshot!("writing_80x24", text(&writing));
    let mut asking = sheet(Palette::default(), small);
    let sentence = "someone else has changed 'goats.dance.json' since you opened it, so it is not overwritten: keep both, \
                    take theirs, or save yours over it";
    update(&mut asking, Message::Ask(Ask::Disk(sentence.into(), true)));
    insta::assert_snapshot!("asking_80x24", text(&asking));
    let mut help = sheet(Palette::default(), SIZES[2]);
    keys(&mut help, "?");
    insta::assert_snapshot!("help_200x60", text(&help));
}

#[test]
fn the_repairing_at_every_size() {
    for size in SIZES {
        let (width, height) = size;
        let mut sheet = sheet(Palette::default(), size);
        keys(&mut sheet, ">>k");
        insta::assert_snapshot!(format!("repairing_{width}x{height}"), text(&sheet));
    }
}

/// The colours of title, key, small words, warning, hillside and ground. Worked out by hand from the Okabe-Ito palette, from
/// xterm's 256 (16 + 36 r + 6 g + b with levels 0, 95, 135, 175, 215, 255, and greys 8 + 10 n from 232) and from the names
/// of the sixteen.
fn colours(theme: Theme, depth: Depth) -> [Color; 6] {
    let rgb = |hex: u32| Color::Rgb((hex >> 16) as u8, (hex >> 8) as u8, hex as u8);
    match (theme, depth) {
        (_, Depth::None) => [Color::Reset; 6],
        (Theme::Dark, Depth::Full) => {
            [rgb(0xFF_FFFF), rgb(0x56_B4E9), rgb(0xC0_C0C0), rgb(0xE6_9F00), rgb(0x00_9E73), rgb(0)]
        }
        (Theme::Light, Depth::Full) => {
            [rgb(0), rgb(0), rgb(0x4A_4A4A), rgb(0), rgb(0x00_72B2), rgb(0xFF_FFFF)]
        }
        (Theme::Dark, Depth::Cube) => [231, 74, 250, 178, 35, 16].map(Color::Indexed),
        (Theme::Light, Depth::Cube) => [16, 16, 239, 16, 25, 231].map(Color::Indexed),
        (Theme::Dark, Depth::Sixteen) => {
            [Color::White, Color::LightCyan, Color::Gray, Color::LightYellow, Color::Green, Color::Black]
        }
        (Theme::Light, Depth::Sixteen) => {
            [Color::Black, Color::Black, Color::Black, Color::Black, Color::Blue, Color::White]
        }
    }
}

/// The cell where these words begin, in the first row at or below `from` that has them.
fn cell<'a>(buffer: &'a Buffer, from: usize, words: &str) -> &'a Cell {
    let rows = rows(buffer);
    let place = rows.iter().enumerate().skip(from).find_map(|(y, row)| Some((row.find(words)?, y, row)));
    let (byte, y, row) = place.unwrap_or_else(|| panic!("'{words}' is not in\n{}", rows.join("\n")));
    &buffer[(row[..byte].chars().count() as u16, y as u16)]
}

#[test]
fn every_part_has_its_colour_and_its_weight_on_every_terminal() {
    for theme in [Theme::Dark, Theme::Light] {
        for depth in [Depth::Full, Depth::Cube, Depth::Sixteen, Depth::None] {
            for size in SIZES {
                let sheet = sheet(Palette { theme, depth }, size);
                let buffer = picture(&sheet);
                let paper = usize::from(farandole::screen::sheet::paper(&sheet).y);
                let [title, key, small, warning, hill, ground] = colours(theme, depth);
                let is = |from: usize, words: &str, colour: Color, weight: Modifier| {
                    let cell = cell(&buffer, from, words);
                    assert_eq!(
                        (cell.fg, cell.bg),
                        (colour, ground),
                        "'{words}' {theme:?} {depth:?} {size:?}"
                    );
                    assert!(cell.modifier.contains(weight), "'{words}' {theme:?} {depth:?} {size:?}");
                };
                let none = Modifier::empty();
                is(0, "Goats", title, Modifier::BOLD);
                is(paper, "1 A", title, Modifier::BOLD);
                is(paper, "bar 1", small, none);
                is(paper, "< crescendo", small, Modifier::ITALIC);
                is(paper, "? Faster?", key, Modifier::BOLD);
                is(paper, "look at your partner", key, Modifier::BOLD);
                is(paper, "! ", warning, Modifier::BOLD);
                is(paper, "all keys", small, none);
                is(paper, "enter", key, Modifier::BOLD);
                is(paper, "⣤", hill, none);
                // Where she is, light and dark are turned: no colour is needed to see it.
                let turned = buffer.content.iter().filter(|cell| cell.modifier.contains(Modifier::REVERSED));
                assert_eq!(turned.count(), usize::from(sheet.layout.cell), "{theme:?} {depth:?} {size:?}");
            }
        }
    }
}

#[test]
fn the_place_of_the_music_is_a_sign_and_not_only_a_colour() {
    for depth in [Depth::Full, Depth::None] {
        let mut sheet = sheet(Palette { theme: Theme::Dark, depth }, SIZES[0]);
        let at = sheet.dance.grid.seconds_at(Beat(5.2));
        let playing = Place { at, playing: true, sound: Sound::Sounding, dry_runs: 0 };
        update(&mut sheet, Message::Heard(playing, std::time::Duration::ZERO));
        let buffer = picture(&sheet);
        let sign = cell(&buffer, 0, "4▼");
        assert!(sign.modifier.contains(Modifier::REVERSED));
        assert_eq!(rows(&buffer).iter().filter(|row| row.contains('▼')).count(), 1);
    }
}
