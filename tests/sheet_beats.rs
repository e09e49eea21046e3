//! Repairing the beats from the count sheet, with the real decoder behind it: one dance, one history, one place.

#[path = "support/goats.rs"]
mod goats;

use crossterm::event::{KeyCode, KeyEvent, KeyModifiers, MouseButton, MouseEvent, MouseEventKind};
use farandole::dance::MoveBook;
use farandole::dance::edit::History;
use farandole::listening::Remembered;
use farandole::screen::colours::Palette;
use farandole::screen::desk::Again;
use farandole::screen::sheet::{Ask, Effect, Message, Mode, Music, Sheet, draw, update};
use farandole::sound::{Heard, Sound, Speed};
use farandole::units::{Beat, Seconds};
use goats::GOATS;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use std::time::Duration;

/// She at the sheet, with the decoder behind her.
struct Work {
    sheet: Sheet,
    now: Duration,
    heard: Heard,
    /// What was asked for outside, hearing again aside.
    wanted: Vec<Effect>,
    remembered: Remembered,
}

impl Work {
    fn new() -> Self {
        let sheet =
            Sheet::new(GOATS.0.clone(), History::of_saved(), MoveBook::built_in(), Palette::default());
        let mut work = Self {
            sheet,
            now: Duration::ZERO,
            heard: Heard { sound: Sound::Sounding, ..Heard::default() },
            wanted: Vec::new(),
            remembered: Remembered::default(),
        };
        work.tell(Message::Size(80, 24));
        work.tell(Message::Music(Music::Ready));
        work.tell(Message::Repairable(GOATS.1.sureness(&GOATS.0.grid), None));
        work
    }

    fn tell(&mut self, message: Message) {
        for effect in update(&mut self.sheet, message) {
            if let Effect::HearAgain { number, anchors } = effect {
                let heard = GOATS.1.grid_again(&anchors, &mut self.remembered);
                let (grid, sureness) = (heard.grid.clone().rounded(), heard.sureness.clone());
                let listening = GOATS.1.describe(heard);
                self.tell(Message::Again(Box::new(Again { number, grid, sureness, listening })));
            } else {
                self.wanted.push(effect);
            }
        }
    }

    fn press(&mut self, code: KeyCode) {
        self.now += Duration::from_millis(100);
        self.tell(Message::Heard(self.heard, self.now));
        self.tell(Message::Key(KeyEvent::new(code, KeyModifiers::NONE)));
    }

    fn keys(&mut self, letters: &str) {
        letters.chars().for_each(|letter| self.press(KeyCode::Char(letter)));
    }

    fn go_to(&mut self, beat: usize) {
        self.press(KeyCode::Home);
        (0..beat).for_each(|_| self.press(KeyCode::Right));
    }

    fn text(&self) -> String {
        let area = Rect::new(0, 0, 80, 24);
        let mut buffer = Buffer::empty(area);
        draw(&self.sheet, area, &mut buffer);
        let row = |y| (0..80).map(|x| buffer[(x, y)].symbol()).collect::<String>() + "\n";
        (0..24).map(row).collect()
    }

    fn wants(&mut self, what: impl Fn(&Effect) -> bool) -> bool {
        std::mem::take(&mut self.wanted).iter().any(what)
    }

    fn notice(&self) -> &str {
        self.sheet.repairs.as_ref().and_then(|repairs| repairs.notice.as_deref()).unwrap_or_default()
    }
}

