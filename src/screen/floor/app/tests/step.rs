//! The page that brings sound and picture in step, by scripts of keys and a clock moved by hand.

use super::*;
use crate::screen::floor::{InStep, Origin, Sense};
use std::collections::BTreeMap;

impl Lesson {
    fn on(device: &str, known: &[(&str, i32)], given: Option<i32>) -> Self {
        let mut lesson = Self::new(vec![]);
        let known: BTreeMap<String, i32> = known.iter().map(|(name, trim)| ((*name).into(), *trim)).collect();
        lesson.app.in_step = InStep::new(known, given);
        lesson.send(Message::Device(device.into()));
        lesson
    }

    /// Lets time pass on the page. The silent player knows of no trim; a device's position is `trim` earlier.
    fn pass(&mut self, seconds: f64) {
        self.clock.advance(Seconds(seconds));
        self.now += Duration::from_secs_f64(seconds);
        let mut heard = Heard { sound: self.sound, ..self.player.heard() };
        heard.at.0 -= f64::from(self.app.in_step.trim) / 1_000.0;
        self.send(Message::Heard(heard, self.now));
    }

    fn key(&mut self, code: KeyCode) {
        self.send(Message::Key(KeyEvent::new(code, KeyModifiers::NONE)));
    }

    /// Taps `taps` times, `late` milliseconds after the sound (or the picture) has it, with a hand that is not quite steady.
    fn tap(&mut self, taps: usize, late: f64) {
        for tap in 0..taps {
            let unsteady = [0.0, 14.0, -9.0, 25.0, -18.0, 6.0, -3.0][tap % 7];
            // To just after the next click that lies far enough ahead.
            let at = self.player.heard().at.0;
            let next = (at + 0.5).ceil() + (late + unsteady) / 1_000.0;
            self.pass(next - at);
            self.key(KeyCode::Char(' '));
        }
    }
}

/// People tap some 30 ms before a beat.
const LEAD: f64 = 30.0;

#[test]
fn taps_with_what_is_heard_find_the_delay_of_a_loudspeaker() {
    for delay in [0.0, 120.0, 180.0, 350.0, 600.0] {
        let mut lesson = Lesson::on("Box", &[], None);
        lesson.key(KeyCode::Char('t'));
        assert_eq!(lesson.app.page, Page::InStep);
        lesson.pass(1.3);
        assert!(lesson.app.heard.playing, "the clicks sound at once");
        lesson.tap(5, delay - LEAD);
        assert_eq!(lesson.app.in_step.trim, 0, "five taps say nothing yet");
        lesson.tap(7, delay - LEAD);
        let found = f64::from(lesson.app.in_step.trim);
        assert!((found - delay).abs() <= 8.0, "{delay} ms: {found}");
        // Tapping on with the picture already moved must not count the trim twice.
        lesson.tap(16, delay - LEAD);
        let found = f64::from(lesson.app.in_step.trim);
        assert!((found - delay).abs() <= 8.0, "{delay} ms, tapped on: {found}");
        lesson.key(KeyCode::Enter);
        assert_eq!(lesson.kept, [("Box".to_owned(), lesson.app.in_step.trim)]);
        assert_eq!((lesson.app.page, lesson.app.in_step.origin), (Page::Opening, Origin::Remembered));
    }
}

#[test]
fn what_is_seen_late_is_taken_off() {
    // A loudspeaker 200 ms late and a projector 80 ms late: the picture must wait 120 ms. The lead cancels out.
    let mut lesson = Lesson::on("Box", &[], None);
    lesson.key(KeyCode::Char('t'));
    lesson.tap(9, 200.0 - LEAD);
    lesson.key(KeyCode::Char('s'));
    assert_eq!(lesson.app.in_step.sense, Sense::Seeing);
    let before = lesson.app.in_step.trim;
    // The picture is drawn `trim` after the clicks' own time.
    lesson.tap(9, f64::from(before) + 80.0 - LEAD);
    assert_eq!(lesson.app.in_step.trim, before, "what she taps with must not jump under her hand");
    lesson.key(KeyCode::Char('s'));
    let found = f64::from(lesson.app.in_step.trim);
    assert!((found - 120.0).abs() <= 10.0, "{found}");
}

#[test]
fn arrows_move_by_one_and_by_ten_and_stop_at_the_ends() {
    let mut lesson = Lesson::on("Box", &[("Box", 990)], None);
    assert_eq!((lesson.app.in_step.trim, lesson.app.in_step.origin), (990, Origin::Remembered));
    lesson.key(KeyCode::Char('t'));
    for code in [KeyCode::Up, KeyCode::Up, KeyCode::Left, KeyCode::Down, KeyCode::Right, KeyCode::Left] {
        lesson.key(code);
    }
    assert_eq!(lesson.app.in_step.trim, 989);
    lesson.key(KeyCode::Char('0'));
    assert_eq!(lesson.app.in_step.trim, 0);
    for _ in 0..80 {
        lesson.key(KeyCode::Down);
    }
    assert_eq!(lesson.app.in_step.trim, -500);
    lesson.key(KeyCode::Char('q'));
    assert_eq!((lesson.app.in_step.trim, lesson.app.in_step.origin), (990, Origin::Remembered));
    assert!(lesson.kept.is_empty() && !lesson.left, "q goes back, and keeps nothing");
}

