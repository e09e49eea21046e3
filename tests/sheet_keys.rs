//! The count sheet, whatever keys are pressed and wherever the mouse is put: every change is in the journal with the key
//! that made it, can be undone, and comes back from a journal cut anywhere.

#[path = "support/choreography.rs"]
mod choreography;
#[path = "support/desk.rs"]
mod desk;

use choreography::{any_dance, large, small};
use crossterm::event::{KeyCode, KeyEvent, KeyModifiers, MouseButton, MouseEvent, MouseEventKind};
use desk::Paper;
use farandole::check::check;
use farandole::dance::edit::{History, Record};
use farandole::dance::file::canonical;
use farandole::dance::{Dance, MoveBook};
use farandole::screen::colours::Palette;
use farandole::screen::sheet::{Ask, Effect, Message, Mode, Sheet, draw, update};
use farandole::shelf::journal::{Journal, read};
use farandole::sound::Heard;
use proptest::prelude::*;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use std::time::Duration;

/// She at the sheet, with a journal beside her.
struct Desk {
    sheet: Sheet,
    paper: Paper,
    journal: Journal,
    /// The dance after each record.
    shown: Vec<Dance>,
    now: Duration,
}

impl Desk {
    fn with(dance: Dance) -> Self {
        let paper = Paper::default();
        let journal = Journal::on(Box::new(paper.clone()), &dance, Some([0; 32]));
        let shown = vec![dance.clone()];
        let mut sheet = Sheet::new(dance, History::of_saved(), MoveBook::built_in(), Palette::default());
        update(&mut sheet, Message::Size(80, 24));
        Self { sheet, paper, journal, shown, now: Duration::ZERO }
    }

    /// A moment later, something happens.
    fn tell(&mut self, message: Message) -> Vec<Effect> {
        self.now += Duration::from_millis(150);
        update(&mut self.sheet, Message::Heard(Heard::default(), self.now));
        let effects = update(&mut self.sheet, message);
        let records: Vec<&Record> = effects
            .iter()
            .filter_map(|effect| if let Effect::Record(record) = effect { Some(&**record) } else { None })
            .collect();
        // One record a key: a crash finds all of a key, or nothing.
        assert!(records.len() <= 1, "{records:?}");
        for record in records {
            self.journal.append(record).expect("memory has room");
            self.shown.push(self.sheet.dance.clone());
        }
        assert_eq!(self.shown.last(), Some(&self.sheet.dance), "nothing is shown that is not in the journal");
        effects
    }

    fn key(&mut self, code: KeyCode) -> Vec<Effect> {
        self.tell(Message::Key(KeyEvent::new(code, KeyModifiers::NONE)))
    }

    fn keys(&mut self, letters: &str) {
        for letter in letters.chars() {
            self.key(if letter == '\n' { KeyCode::Enter } else { KeyCode::Char(letter) });
        }
    }

    fn mouse(&mut self, kind: MouseEventKind, (column, row): (u16, u16)) {
        self.tell(Message::Mouse(MouseEvent { kind, column, row, modifiers: KeyModifiers::NONE }));
    }

    /// Lets go of whatever was begun.
    fn let_go(&mut self) {
        for _ in 0..4 {
            self.key(KeyCode::Esc);
        }
        assert_eq!(self.sheet.mode, Mode::Sheet);
    }

    /// Undoes everything; how many steps that were.
    fn undo_all(&mut self) -> usize {
        let mut steps = 0;
        while self.sheet.history.undo_label().is_some() {
            self.key(KeyCode::Char('u'));
            steps += 1;
        }
        steps
    }
}

#[derive(Debug, Clone)]
enum Event {
    Key(KeyEvent),
    Mouse(MouseEvent),
    Check,
}

