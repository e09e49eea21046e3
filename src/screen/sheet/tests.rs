use super::*;
use crate::check::check;
use crate::dance::MoveBook;
use crate::dance::edit::History;
use crate::screen::colours::{Depth, Palette, Theme};
use crate::screen::floor::test_dance;
use crate::units::Beat;
use crossterm::event::{KeyCode, KeyEvent, KeyModifiers, MouseButton, MouseEvent, MouseEventKind};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

fn sheet(cues: &[(&str, f64, f64)]) -> Sheet {
    let palette = Palette { theme: Theme::Dark, depth: Depth::Full };
    Sheet::new(test_dance(cues), History::of_saved(), MoveBook::built_in(), palette)
}

fn press(sheet: &mut Sheet, code: KeyCode) -> Vec<Effect> {
    update(sheet, Message::Key(KeyEvent::new(code, KeyModifiers::NONE)))
}

fn keys(sheet: &mut Sheet, letters: &str) {
    for letter in letters.chars() {
        let code = if letter == '\n' { KeyCode::Enter } else { KeyCode::Char(letter) };
        press(sheet, code);
    }
}

fn shape(sheet: &Sheet) -> Vec<(f64, f64, String)> {
    let cues = sheet.dance.cues.iter();
    cues.map(|cue| (cue.at.0, cue.counts.0, sheet.dance.words_of(cue).to_owned())).collect()
}

fn text(sheet: &mut Sheet, width: u16, height: u16) -> String {
    update(sheet, Message::Size(width, height));
    let area = Rect::new(0, 0, width, height);
    let mut buffer = Buffer::empty(area);
    draw(sheet, area, &mut buffer);
    let row = |y| {
        let row: String = (0..width).map(|x| buffer[(x, y)].symbol()).collect();
        row.trim_end().to_owned()
    };
    (0..height).map(row).collect::<Vec<_>>().join("\n")
}

#[test]
fn a_move_is_pinned_by_a_few_letters_and_taken_back() {
    let mut sheet = sheet(&[]);
    keys(&mut sheet, "\nfree\n");
    let pinned = shape(&sheet);
    assert_eq!((pinned.len(), pinned[0].0, pinned[0].2.as_str()), (1, 0.0, "freeze"));
    let counts = pinned[0].1;
    keys(&mut sheet, "++-");
    assert_eq!(shape(&sheet)[0].1, counts + 1.0);
    keys(&mut sheet, "u");
    assert_eq!(shape(&sheet), pinned, "one gesture is one step");
    keys(&mut sheet, "u");
    assert!(shape(&sheet).is_empty());
    keys(&mut sheet, "zz");
    assert_eq!(shape(&sheet)[0].1, counts + 1.0);
}

#[test]
fn a_phrase_is_written_as_in_another() {
    let mut sheet = sheet(&[("march", 0.0, 8.0), ("hop", 8.0, 8.0)]);
    sheet.cursor = Beat(32.0);
    keys(&mut sheet, "aA\n");
    assert_eq!(shape(&sheet).iter().map(|cue| cue.0).collect::<Vec<_>>(), [0.0, 8.0, 32.0, 40.0]);
    keys(&mut sheet, "u");
    sheet.cursor = Beat(0.0);
    keys(&mut sheet, "h");
    assert_eq!(shape(&sheet).iter().map(|cue| cue.0).collect::<Vec<_>>(), [0.0, 8.0, 32.0, 40.0]);
}

#[test]
fn a_cue_is_copied_into_the_free_space_and_no_neighbour_is_touched() {
    let mut sheet = sheet(&[("march", 0.0, 8.0), ("hop", 12.0, 4.0)]);
    let before = sheet.dance.clone();
    keys(&mut sheet, ")");
    assert!(sheet.notice.as_ref().is_some_and(|notice| notice.0.starts_with("nothing was copied yet")));
    keys(&mut sheet, "(");
    assert_eq!(sheet.dance, before, "copying changes nothing");
    sheet.cursor = Beat(8.0);
    keys(&mut sheet, ")");
    let put = shape(&sheet);
    assert_eq!(
        put.iter().map(|cue| (cue.0, cue.1)).collect::<Vec<_>>(),
        [(0.0, 8.0), (8.0, 4.0), (12.0, 4.0)]
    );
    assert_eq!(put[1].2, "march");
    assert!(
        sheet.notice.as_ref().is_some_and(|notice| notice.0.contains("4 counts, for which there was room"))
    );
    // Inside another cue it ends with that one; at the end of the music, with the music.
    keys(&mut sheet, "u");
    assert_eq!(sheet.dance, before, "one step");
    sheet.cursor = Beat(14.0);
    keys(&mut sheet, ")");
    assert_eq!(
        shape(&sheet)[1..].iter().map(|cue| (cue.0, cue.1)).collect::<Vec<_>>(),
        [(12.0, 2.0), (14.0, 2.0)]
    );
    let last = sheet.dance.grid.end().0 - 1.0;
    sheet.cursor = Beat(last);
    keys(&mut sheet, ")");
    assert_eq!(shape(&sheet).last().map(|cue| (cue.0, cue.1)), Some((last, 1.0)));
    // Where it was taken from it stands already.
    sheet.cursor = Beat(0.0);
    keys(&mut sheet, ")");
    assert!(sheet.notice.as_ref().is_some_and(|notice| notice.0.contains("stands there already")));
}

