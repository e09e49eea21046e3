use super::super::stage::tests::dance;
use super::*;
use crate::dance::Prompt;
use crate::screen::colours::Depth;
use crate::sound::{HandClock, Player, Programme, Transport};
use crate::units::Beat;
use crossterm::event::{KeyCode, KeyModifiers};

/// An app with a player whose clock is moved by hand.
struct Lesson {
    app: App,
    player: Transport,
    clock: HandClock,
    now: Duration,
    left: bool,
    next: bool,
    /// What is said to be heard; the player itself is silent.
    sound: Sound,
    /// What was asked to be remembered.
    kept: Vec<(String, i32)>,
    length: Seconds,
}

impl Lesson {
    fn new(prompts: Vec<Prompt>) -> Self {
        let mut dance = dance(&[("march", 0.0, 16.0), ("hop", 16.0, 16.0), ("walk", 32.0, 32.0)]);
        dance.prompts = prompts;
        let length = Seconds(33.0);
        let floor = Floor::new(dance, None, length);
        let clock = HandClock::default();
        let player = Transport::silent(&Programme { length, ..Programme::default() }, clock.clone());
        let palette = Palette { theme: Theme::Dark, depth: Depth::Full };
        let app = App::new(floor, palette, Version::Full);
        Self {
            app,
            player,
            clock,
            now: Duration::ZERO,
            left: false,
            next: false,
            sound: Sound::Sounding,
            kept: vec![],
            length,
        }
    }

    fn send(&mut self, message: Message) {
        for effect in update(&mut self.app, message) {
            match effect {
                Effect::Play => self.player.play(),
                Effect::Pause => self.player.pause(),
                Effect::Seek(to) => self.player.seek(to),
                Effect::Repeat(span) => self.player.repeat(span),
                Effect::Click(on) => self.player.click(on),
                Effect::Speed(speed) => self.player.speed(speed),
                Effect::Trim(trim) => self.player.trim(Seconds(f64::from(trim) / 1_000.0)),
                Effect::Remember(device, trim) => self.kept.push((device, trim)),
                Effect::ClicksAlone(alone) => {
                    let length = if alone { Seconds(3_600.0) } else { self.length };
                    let programme = Programme { length, ..Programme::default() };
                    self.player = Transport::silent(&programme, self.clock.clone());
                }
                Effect::Next => self.next = true,
                Effect::Leave => self.left = true,
            }
        }
    }

    fn press(&mut self, code: KeyCode) {
        self.send(Message::Key(KeyEvent::new(code, KeyModifiers::NONE)));
        self.hear();
    }

    /// Begins the dance, up to the first count.
    fn begin(&mut self) {
        self.press(SPACE);
        self.wait(0.3);
    }

    fn hear(&mut self) {
        let heard = Heard { sound: self.sound, ..self.player.heard() };
        self.send(Message::Heard(heard, self.now));
    }

    fn said(&self) -> &str {
        self.app.notice.as_ref().map_or("", |(words, _)| words)
    }

    /// Lets time pass as the loop does, in steps of 30 ms.
    fn wait(&mut self, seconds: f64) {
        for _ in 0..(seconds / 0.03).round() as usize {
            self.clock.advance(Seconds(0.03));
            self.now += Duration::from_millis(30);
            self.hear();
        }
    }

    fn at(&self) -> f64 {
        (self.app.heard.at.0 * 100.0).round() / 100.0
    }
}

mod keyboard;
mod step;

const SPACE: KeyCode = KeyCode::Char(' ');

#[test]
fn space_begins_with_the_count_in_and_pauses() {
    let mut lesson = Lesson::new(vec![]);
    assert_eq!(lesson.app.page, Page::Opening);
    lesson.wait(5.0);
    assert_eq!(lesson.at(), 0.0, "nothing runs before she begins");
    lesson.begin();
    assert_eq!((lesson.app.page, lesson.at()), (Page::Floor, -1.0));
    lesson.wait(3.0);
    assert_eq!(lesson.at(), 2.0);
    lesson.press(SPACE);
    lesson.wait(3.0);
    assert_eq!(lesson.at(), 2.0);
    lesson.press(SPACE);
    lesson.wait(0.3);
    assert_eq!(lesson.at(), 2.3);
}