fn any_event() -> impl Strategy<Value = Event> {
    let key = |code, modifiers| Event::Key(KeyEvent::new(code, modifiers));
    let letter = prop::char::ranges(vec![' '..='~'].into());
    let special = prop::sample::select(vec![
        KeyCode::Enter,
        KeyCode::Enter,
        KeyCode::Enter,
        KeyCode::Esc,
        KeyCode::Backspace,
        KeyCode::Delete,
        KeyCode::Left,
        KeyCode::Right,
        KeyCode::Up,
        KeyCode::Down,
        KeyCode::PageDown,
        KeyCode::Home,
        KeyCode::End,
        KeyCode::Tab,
        KeyCode::BackTab,
    ]);
    let kind = prop::sample::select(vec![
        MouseEventKind::Down(MouseButton::Left),
        MouseEventKind::Down(MouseButton::Left),
        MouseEventKind::Drag(MouseButton::Left),
        MouseEventKind::Up(MouseButton::Left),
        MouseEventKind::ScrollDown,
        MouseEventKind::ScrollUp,
        MouseEventKind::Down(MouseButton::Right),
    ]);
    prop_oneof![
        8 => letter.prop_map(move |letter| key(KeyCode::Char(letter), KeyModifiers::NONE)),
        // The keys that change most.
        6 => prop::sample::select("wxpnydsmajht/+-><uz()()".chars().collect::<Vec<_>>())
            .prop_map(move |letter| key(KeyCode::Char(letter), KeyModifiers::NONE)),
        6 => special.clone().prop_map(move |code| key(code, KeyModifiers::NONE)),
        2 => special.prop_map(move |code| key(code, KeyModifiers::SHIFT)),
        1 => prop::sample::select("zyjs".chars().collect::<Vec<_>>())
            .prop_map(move |letter| key(KeyCode::Char(letter), KeyModifiers::CONTROL)),
        3 => (kind, 0..82u16, 0..26u16).prop_map(|(kind, column, row)| {
            Event::Mouse(MouseEvent { kind, column, row, modifiers: KeyModifiers::NONE })
        }),
        1 => Just(Event::Check),
    ]
}

fn draws(sheet: &Sheet) {
    let area = Rect::new(0, 0, sheet.size.0, sheet.size.1);
    draw(sheet, area, &mut Buffer::empty(area));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn any_keys_are_kept_undone_and_recovered_from_a_journal_cut_anywhere(
        start in any_dance(),
        events in prop::collection::vec(any_event(), 0..80),
        cut in any::<prop::sample::Index>(),
    ) {
        let mut work = Desk::with(start.clone());
        for event in events {
            match event {
                Event::Key(key) => drop(work.tell(Message::Key(key))),
                Event::Mouse(mouse) => drop(work.tell(Message::Mouse(mouse))),
                Event::Check => {
                    let report = check(&work.sheet.dance, None);
                    let state = work.sheet.state;
                    work.tell(Message::Checked(state, Box::new(report)));
                }
            }
            draws(&work.sheet);
        }
        prop_assert_eq!(&canonical(&work.sheet.dance), &work.sheet.dance);
        let bytes = work.paper.0.lock().expect("whole").0.clone();
        if let Some(whole) = read(&bytes) {
            work.sheet.history.pause();
            prop_assert_eq!(&whole.dance, &work.sheet.dance);
            prop_assert_eq!(&whole.history, &work.sheet.history);
            if let Some(part) = read(&bytes[..cut.index(bytes.len())]) {
                prop_assert_eq!(&part.dance, &work.shown[part.changes]);
            }
        } else {
            prop_assert_eq!(work.shown.len(), 1);
        }
        work.let_go();
        let end = work.sheet.dance.clone();
        let steps = work.undo_all();
        prop_assert_eq!(&work.sheet.dance, &start);
        for _ in 0..steps {
            work.key(KeyCode::Char('z'));
        }
        prop_assert_eq!(&work.sheet.dance, &end);
    }
}