#[test]
fn beats_are_repaired_and_undone_in_the_history_of_the_sheet() {
    let mut work = Work::new();
    let draft = work.sheet.dance.clone();
    work.press(KeyCode::Tab);
    let place = work.sheet.cursor;
    work.keys("s");
    let sided = work.sheet.dance.clone();
    assert_ne!(sided, draft);
    work.keys("k");
    assert!(work.text().contains("repairing the beats"));
    assert_eq!(work.sheet.repairs.as_ref().expect("open").cursor, place.index());
    assert!(!work.sheet.repairs.as_ref().expect("open").sureness.is_empty(), "how sure is known at once");
    work.go_to(4);
    work.wanted.clear();
    work.keys("...");
    let nudged = work.sheet.dance.clone();
    assert!((nudged.grid.beats()[4].0 - draft.grid.beats()[4].0 - 0.03).abs() < 1e-3);
    assert_eq!(nudged.cues, sided.cues, "moves stay on their counts");
    assert!(work.wants(|effect| *effect == Effect::Clicks), "clicks go with the beats");
    work.press(KeyCode::Esc);
    assert!(work.text().contains("all keys"));
    assert_eq!(work.sheet.cursor, place, "back at her place");
    // Undone from the sheet: the run of nudges, then the side.
    work.wanted.clear();
    work.keys("u");
    assert_eq!(work.sheet.dance, sided);
    assert!(work.wants(|effect| *effect == Effect::Clicks));
    assert_eq!(work.sheet.listening.as_ref().expect("heard again").grid, sided.grid);
    work.keys("u");
    assert_eq!(work.sheet.dance, draft);
    // And done again from the repairing.
    work.keys("kz");
    assert_eq!(work.sheet.dance, sided);
    work.keys("z");
    assert_eq!(work.sheet.dance, nudged);
    work.keys("uu");
    assert_eq!(work.sheet.dance, draft);
    work.keys("u");
    assert_eq!(work.notice(), "nothing left to undo");
}

#[test]
fn she_comes_back_to_the_music_she_came_from_when_beats_are_halved() {
    let mut work = Work::new();
    let beat = Beat(16.0);
    work.sheet.cursor = beat;
    let at = work.sheet.dance.grid.seconds_at(beat);
    let music: Vec<Seconds> =
        work.sheet.dance.cues.iter().map(|cue| work.sheet.dance.grid.seconds_at(cue.at)).collect();
    let cues = work.sheet.dance.cues.len();
    work.keys("k");
    work.press(KeyCode::Home);
    work.keys("h");
    assert!(work.sheet.dance.grid.len() < GOATS.0.grid.len() - 20, "{}", work.notice());
    work.keys("k");
    let there = work.sheet.dance.grid.seconds_at(work.sheet.cursor);
    assert!((there.0 - at.0).abs() < 0.2, "{there:?} for {at:?}");
    assert_eq!(work.sheet.dance.cues.len(), cues);
    for (cue, at) in work.sheet.dance.cues.iter().zip(music) {
        let now = work.sheet.dance.grid.seconds_at(cue.at);
        assert!((now.0 - at.0).abs() < 0.2, "{now:?} for {at:?}");
    }
}

#[test]
fn she_taps_along_with_clicks_while_it_plays() {
    let mut work = Work::new();
    work.keys("k");
    work.wanted.clear();
    work.keys("c");
    assert!(work.wants(|effect| *effect == Effect::Click(true)));
    assert_eq!(work.notice(), "clicks on the beat");
    work.keys(" ");
    let effects = std::mem::take(&mut work.wanted);
    assert!(matches!(effects[..], [Effect::Seek(_), Effect::Play]), "{effects:?}");
    work.heard.playing = true;
    let beats: Vec<f64> = work.sheet.dance.grid.beats()[8..12].iter().map(|beat| beat.0 + 0.02).collect();
    for at in beats {
        work.heard.at = Seconds(at);
        work.keys("t");
    }
    assert_eq!(work.notice(), "tapped 4 times: the beats were so already");
    // Slower and round and round, without leaving: what the sheet knows of the sound goes along.
    work.wanted.clear();
    work.keys("-");
    assert!(work.wants(|effect| *effect == Effect::Speed(Speed::percent(75))));
    work.keys("--++");
    assert_eq!(work.sheet.speed, Speed::NORMAL);
    work.keys("-r");
    assert!(work.text().contains("playing, round, 75 %"), "{}", work.text());
    let phrase = work.sheet.dance.grid.phrase_at(Beat(11.0)).expect("phrases");
    let span = [phrase.start, phrase.end].map(|beat| work.sheet.dance.grid.seconds_at(beat));
    assert!(work.wants(|effect| *effect == Effect::Repeat(Some((span[0], span[1])))));
    work.keys("r");
    assert!(work.wants(|effect| *effect == Effect::Repeat(None)));
    work.keys(" ");
    assert!(work.wants(|effect| *effect == Effect::Pause));
    work.heard.playing = false;
    work.keys("ku");
    assert_eq!(work.sheet.dance, GOATS.0, "a run of taps is one step");
}