#[test]
fn any_other_key_begins_too_but_never_leaves() {
    let mut lesson = Lesson::new(vec![]);
    lesson.press(KeyCode::Char('x'));
    assert_eq!(lesson.app.page, Page::Floor);
    lesson.press(KeyCode::Char('x'));
    assert!(lesson.app.heard.playing && !lesson.left);
}

#[test]
fn leaving_a_dance_that_plays_takes_two_presses_within_two_seconds() {
    let mut lesson = Lesson::new(vec![]);
    lesson.begin();
    lesson.wait(2.0);
    lesson.press(KeyCode::Char('q'));
    assert!(!lesson.left);
    lesson.wait(2.5);
    lesson.press(KeyCode::Char('q'));
    assert!(!lesson.left, "too late for a second press");
    lesson.wait(1.0);
    lesson.press(KeyCode::Esc);
    assert!(lesson.left);

    let mut paused = Lesson::new(vec![]);
    paused.press(SPACE);
    paused.press(SPACE);
    paused.press(KeyCode::Char('q'));
    assert!(paused.left, "a paused dance is left at once");
}

#[test]
fn arrows_go_by_phrase_and_a_repeat_goes_with_them() {
    let mut lesson = Lesson::new(vec![]);
    lesson.begin();
    lesson.wait(3.0);
    lesson.press(KeyCode::Right);
    assert_eq!(lesson.at(), 9.0);
    lesson.press(KeyCode::Right);
    assert_eq!(lesson.at(), 17.0);
    lesson.press(KeyCode::Char('r'));
    lesson.wait(9.0);
    assert_eq!(lesson.at(), 18.0, "the phrase of 8 s is heard again");
    lesson.press(KeyCode::Left);
    lesson.press(KeyCode::Left);
    assert_eq!(lesson.at(), 1.0);
    lesson.wait(9.0);
    assert_eq!(lesson.at(), 2.0, "now that phrase repeats");
    lesson.press(KeyCode::Char('r'));
    lesson.wait(9.0);
    assert_eq!(lesson.at(), 11.0);
}

#[test]
fn a_question_can_make_the_music_wait_once() {
    let ask = |at, pause| Prompt {
        at: Beat(at),
        question: "?".into(),
        answer: "!".into(),
        pause,
        unknown: serde_json::Map::new(),
    };
    let mut lesson = Lesson::new(vec![ask(4.0, true), ask(24.0, false)]);
    lesson.begin();
    lesson.wait(6.0);
    assert!(!lesson.app.heard.playing);
    assert!((lesson.at() - 3.0).abs() < 0.04, "at its beat: {}", lesson.at());
    lesson.press(KeyCode::Char('a'));
    assert_eq!(lesson.app.answered, Some(0));
    lesson.press(SPACE);
    lesson.wait(12.0);
    assert!(lesson.app.heard.playing, "the second does not wait");
    lesson.press(KeyCode::Char('a'));
    assert_eq!(lesson.app.answered, Some(1));
}

#[test]
fn a_question_heard_again_is_asked_anew() {
    let prompt = Prompt {
        at: Beat(2.0),
        question: "?".into(),
        answer: "!".into(),
        pause: false,
        unknown: serde_json::Map::new(),
    };
    let mut lesson = Lesson::new(vec![prompt]);
    lesson.begin();
    lesson.wait(3.0);
    lesson.press(KeyCode::Char('r'));
    lesson.press(KeyCode::Char('a'));
    lesson.wait(3.0);
    assert_eq!(lesson.app.answered, Some(0), "the answer stays as long as its question");
    lesson.wait(6.0);
    assert_eq!((lesson.at() < 5.0, lesson.app.answered), (true, None), "the phrase has gone round");
}

#[test]
fn the_next_piece_of_a_lesson_has_nothing_of_a_rehearsal_but_keeps_what_is_set_up_for_the_class() {
    let mut lesson = Lesson::new(vec![]);
    lesson.begin();
    lesson.wait(3.0);
    for key in ['c', 'n', 'r', 'g', 'l', 'k'] {
        lesson.press(KeyCode::Char(key));
    }
    lesson.app.speed = Speed::percent(80);
    lesson.app.in_step.trim = 120;
    let floor = lesson.app.floor.clone();
    let next = lesson.app.clone().followed_by(floor);
    let rehearsal = (next.clicks, next.hidden, next.repeat, next.speed);
    assert_eq!(rehearsal, (false, false, None, Speed::NORMAL));
    let set_up = (next.version, next.palette.theme, next.locked, next.in_step.trim);
    assert_eq!(set_up, (Version::LowImpact, Theme::Light, true, 120));
    assert_eq!(next.page, Page::Opening);
    (lesson.app, lesson.now) = (next, Duration::ZERO);
    lesson.press(KeyCode::Char('x'));
    assert_eq!((lesson.app.page, lesson.said()), (Page::Opening, "the keys are locked: k unlocks them"));
    lesson.press(SPACE);
    assert_eq!(lesson.app.page, Page::Floor);
}