#[test]
fn what_is_typed_is_kept_letter_by_letter_and_is_one_step() {
    let mut work = Desk::with(small());
    work.keys("nblue box");
    assert_eq!(work.sheet.dance.notes, "blue box");
    assert_eq!(work.shown.len(), 9, "eight letters, eight records");
    work.keys("\nu");
    assert_eq!(work.sheet.dance, small());
    // Let go of with escape, it is as it was, and can still be brought back.
    work.keys("dSheep");
    assert_eq!(work.sheet.dance.title, "GoatsSheep");
    work.key(KeyCode::Esc);
    assert_eq!(work.sheet.dance, small());
    work.keys("z");
    assert_eq!(work.sheet.dance.title, "GoatsSheep");
    work.keys("u");
    // A question and its answer are one step, and escape at the answer leaves the question.
    work.key(KeyCode::Home);
    work.keys("pLoud?\nYes\n");
    assert_eq!(
        (&*work.sheet.dance.prompts[0].question, &*work.sheet.dance.prompts[0].answer),
        ("Loud?", "Yes")
    );
    work.keys("u");
    assert_eq!(work.sheet.dance, small());
    work.keys("pLoud?\nNo");
    work.key(KeyCode::Esc);
    assert_eq!((&*work.sheet.dance.prompts[0].question, &*work.sheet.dance.prompts[0].answer), ("Loud?", ""));
    work.keys("u");
    assert_eq!(work.sheet.dance, small());
    // Rubbed out to nothing, a question is taken away only when she says so.
    let at = work.sheet.dance.prompts[0].at;
    work.sheet.cursor = at;
    work.keys("p");
    for _ in 0..9 {
        work.key(KeyCode::Backspace);
    }
    assert_eq!(work.sheet.dance, small());
    work.keys("\n");
    assert!(work.sheet.dance.prompts.is_empty());
    work.keys("u");
    assert_eq!(work.sheet.dance, small());
    // A title is not nothing.
    work.keys("d");
    for _ in 0..9 {
        work.key(KeyCode::Backspace);
    }
    work.keys("\n");
    assert_eq!(work.sheet.dance, small());
    assert_eq!(work.sheet.notice.as_ref().map(|notice| &*notice.0), Some("a dance needs a title"));
}

#[test]
fn free_words_take_the_free_space_and_no_more_however_long_they_are() {
    let mut dance = small();
    dance.cues.remove(1);
    let mut work = Desk::with(dance.clone());
    work.sheet.cursor = farandole::units::Beat(13.0);
    work.keys("wto the door");
    let cue = work.sheet.dance.cues[1].clone();
    assert_eq!((cue.at.0, cue.counts.0, cue.words.as_deref()), (13.0, 4.0, Some("to the door")));
    assert_eq!(work.sheet.dance.cues.len(), 3);
    work.keys("\nu");
    assert_eq!(work.sheet.dance, dance);
}

#[test]
fn a_move_put_into_another_leaves_the_neighbours_alone() {
    let mut work = Desk::with(small());
    work.sheet.cursor = farandole::units::Beat(3.0);
    work.keys("\nfree\n");
    let shape: Vec<(f64, f64)> = work.sheet.dance.cues.iter().map(|cue| (cue.at.0, cue.counts.0)).collect();
    assert_eq!(shape[0], (1.0, 2.0));
    assert_eq!(shape[1].0, 3.0);
    assert!(shape[1].1 <= 6.0, "{shape:?}");
    assert!(shape.contains(&(9.0, 8.0)) && shape.contains(&(17.0, 8.0)), "{shape:?}");
}

#[test]
fn a_question_that_comes_up_takes_no_letter_for_an_answer_and_loses_none() {
    let mut work = Desk::with(small());
    work.keys("nta");
    let question = Ask::Disk("someone else has changed it".into(), true);
    work.tell(Message::Ask(question));
    // She types on, and has not seen it yet: 'k' would keep both, 't' take theirs, 's' write over it.
    for letter in "kts".chars() {
        assert_eq!(work.key(KeyCode::Char(letter)), []);
        assert!(matches!(work.sheet.mode, Mode::Ask(_)));
    }
    work.now += Duration::from_secs(2);
    assert_eq!(work.key(KeyCode::Char('l')), []);
    assert!(work.sheet.trouble.as_ref().is_some_and(|why| why.contains("until you have decided")));
    work.keys("ke\n");
    assert_eq!(work.sheet.dance.notes, "take");
    work.keys("u");
    assert_eq!(work.sheet.dance, small());
}

