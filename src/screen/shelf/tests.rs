use super::*;
use crate::check::{Report, check};
use crate::dance::{Dance, MoveBook};
use crate::lesson::Glance;
use crate::listening::{Dynamic, TurnKind};
use crate::screen::colours::{Depth, Ink, Palette, Theme};
use crate::screen::floor::test_dance;
use crate::units::Seconds;
use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use std::path::PathBuf;

const PALETTE: Palette = Palette { theme: Theme::Dark, depth: Depth::Full };

fn glance(title: &str, turns: &[TurnKind], change: impl FnOnce(&mut Glance)) -> Glance {
    let dance: Dance = test_dance(&[("march", 0.0, 8.0), ("hop", 8.0, 8.0), ("tiptoe", 16.0, 16.0)]);
    let report: Report = check(&dance, None);
    let mut glance = Glance::of(&dance, None, &report, &MoveBook::built_in());
    glance.title = title.into();
    glance.heard = true;
    glance.turns = turns.to_vec();
    glance.met = (turns.len(), turns.len());
    glance.length = Seconds(64.0 + title.len() as f64);
    glance.heights = (0..48).map(|n: u8| if n < 24 { n / 3 } else { 8 - (n - 24) / 6 }).collect();
    glance.dynamics = Some((Dynamic::P, Dynamic::Ff));
    glance.findings = (0, 0, 2);
    change(&mut glance);
    glance
}

fn slip(glance: Glance) -> Slip {
    let name = glance.title.to_lowercase().replace(' ', "-");
    Slip { path: PathBuf::from(format!("{name}.dance.json")), name, state: State::Known(Box::new(glance)) }
}

fn shelf() -> Shelf {
    use TurnKind::{Accelerando, Crescendo, Rest, SubitoLoud};
    let mut slips = vec![
        slip(glance("March of the hills", &[Crescendo, Accelerando], |_| ())),
        slip(glance("Cat on the stairs", &[SubitoLoud], |g| g.findings = (0, 3, 0))),
        slip(glance("Evening boat", &[], |g| g.findings = (2, 1, 0))),
        slip(glance("Queue at the bakery, a dance with a very long title indeed", &[Rest], |g| {
            g.not_gentle = vec!["hop".into()];
            g.notes = "Needs the big hall; ask the caretaker for the key on Monday.".into();
        })),
        slip(glance("Snow", &[Crescendo], |g| {
            g.heard = false;
            g.turns.clear();
            g.heights.clear();
        })),
    ];
    slips.push(Slip {
        path: "torn.dance.json".into(),
        name: "torn".into(),
        state: State::Broken("cannot open 'torn.dance.json': it is cut short".into()),
    });
    slips.push(Slip { path: "young.dance.json".into(), name: "young".into(), state: State::Coming });
    Shelf::new("lessons".into(), slips, PALETTE)
}

fn press(shelf: &mut Shelf, code: KeyCode) -> Option<Effect> {
    update(shelf, Message::Key(KeyEvent::new(code, KeyModifiers::NONE)))
}

fn type_in(shelf: &mut Shelf, letters: &str) {
    for letter in letters.chars() {
        assert_eq!(press(shelf, KeyCode::Char(letter)), None);
    }
}

fn titles(shelf: &Shelf) -> Vec<&str> {
    shelf.shown().into_iter().map(|index| shelf.slips[index].title()).collect()
}

fn picture(shelf: &Shelf, width: u16, height: u16) -> String {
    let area = Rect::new(0, 0, width, height);
    let mut buffer = Buffer::empty(area);
    draw(shelf, area, &mut buffer);
    let row = |y| {
        let row: String = (0..width).map(|x| buffer[(x, y)].symbol()).collect();
        row.trim_end().to_owned()
    };
    (0..height).map(row).collect::<Vec<_>>().join("\n")
}