#[test]
fn what_is_selected_is_copied_with_its_gaps_over_what_stands_there_in_one_step() {
    let mut sheet = sheet(&[("march", 0.0, 4.0), ("hop", 6.0, 4.0), ("clap", 32.0, 8.0)]);
    sheet.dance.cues[0].side = Some(crate::dance::Side::Left);
    sheet.dance.cues[1].lead = Some(crate::units::Counts(2.0));
    let before = sheet.dance.clone();
    for _ in 0..7 {
        update(&mut sheet, Message::Key(KeyEvent::new(KeyCode::Right, KeyModifiers::SHIFT)));
    }
    keys(&mut sheet, "(");
    assert_eq!(sheet.anchor, None);
    sheet.cursor = Beat(34.0);
    keys(&mut sheet, ")");
    let put = shape(&sheet);
    let there: Vec<_> = put[2..].iter().map(|cue| (cue.0, cue.1, cue.2.as_str())).collect();
    assert_eq!(there, [(32.0, 2.0, "clap"), (34.0, 4.0, "march"), (40.0, 2.0, "hop")]);
    assert_eq!(
        (sheet.dance.cues[3].side, sheet.dance.cues[4].lead),
        (before.cues[0].side, before.cues[1].lead)
    );
    keys(&mut sheet, "u");
    assert_eq!(sheet.dance, before);
    // What was copied outlives what it was copied from.
    sheet.cursor = Beat(0.0);
    keys(&mut sheet, "x");
    sheet.cursor = Beat(6.0);
    keys(&mut sheet, "x");
    sheet.cursor = Beat(10.0);
    keys(&mut sheet, ")");
    assert_eq!(shape(&sheet)[0].2, "march");
    assert!(sheet.dance.moves.iter().any(|entry| entry.words == "march"));
    sheet.anchor = Some(Beat(50.0));
    sheet.cursor = Beat(55.0);
    keys(&mut sheet, "(");
    assert!(sheet.notice.as_ref().is_some_and(|notice| notice.0.contains("nothing to copy")));
}

#[test]
fn ctrl_s_pressed_once_more_does_not_answer_the_question_what_is_to_be_overwritten() {
    let mut sheet = sheet(&[("march", 0.0, 8.0)]);
    let ask = Ask::Disk("someone else has changed it".into(), true);
    update(&mut sheet, Message::Ask(ask.clone()));
    let later = std::time::Duration::from_secs(5);
    update(&mut sheet, Message::Heard(crate::sound::Heard::default(), later));
    for letter in ['s', 'k', 't', 'l'] {
        let held = KeyEvent::new(KeyCode::Char(letter), KeyModifiers::CONTROL);
        assert!(update(&mut sheet, Message::Key(held)).is_empty(), "ctrl-{letter}");
        assert_eq!(sheet.mode, Mode::Ask(ask.clone()));
    }
    assert_eq!(press(&mut sheet, KeyCode::Char('s')), [Effect::Disk(crate::screen::desk::Choice::Overwrite)]);
}

#[test]
fn a_dance_that_another_program_has_left_can_be_taken_over_and_before_that_not() {
    let ctrl_o = |sheet: &mut Sheet| {
        update(sheet, Message::Key(KeyEvent::new(KeyCode::Char('o'), KeyModifiers::CONTROL)))
    };
    let mut sheet = sheet(&[("march", 0.0, 8.0)]);
    assert!(ctrl_o(&mut sheet).is_empty(), "it is hers already");
    sheet.read_only = Some("another program has it".into());
    assert!(ctrl_o(&mut sheet).is_empty());
    assert!(text(&mut sheet, 80, 24).contains("another program has it"));
    update(&mut sheet, Message::ReadOnly("it is free: ctrl-o".into(), true));
    keys(&mut sheet, "x");
    let seen = text(&mut sheet, 80, 24);
    assert!(seen.contains("it is free: ctrl-o") && seen.contains("ctrl-o go on here"), "{seen}");
    assert_eq!(sheet.dance.cues.len(), 1, "nothing is changed before it was read anew");
    assert_eq!(ctrl_o(&mut sheet), [Effect::TakeOver]);
    keys(&mut sheet, "k");
    assert!(text(&mut sheet, 80, 24).contains("it is free: ctrl-o"));
    assert_eq!(ctrl_o(&mut sheet), [Effect::TakeOver]);
    update(&mut sheet, Message::ReadOnly("somebody was quicker".into(), false));
    assert!(text(&mut sheet, 80, 24).contains("somebody was quicker"));
    assert!(ctrl_o(&mut sheet).is_empty());
}