#[test]
fn a_slow_drag_over_a_neighbour_and_back_leaves_it_whole() {
    let mut work = Desk::with(small());
    // Line by line: the phrases have eight counts after a pickup of one.
    let words = |line: usize| {
        let line = &work.sheet.layout.lines[line];
        let row = line.top + line.words_row(work.sheet.layout.contours);
        farandole::screen::sheet::paper(&work.sheet).y + row as u16
    };
    let (row, below) = (words(1), words(2));
    let column = |count: u16| work.sheet.layout.margin + count * work.sheet.layout.cell + 1;
    let (eighth, third) = (column(7), column(2));
    work.mouse(MouseEventKind::Down(MouseButton::Left), (eighth, row));
    work.mouse(MouseEventKind::Drag(MouseButton::Left), (third, below));
    assert_eq!(work.sheet.dance.cues[0].counts.0, 11.0);
    // Longer than a gesture of keys may last.
    work.now += Duration::from_secs(10);
    work.mouse(MouseEventKind::Drag(MouseButton::Left), (eighth, row));
    work.mouse(MouseEventKind::Up(MouseButton::Left), (eighth, row));
    assert_eq!(work.sheet.dance, small());
    assert_eq!(work.sheet.history.undo_label(), None, "and nothing is left to undo");
}

#[test]
fn two_clicks_on_one_count_open_the_moves_and_a_click_takes_one() {
    let mut work = Desk::with(small());
    let line = &work.sheet.layout.lines[1];
    let place =
        (work.sheet.layout.margin + 1, farandole::screen::sheet::paper(&work.sheet).y + line.top as u16);
    work.mouse(MouseEventKind::Down(MouseButton::Left), place);
    assert_eq!(work.sheet.cursor.0, 1.0);
    work.now += Duration::from_secs(1);
    work.mouse(MouseEventKind::Down(MouseButton::Left), place);
    assert_eq!(work.sheet.mode, Mode::Sheet, "too late for a double click");
    work.mouse(MouseEventKind::Down(MouseButton::Left), place);
    assert!(matches!(work.sheet.mode, Mode::Choose(..)));
    work.mouse(MouseEventKind::ScrollDown, place);
    work.mouse(MouseEventKind::ScrollDown, place);
    assert!(matches!(work.sheet.mode, Mode::Choose(_, _, 2)));
    let list = farandole::screen::sheet::paper(&work.sheet).bottom() + 2;
    work.mouse(MouseEventKind::Down(MouseButton::Left), (20, list + 1));
    assert!(matches!(work.sheet.mode, Mode::Choose(_, _, 1)));
    let wanted = work.sheet.found("")[1].id.clone();
    work.mouse(MouseEventKind::Down(MouseButton::Left), (20, list + 1));
    assert_eq!(work.sheet.mode, Mode::Sheet);
    assert_eq!(work.sheet.dance.cues[0].movement, Some(wanted));
}

#[test]
fn hints_go_once_they_were_followed() {
    let mut work = Desk::with(small());
    assert_eq!(work.sheet.hint, 0);
    work.keys("+u");
    assert_eq!(work.sheet.hint, 0, "the first comes first");
    work.keys("\nfree\n");
    assert_eq!(work.sheet.hint, 1);
    work.keys("+");
    assert_eq!(work.sheet.hint, 2);
    work.keys("r");
    work.tell(Message::Music(farandole::screen::sheet::Music::Ready));
    work.keys(" ");
    assert_eq!(work.sheet.hint, 3);
}

#[test]
fn the_largest_dance_is_drawn_at_every_size() {
    let mut work = Desk::with(large());
    for (width, height) in [(0, 0), (1, 1), (2, 80), (300, 3), (80, 24), (300, 100)] {
        work.tell(Message::Size(width, height));
        draws(&work.sheet);
    }
}