#[test]
fn taps_before_an_arrow_count_no_more_and_a_bouncing_key_counts_once() {
    let mut lesson = Lesson::on("Box", &[], None);
    lesson.key(KeyCode::Char('t'));
    lesson.tap(6, 200.0);
    assert!(lesson.app.in_step.trim > 200);
    lesson.key(KeyCode::Right);
    let chosen = lesson.app.in_step.trim;
    lesson.tap(1, 0.0);
    for _ in 0..5 {
        lesson.pass(0.02);
        lesson.key(KeyCode::Char(' '));
    }
    assert_eq!(lesson.app.in_step.trim, chosen, "one tap and a key that bounces are no six taps");
    lesson.tap(4, 0.0);
    lesson.pass(6.0);
    lesson.tap(5, 0.0);
    assert_eq!(lesson.app.in_step.trim, chosen, "after a pause it begins anew");
    lesson.tap(1, 0.0);
    assert_ne!(lesson.app.in_step.trim, chosen);
}

#[test]
fn the_music_comes_back_where_it_stood_and_the_page_keeps_away_while_it_plays() {
    let mut lesson = Lesson::on("Box", &[], None);
    lesson.press(SPACE);
    lesson.wait(5.0);
    lesson.press(KeyCode::Char('t'));
    assert_eq!(lesson.app.page, Page::Floor);
    assert_eq!(
        lesson.app.notice.as_ref().map(|(words, _)| words.as_str()),
        Some("pause first: space, then t")
    );
    lesson.press(SPACE);
    let stood = lesson.at();
    lesson.press(KeyCode::Char('t'));
    assert_eq!(lesson.app.page, Page::InStep);
    lesson.wait(4.0);
    lesson.press(KeyCode::Esc);
    assert_eq!((lesson.app.page, lesson.at(), lesson.app.heard.playing), (Page::Floor, stood, false));
    lesson.wait(2.0);
    assert_eq!(lesson.at(), stood);
    lesson.press(SPACE);
    lesson.wait(1.0);
    assert_eq!(lesson.at(), stood + 0.99, "33 steps of 30 ms");
}

#[test]
fn each_device_has_its_own_trim_unless_one_was_given() {
    let mut lesson = Lesson::on("Speaker", &[("Box", 150)], None);
    assert_eq!((lesson.app.in_step.trim, lesson.app.in_step.origin), (0, Origin::None));
    lesson.press(SPACE);
    lesson.send(Message::Device("Box".into()));
    assert_eq!(lesson.app.in_step.trim, 150);
    assert_eq!(
        lesson.app.notice.as_ref().map(|(words, _)| words.as_str()),
        Some("'Box': the picture waits 150 ms for the sound")
    );
    lesson.send(Message::Device("Speaker".into()));
    assert_eq!(lesson.app.in_step.trim, 0);
    let mut given = Lesson::on("Box", &[("Box", 150)], Some(40));
    assert_eq!((given.app.in_step.trim, given.app.in_step.origin), (40, Origin::Given));
    given.send(Message::Device("Other".into()));
    assert_eq!(given.app.in_step.trim, 40);
}

#[test]
fn without_a_device_nothing_can_be_remembered_and_that_is_said() {
    let mut lesson = Lesson::new(vec![]);
    lesson.key(KeyCode::Char('t'));
    lesson.key(KeyCode::Up);
    lesson.key(KeyCode::Enter);
    assert_eq!((lesson.app.in_step.trim, lesson.app.in_step.origin), (10, Origin::Tried));
    assert!(lesson.kept.is_empty());
    assert_eq!(
        lesson.app.notice.as_ref().map(|(words, _)| words.as_str()),
        Some("no sound device to remember it for: it holds until you leave")
    );
}

#[test]
fn where_no_click_can_be_heard_no_tap_with_it_counts() {
    let mut lesson = Lesson::new(vec![]);
    lesson.sound = Sound::Silenced;
    lesson.hear();
    lesson.press(KeyCode::Char('t'));
    assert_eq!(lesson.app.page, Page::Opening, "with --silent there is nothing to bring in step");
    assert_eq!(lesson.said(), "silent, as it was asked for: there is no sound to bring in step");

    let mut lesson = Lesson::on("Box", &[], None);
    lesson.sound = Sound::NoDevice;
    lesson.press(KeyCode::Char('t'));
    assert_eq!(lesson.app.page, Page::InStep);
    lesson.tap(9, 200.0);
    assert_eq!(
        (lesson.app.in_step.trim, lesson.said()),
        (0, "no click sounds: there is nothing to tap with")
    );
    lesson.sound = Sound::Sounding;
    lesson.tap(9, 200.0 - LEAD);
    assert!((lesson.app.in_step.trim - 200).abs() <= 8, "{}", lesson.app.in_step.trim);
}