#[test]
fn a_key_that_closes_the_help_does_nothing_else_except_stopping_the_music() {
    let mut lesson = Lesson::new(vec![]);
    lesson.begin();
    lesson.wait(3.0);
    for key in
        [KeyCode::Right, KeyCode::Char('r'), KeyCode::Char('q'), KeyCode::Char('x'), KeyCode::Char('?')]
    {
        lesson.press(KeyCode::Char('?'));
        assert!(lesson.app.help);
        lesson.press(key);
        assert!(!lesson.app.help && lesson.app.heard.playing, "{key:?}");
        assert_eq!((lesson.at(), lesson.app.repeat, lesson.said()), (2.0, None, ""), "{key:?}");
    }
    lesson.press(KeyCode::Char('h'));
    lesson.press(SPACE);
    assert!(!lesson.app.help && !lesson.app.heard.playing);
    lesson.press(KeyCode::Char('h'));
    lesson.press(SPACE);
    assert!(!lesson.app.help && !lesson.app.heard.playing, "and does not start it");
}

#[test]
fn the_end_stops_and_space_begins_again() {
    let mut lesson = Lesson::new(vec![]);
    lesson.begin();
    lesson.wait(40.0);
    assert_eq!((lesson.at(), lesson.app.heard.playing), (33.0, false));
    lesson.press(SPACE);
    assert_eq!((lesson.at(), lesson.app.heard.playing), (-1.3, true));
}

#[test]
fn locked_keys_do_nothing_but_pause() {
    let mut lesson = Lesson::new(vec![]);
    lesson.begin();
    lesson.press(KeyCode::Char('k'));
    for code in [KeyCode::Right, KeyCode::Char('q'), KeyCode::Char('q'), KeyCode::Char('g')] {
        lesson.press(code);
    }
    assert!(!lesson.left && lesson.at() < 0.0 && lesson.app.version == Version::Full);
    lesson.press(SPACE);
    assert!(!lesson.app.heard.playing);
    lesson.press(KeyCode::Char('k'));
    lesson.press(KeyCode::Char('g'));
    assert_eq!(lesson.app.version, Version::LowImpact);
}

#[test]
fn a_release_or_repeat_of_a_key_is_not_a_press() {
    let mut lesson = Lesson::new(vec![]);
    let mut key = KeyEvent::new(SPACE, KeyModifiers::NONE);
    key.kind = KeyEventKind::Release;
    lesson.send(Message::Key(key));
    assert_eq!(lesson.app.page, Page::Opening);
}

#[test]
fn a_lost_device_is_told_and_the_dance_goes_on() {
    let mut lesson = Lesson::new(vec![]);
    lesson.begin();
    let heard = |sound| Heard { at: Seconds(2.0), playing: true, sound, dry_runs: 0 };
    for (sound, said) in [
        (Sound::Sounding, None),
        (Sound::NoDevice, Some("no sound: the device is gone; the dance goes on")),
        (Sound::Opening, Some("no sound: the device is gone; the dance goes on")),
        (Sound::Sounding, Some("the sound is back")),
    ] {
        lesson.send(Message::Heard(heard(sound), lesson.now));
        assert_eq!(lesson.app.notice.as_ref().map(|(words, _)| words.as_str()), said);
    }
}