#[test]
fn dances_are_found_by_what_they_teach_by_pace_moves_notes_and_standing() {
    for (words, found) in [
        ("cresc", &["March of the hills"][..]),
        ("louder", &["Cat on the stairs", "March of the hills"]),
        (
            "loud",
            &[
                "Cat on the stairs",
                "Evening boat",
                "March of the hills",
                "Queue at the bakery, a dance with a very long title indeed",
                "Snow",
            ],
        ),
        ("suddenly", &["Cat on the stairs"]),
        ("caretaker", &["Queue at the bakery, a dance with a very long title indeed"]),
        ("mend", &["Evening boat"]),
        ("MARCH hills", &["March of the hills"]),
        ("tipt stairs", &["Cat on the stairs"]),
        ("/que", &["Queue at the bakery, a dance with a very long title indeed"]),
        ("fugue", &[]),
        ("torn", &["torn"]),
    ] {
        let mut shelf = shelf();
        type_in(&mut shelf, words);
        assert_eq!(titles(&shelf), found, "{words}");
        press(&mut shelf, KeyCode::Esc);
        assert_eq!((shelf.words.as_str(), shelf.shown().len()), ("", 7));
    }
}

#[test]
fn escape_takes_words_away_before_it_leaves_typed_or_left_from_before() {
    let mut shelf = shelf();
    (shelf.words, shelf.writing) = ("snow".into(), false);
    assert_eq!(press(&mut shelf, KeyCode::Esc), None);
    assert_eq!((shelf.words.as_str(), shelf.shown().len()), ("", 7));
    assert_eq!(press(&mut shelf, KeyCode::Esc), Some(Effect::Leave));
}

#[test]
fn letters_are_words_and_q_leaves_only_when_nothing_is_typed() {
    let mut shelf = shelf();
    type_in(&mut shelf, "boq");
    assert_eq!(shelf.words, "boq");
    for _ in 0..2 {
        press(&mut shelf, KeyCode::Backspace);
    }
    assert_eq!((shelf.words.as_str(), shelf.writing), ("b", true));
    press(&mut shelf, KeyCode::Backspace);
    press(&mut shelf, KeyCode::Backspace);
    assert!(!shelf.writing);
    assert_eq!(press(&mut shelf, KeyCode::Char('q')), Some(Effect::Leave));
    assert_eq!(press(&mut shelf, KeyCode::Esc), Some(Effect::Leave));
    let control = KeyEvent::new(KeyCode::Char('c'), KeyModifiers::CONTROL);
    type_in(&mut shelf, "snow");
    assert_eq!(update(&mut shelf, Message::Key(control)), Some(Effect::Leave));
}

#[test]
fn the_cursor_stays_on_its_dance_while_others_become_known() {
    let mut shelf = shelf();
    press(&mut shelf, KeyCode::Down);
    press(&mut shelf, KeyCode::Down);
    assert_eq!(shelf.current().map(Slip::title), Some("March of the hills"));
    let late = glance("A first one", &[], |_| ());
    update(&mut shelf, Message::Looked("young.dance.json".into(), State::Known(Box::new(late))));
    assert_eq!(titles(&shelf)[0], "A first one");
    assert_eq!(shelf.current().map(Slip::title), Some("March of the hills"));
    type_in(&mut shelf, "hills");
    assert_eq!((shelf.cursor, shelf.current().map(Slip::title)), (0, Some("March of the hills")));
    press(&mut shelf, KeyCode::Esc);
    assert_eq!(shelf.current().map(Slip::title), Some("March of the hills"));
    press(&mut shelf, KeyCode::End);
    press(&mut shelf, KeyCode::PageDown);
    assert_eq!(shelf.cursor, 6);
    press(&mut shelf, KeyCode::Home);
    press(&mut shelf, KeyCode::Up);
    assert_eq!(shelf.cursor, 0);
}