#[test]
fn a_click_goes_to_its_beat_and_the_wheel_by_phrases() {
    let mut work = Work::new();
    work.keys("k");
    work.press(KeyCode::Home);
    let mouse = |kind, column, row| MouseEvent { kind, column, row, modifiers: KeyModifiers::NONE };
    // Margin of 11, counts of 4 columns, lines of 3 rows from the third on.
    work.tell(Message::Mouse(mouse(MouseEventKind::Down(MouseButton::Left), 11 + 4 * 5 + 2, 2)));
    assert_eq!(work.sheet.repairs.as_ref().expect("open").cursor, 5);
    work.tell(Message::Mouse(mouse(MouseEventKind::Down(MouseButton::Left), 3, 2)));
    work.tell(Message::Mouse(mouse(MouseEventKind::Down(MouseButton::Left), 40, 23)));
    assert_eq!(work.sheet.repairs.as_ref().expect("open").cursor, 5, "margin and key line are no beats");
    work.tell(Message::Mouse(mouse(MouseEventKind::ScrollDown, 3, 2)));
    let second = work.sheet.dance.grid.phrases()[1].start;
    assert_eq!(work.sheet.repairs.as_ref().expect("open").cursor, second);
}

#[test]
fn questions_and_troubles_are_seen_while_beats_are_repaired() {
    let mut work = Work::new();
    work.keys("k");
    work.tell(Message::Trouble(Some("the disk is full".into())));
    assert!(work.text().contains("the disk is full"));
    work.tell(Message::Saved);
    assert!(!work.text().contains("the disk is full"));
    work.tell(Message::Ask(Ask::Disk("someone else has changed it".into(), true)));
    let text = work.text();
    assert!(text.contains("repairing the beats") && text.contains("someone else has changed it"), "{text}");
    work.now += Duration::from_secs(3);
    work.keys("k");
    assert!(work.wants(|effect| matches!(effect, Effect::Disk(_))), "'k' answers and does not leave");
    assert!(work.sheet.repairs.is_some() && work.sheet.mode == Mode::Sheet);
    work.sheet.read_only = Some("only to look at".into());
    work.keys("h");
    assert_eq!(work.notice(), "only to look at");
    assert_eq!(work.sheet.dance, GOATS.0);
}

#[test]
fn who_came_to_repair_leaves_from_there_or_goes_to_the_sheet() {
    let mut work = Work::new();
    let effects = work.sheet.repair(true);
    assert_eq!(effects, []);
    work.wanted.clear();
    work.press(KeyCode::Esc);
    assert!(work.wants(|effect| *effect == Effect::Leave(false)));
    work.keys("k");
    assert!(work.sheet.repairs.is_none());
    work.keys("k");
    work.press(KeyCode::Esc);
    assert!(work.sheet.repairs.is_none() && !work.wants(|effect| matches!(effect, Effect::Leave(_))));
}

#[test]
fn another_dance_that_comes_while_beats_are_repaired_is_the_one_that_is_repaired() {
    let mut work = Work::new();
    work.keys("k");
    work.go_to(4);
    work.keys("..");
    let mut theirs = GOATS.0.clone();
    theirs.title = "Sheep".into();
    work.sheet.replace(theirs.clone(), History::of_saved());
    assert!(work.text().contains("repairing the beats  Sheep"));
    work.keys(".");
    work.keys("u");
    assert_eq!(work.sheet.dance, theirs);
}