#[test]
fn every_change_is_recorded_before_it_is_shown_and_read_only_refuses() {
    let mut sheet = sheet(&[("march", 0.0, 8.0)]);
    let effects = press(&mut sheet, KeyCode::Char('x'));
    assert!(matches!(effects[..], [Effect::Record(_), Effect::Check(_)]));
    sheet.read_only = Some("another program has it".into());
    assert!(press(&mut sheet, KeyCode::Char('u')).is_empty());
    assert!(shape(&sheet).is_empty());
}

#[test]
fn questions_words_and_leads_are_written() {
    let mut sheet = sheet(&[("march", 0.0, 8.0)]);
    keys(&mut sheet, "pfaster?\nyes\n");
    assert_eq!(sheet.dance.prompts[0].question, "faster?");
    assert_eq!(sheet.dance.prompts[0].answer, "yes");
    keys(&mut sheet, "e2\n");
    assert_eq!(sheet.dance.cues[0].lead.map(|lead| lead.0), Some(2.0));
    keys(&mut sheet, "ex\n");
    assert!(sheet.notice.is_some(), "a letter is no number");
}

#[test]
fn the_mouse_puts_the_cursor_and_stretches() {
    let mut sheet = sheet(&[("march", 0.0, 4.0)]);
    text(&mut sheet, 80, 24);
    let row = paper(&sheet).y + sheet.layout.lines[0].words_row(sheet.layout.contours) as u16;
    let column = |count: u16| sheet.layout.margin + count * sheet.layout.cell + 1;
    let (from, to) = (column(3), column(6));
    let mut at = |kind, column| {
        update(&mut sheet, Message::Mouse(MouseEvent { kind, column, row, modifiers: KeyModifiers::NONE }))
    };
    at(MouseEventKind::Down(MouseButton::Left), from);
    at(MouseEventKind::Drag(MouseButton::Left), to);
    assert_eq!(shape(&sheet)[0].1, 7.0);
    assert_eq!(sheet.cursor, Beat(3.0));
}

#[test]
fn the_mouse_carries_a_cue_past_another_and_back_in_one_step() {
    let cues = [("march", 0.0, 4.0), ("hop", 4.0, 2.0)];
    let mut sheet = sheet(&cues);
    text(&mut sheet, 80, 24);
    let before = sheet.dance.clone();
    let row = paper(&sheet).y + sheet.layout.lines[0].words_row(sheet.layout.contours) as u16;
    let (margin, cell) = (sheet.layout.margin, sheet.layout.cell);
    let at = |sheet: &mut Sheet, kind, count: u16| {
        let column = margin + count * cell + 1;
        update(sheet, Message::Mouse(MouseEvent { kind, column, row, modifiers: KeyModifiers::NONE }))
    };
    let (down, drag) = (MouseEventKind::Down(MouseButton::Left), MouseEventKind::Drag(MouseButton::Left));
    at(&mut sheet, down, 1);
    at(&mut sheet, drag, 2);
    assert_eq!(shape(&sheet)[0].0, 1.0, "held by its second count");
    at(&mut sheet, drag, 5);
    assert_eq!(shape(&sheet), [(4.0, 4.0, "march".to_owned())], "it lies over the other one");
    at(&mut sheet, drag, 3);
    at(&mut sheet, MouseEventKind::Up(MouseButton::Left), 3);
    assert_eq!(shape(&sheet)[0], (2.0, 4.0, "march".to_owned()));
    keys(&mut sheet, "u");
    assert_eq!(sheet.dance, before, "one drag is one step");
    // Past the other one: its index changes on the way, and it is still the one that is held.
    at(&mut sheet, down, 4);
    at(&mut sheet, drag, 7);
    at(&mut sheet, drag, 0);
    at(&mut sheet, drag, 6);
    at(&mut sheet, MouseEventKind::Up(MouseButton::Left), 6);
    assert_eq!(shape(&sheet), [(0.0, 4.0, "march".to_owned()), (6.0, 2.0, "hop".to_owned())]);
    keys(&mut sheet, "u");
    assert_eq!(sheet.dance, before);
}

