//! The whole keyboard at random: no key ends a dance that plays, loses the place or makes the picture fail.

use super::*;
use crate::screen::floor::KEYS;
use proptest::prelude::*;
use ratatui::Terminal;
use ratatui::backend::TestBackend;

/// Every key of the table, and those of no meaning.
fn any_key() -> impl Strategy<Value = (KeyCode, KeyModifiers)> {
    let bound: Vec<KeyCode> = KEYS.iter().flat_map(|binding| binding.keys).copied().collect();
    let bare = [
        KeyCode::Tab,
        KeyCode::Backspace,
        KeyCode::Delete,
        KeyCode::Home,
        KeyCode::End,
        KeyCode::PageDown,
        KeyCode::F(5),
        KeyCode::Null,
    ];
    let code = prop_oneof![
        6 => prop::sample::select(bound),
        1 => any::<char>().prop_map(KeyCode::Char),
        1 => prop::sample::select(bare.to_vec()),
    ];
    let with = prop_oneof![
        8 => Just(KeyModifiers::NONE),
        1 => Just(KeyModifiers::SHIFT),
        1 => Just(KeyModifiers::CONTROL),
        1 => Just(KeyModifiers::ALT),
    ];
    (code, with)
}

fn leaves(key: &KeyEvent) -> bool {
    matches!(action(key), Some(Action::Leave))
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, ..ProptestConfig::default() })]
    #[test]
    fn no_key_ruins_a_lesson(
        keys in prop::collection::vec((any_key(), 0u8..40), 1..120), last in any::<bool>(),
    ) {
        let mut lesson = Lesson::new(vec![]);
        if !last {
            lesson.app.piece = (1, 2);
        }
        lesson.press(SPACE);
        let mut screen = Terminal::new(TestBackend::new(80, 24)).expect("a terminal of the test");
        let mut before_it: Option<(Option<Action>, Duration)> = None;
        for ((code, with), pause) in keys {
            let key = KeyEvent::new(code, with);
            // What the last change came to, such as the end's own pause, is heard before the key.
            lesson.hear();
            let (was, now) = (lesson.app.clone(), lesson.now);
            let playing = was.heard.playing && was.page == Page::Floor;
            let second = |wanted: Action| {
                before_it.is_some_and(|(asked, when)| asked == Some(wanted) && now - when <= SECOND_PRESS)
            };
            lesson.send(Message::Key(key));
            lesson.hear();
            if lesson.left {
                prop_assert!(leaves(&key), "{key:?} left the floor");
                prop_assert!(!was.locked, "left while locked");
                prop_assert!(!playing || second(Action::Leave), "one press of {key:?} left a dance that plays");
                return Ok(());
            }
            if lesson.next {
                prop_assert!(!last, "there is no next piece");
                let ended = was.floor.stage(was.heard.at).part == Part::Ended;
                prop_assert!(ended && !playing || second(Action::On), "{key:?} went on to the next piece");
                return Ok(());
            }
            let moved = (lesson.app.heard.at.0 - was.heard.at.0).abs() > 1e-6;
            let asked = if was.page == Page::InStep { None } else { action(&key) };
            if was.locked && was.page == Page::Floor && !matches!(asked, Some(Action::Pause)) {
                prop_assert!(!moved, "{key:?} moved the music while locked");
                prop_assert_eq!(lesson.app.heard.playing, was.heard.playing);
            }
            if let Some(Action::Phrase(number)) = asked && playing && !second(Action::Phrase(number)) {
                prop_assert!(!moved, "one press of a digit moved a dance that plays");
            }
            if asked.is_none() && was.page == Page::Floor {
                prop_assert!(!moved && lesson.app.heard.playing == was.heard.playing, "{key:?} has no meaning");
            }
            prop_assert!(lesson.app.heard.at.0 >= was.floor.begin().0.min(0.0) - 1e-6);
            let end = if lesson.app.page == Page::InStep { 3_600.0 } else { lesson.length.0 };
            prop_assert!(lesson.app.heard.at.0 <= end + 1e-6);
            if was.page != Page::InStep {
                // What is no question's second press ends the question.
                before_it = Some((asked, now));
            }
            screen.draw(|frame| crate::screen::floor::view(&lesson.app, frame)).expect("drawn");
            lesson.wait(f64::from(pause) * 0.1);
        }
    }
}