#[test]
fn f_goes_round_from_a_beat_to_a_beat_until_it_is_let_go() {
    let mut lesson = Lesson::new(vec![]);
    lesson.begin();
    lesson.wait(4.1);
    assert_eq!(lesson.at(), 3.11);
    lesson.press(KeyCode::Char('f'));
    lesson.press(KeyCode::Char('f'));
    assert_eq!(lesson.app.repeat, None, "no span without a length");
    lesson.press(KeyCode::Char('f'));
    lesson.wait(3.0);
    lesson.press(KeyCode::Char('f'));
    assert_eq!(lesson.app.repeat, Some((Seconds(3.0), Seconds(6.0))), "both are beats");
    assert_eq!(lesson.at(), 3.0);
    lesson.wait(4.5);
    assert_eq!(lesson.at(), 4.5);
    lesson.press(KeyCode::Char('f'));
    lesson.wait(3.0);
    assert_eq!(lesson.at(), 7.5);
}

#[test]
fn slower_and_faster_have_their_ends_and_the_music_obeys() {
    let mut lesson = Lesson::new(vec![]);
    lesson.begin();
    lesson.wait(3.0);
    for _ in 0..12 {
        lesson.press(KeyCode::Down);
    }
    assert_eq!(lesson.app.speed, Speed::SLOWEST);
    lesson.wait(3.0);
    assert_eq!(lesson.at(), 3.5);
    for _ in 0..20 {
        lesson.press(KeyCode::Up);
    }
    assert_eq!(lesson.app.speed, Speed::FASTEST);
    lesson.wait(3.0);
    assert_eq!(lesson.at(), 6.8);
}

#[test]
fn a_digit_goes_to_its_phrase_at_the_second_press_or_in_a_pause() {
    let mut lesson = Lesson::new(vec![]);
    lesson.begin();
    lesson.wait(3.0);
    lesson.press(KeyCode::Char('3'));
    assert_eq!(lesson.at(), 2.0, "one press does nothing");
    lesson.press(KeyCode::Char('2'));
    assert_eq!(lesson.at(), 2.0, "nor does another digit");
    assert_eq!(lesson.said(), "the dance is playing: press 2 again to go to phrase 2");
    lesson.press(KeyCode::Char('2'));
    assert_eq!((lesson.at(), lesson.said()), (9.0, ""), "nothing is asked for any more");
    lesson.press(SPACE);
    lesson.press(KeyCode::Char('3'));
    assert_eq!(lesson.at(), 17.0);
    lesson.press(KeyCode::Char('9'));
    assert_eq!(lesson.at(), 17.0);
    assert_eq!(lesson.app.notice.as_ref().map(|(words, _)| words.as_str()), Some("there is no phrase 9"));
}

#[test]
fn without_turns_the_music_stays_where_it_is() {
    let mut lesson = Lesson::new(vec![]);
    lesson.begin();
    lesson.wait(3.0);
    lesson.press(KeyCode::Char('.'));
    lesson.press(KeyCode::Char(','));
    assert_eq!(lesson.at(), 2.0);
}

#[test]
fn beginning_again_forgets_a_repeat() {
    let mut lesson = Lesson::new(vec![]);
    lesson.begin();
    lesson.wait(3.0);
    lesson.press(KeyCode::Char('r'));
    lesson.press(KeyCode::Char('r'));
    lesson.wait(40.0);
    assert!(!lesson.app.heard.playing);
    lesson.press(SPACE);
    assert_eq!((lesson.app.repeat, lesson.at()), (None, -1.3));
}

#[test]
fn every_change_is_drawn_when_it_is_due_also_where_a_repeat_goes_back() {
    // As the loop does it: look, draw (3 ms), sleep until what was due when it looked. Half beats last 0.25 s here.
    let mut lesson = Lesson::new(vec![]);
    lesson.begin();
    lesson.wait(3.0);
    lesson.press(KeyCode::Char('r'));
    let (mut last, mut seams, mut changes) = (lesson.app.heard.at, 0, 0);
    let half_beat = |at: Seconds| (4.0 * (at.0 - 1.0) + 1e-4).floor();
    while seams < 12 {
        let due = lesson.app.until_change().expect("it plays").as_secs_f64();
        lesson.clock.advance(Seconds(0.003));
        lesson.clock.advance(Seconds((due.min(0.04) - 0.003).max(0.0)));
        lesson.hear();
        let at = lesson.app.heard.at;
        if half_beat(at) != half_beat(last) {
            changes += 1;
            let late = at.0 - (1.0 + half_beat(at) / 4.0);
            assert!(late < 0.0035, "{late} s late at {} s, after {} s", at.0, last.0);
        }
        seams += usize::from(at.0 < last.0);
        last = at;
    }
    assert!(changes > 300, "{changes} changes");
}