#[test]
fn the_help_has_every_key_once_whatever_the_size_and_ends_with_its_last_page() {
    let mut sheet = sheet(&[]);
    for (width, height) in [(80, 24), (60, 12), (120, 40), (200, 60), (300, 100)] {
        text(&mut sheet, width, height);
        keys(&mut sheet, "?");
        let mut all = String::new();
        let mut last = usize::MAX;
        while let Mode::Help(page) = sheet.mode
            && page != last
        {
            all.push_str(&text(&mut sheet, width, height));
            last = page;
            press(&mut sheet, KeyCode::PageDown);
        }
        if width >= 80 {
            for binding in KEYS {
                let once = all.matches(binding.help).count();
                assert!(once >= 1, "'{}' at {width}x{height}", binding.help);
            }
            for group in Group::ALL {
                assert_eq!(
                    all.lines().filter(|line| line.contains(&format!(" {}", group.name()))).count(),
                    1,
                    "{all}"
                );
            }
        }
        press(&mut sheet, KeyCode::Esc);
        assert_eq!(sheet.mode, Mode::Sheet);
    }
}

#[test]
fn after_any_edit_the_paper_is_as_if_laid_out_anew() {
    let mut sheet = sheet(&[("march", 0.0, 8.0), ("hop", 8.0, 8.0), ("tiptoe", 16.0, 16.0)]);
    text(&mut sheet, 120, 40);
    for letter in "+++>>-x\nfree\n/spwhy?\nyes\nuzhmuuuuuzzz".chars() {
        keys(&mut sheet, &letter.to_string());
        let anew = Layout::new(&sheet.dance, sheet.listening.as_deref(), &[], sheet.size);
        assert_eq!(sheet.layout, anew, "after '{letter}'");
    }
}

#[test]
fn it_is_drawn_at_every_size_and_shows_what_matters() {
    let mut sheet = sheet(&[("march", 0.0, 8.0), ("hop", 8.0, 8.0), ("tiptoe", 16.0, 16.0)]);
    let report = check(&sheet.dance, None);
    let state = sheet.state;
    update(&mut sheet, Message::Checked(state, Box::new(report)));
    for mode in ["", "\n", "?", "n"] {
        keys(&mut sheet, mode);
        for (width, height) in [(1, 1), (20, 5), (40, 10), (80, 24), (120, 40), (200, 60), (300, 100)] {
            text(&mut sheet, width, height);
        }
        press(&mut sheet, KeyCode::Esc);
    }
    let picture = text(&mut sheet, 80, 24);
    for words in ["Round the oak", "march", "hop", "1 A", "all keys"] {
        assert!(picture.contains(words), "'{words}' in\n{picture}");
    }
}

#[test]
fn every_finding_is_visited_also_where_several_stand_on_one_count() {
    let mut sheet = sheet(&[("march", 0.0, 1.0), ("hop", 1.0, 1.0), ("tiptoe", 2.0, 30.0)]);
    sheet.dance.moves.iter_mut().for_each(|entry| entry.seated.words.clear());
    let report = check(&sheet.dance, None);
    let (all, state) = (report.findings.clone(), sheet.state);
    assert!(all.iter().any(|one| one.at.is_none()), "{all:?}");
    assert!(all.windows(2).any(|pair| pair[0].at.is_some() && pair[0].at == pair[1].at), "{all:?}");
    update(&mut sheet, Message::Checked(state, Box::new(report)));
    let mut seen = Vec::new();
    for _ in 0..=all.len() {
        keys(&mut sheet, "v");
        let shown = sheet.finding_here().expect("there are findings").clone();
        assert!(shown.at.is_none_or(|at| (at.0 - sheet.cursor.0).abs() <= 0.5), "{shown:?}");
        seen.push(shown);
    }
    let first = all.iter().position(|one| *one == seen[0]).expect("one of them");
    let round: Vec<_> = all.iter().cycle().skip(first).take(all.len() + 1).cloned().collect();
    assert_eq!(seen, round);
    press(&mut sheet, KeyCode::Right);
    assert_eq!(sheet.visited, None, "going on by oneself ends it");
}

/// What a key does about a finding stands there however long the finding is.
#[test]
fn the_way_out_is_never_cut_off() {
    let mut sheet =
        sheet(&[("march", 0.0, 1.0), ("stamp, stamp, clap and then all the way round", 1.0, 1.0)]);
    let report = check(&sheet.dance, None);
    let state = sheet.state;
    let count = report.findings.len();
    update(&mut sheet, Message::Checked(state, Box::new(report)));
    for _ in 0..count {
        keys(&mut sheet, "v");
        let picture = text(&mut sheet, 80, 24);
        let foot: Vec<&str> = picture.lines().skip(20).flat_map(str::split_whitespace).collect();
        assert!(foot.join(" ").contains("i ignores it)"), "{picture}");
    }
}