#[test]
fn enter_offers_what_can_be_done_and_a_letter_or_enter_does_it() {
    let path = PathBuf::from("cat-on-the-stairs.dance.json");
    for (choice, letter, _) in Choice::ALL {
        let mut shelf = shelf();
        assert_eq!(press(&mut shelf, KeyCode::Enter), None);
        assert_eq!(shelf.choosing, Some(0));
        assert_eq!(press(&mut shelf, KeyCode::Char(letter)), Some(Effect::Do(choice, path.clone())));
        assert_eq!(shelf.choosing, None);
    }
    let mut shelf = shelf();
    press(&mut shelf, KeyCode::Enter);
    press(&mut shelf, KeyCode::Down);
    assert_eq!(press(&mut shelf, KeyCode::Enter), Some(Effect::Do(Choice::Sheet, path)));
    press(&mut shelf, KeyCode::Enter);
    assert_eq!(press(&mut shelf, KeyCode::Esc), None);
    assert_eq!(shelf.choosing, None);
    // A broken one says why, and an empty shelf offers nothing.
    type_in(&mut shelf, "torn");
    press(&mut shelf, KeyCode::Enter);
    assert_eq!(shelf.notice.as_deref(), Some("cannot open 'torn.dance.json': it is cut short"));
    type_in(&mut shelf, "xxxx");
    press(&mut shelf, KeyCode::Enter);
    assert_eq!(shelf.choosing, None);
}

#[test]
fn pictures_at_three_sizes() {
    let mut shelf = shelf();
    press(&mut shelf, KeyCode::Down);
    press(&mut shelf, KeyCode::Down);
    for (width, height) in [(80, 24), (120, 40), (200, 60)] {
        insta::assert_snapshot!(format!("the_shelf_at_{width}_by_{height}"), picture(&shelf, width, height));
    }
    press(&mut shelf, KeyCode::Enter);
    insta::assert_snapshot!("the_choices_at_80_by_24", picture(&shelf, 80, 24));
    press(&mut shelf, KeyCode::Esc);
    type_in(&mut shelf, "key");
    insta::assert_snapshot!("words_at_80_by_24", picture(&shelf, 80, 24));
    press(&mut shelf, KeyCode::Esc);
    press(&mut shelf, KeyCode::Char('?'));
    insta::assert_snapshot!("the_help_at_80_by_24", picture(&shelf, 80, 24));
}

#[test]
fn every_size_is_drawn_and_an_empty_shelf_says_how_to_fill_it() {
    let mut full = shelf();
    for keys in ["", "\n", "x", "?"] {
        for letter in keys.chars() {
            press(&mut full, if letter == '\n' { KeyCode::Enter } else { KeyCode::Char(letter) });
        }
        for (width, height) in [(0, 0), (1, 1), (20, 5), (30, 6), (40, 10), (60, 15), (80, 16), (300, 100)] {
            picture(&full, width, height);
        }
        press(&mut full, KeyCode::Esc);
        press(&mut full, KeyCode::Esc);
    }
    let empty = Shelf::new("new".into(), Vec::new(), PALETTE);
    let text = picture(&empty, 80, 24);
    assert!(
        text.contains("0 dances on the shelf 'new'") && text.contains("farandole draft song.mp3"),
        "{text}"
    );
}

#[test]
fn what_is_not_ready_has_its_own_colour_and_its_word() {
    let shelf = shelf();
    let area = Rect::new(0, 0, 80, 24);
    let mut buffer = Buffer::empty(area);
    draw(&shelf, area, &mut buffer);
    let (x, y) = (0..24)
        .find_map(|y| {
            let row: String = (0..80).map(|x| buffer[(x, y)].symbol()).collect();
            Some((row.find("2 to mend").map(|byte| row[..byte].chars().count())? as u16, y))
        })
        .expect("it is shown");
    assert_eq!(buffer[(x, y)].fg, PALETTE.style(Ink::Mark).fg.expect("a colour"));
}

#[test]
fn all_keys_are_in_the_docs_and_none_twice() {
    let page =
        std::fs::read_to_string(std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/shelf.md"))
            .expect("the page is there");
    for key in KEYS.iter().filter(|key| !key.help.is_empty()) {
        let row = format!("| `{}` | {} |", key.name, key.help);
        assert!(page.contains(&row), "docs/shelf.md lacks the row\n{row}");
    }
    let mut codes: Vec<String> =
        KEYS.iter().flat_map(|key| key.keys).map(|code| format!("{code:?}")).collect();
    let count = codes.len();
    codes.sort();
    codes.dedup();
    assert_eq!(codes.len(), count);
}
