//! A question to the class: how large it is written, and when it makes room.

use super::*;

/// The question at beat 18; moves begin at 16 and 32, called four counts before.
fn asked(beat: f64) -> App {
    let mut app = lesson(beat);
    let mut dance = app.floor.dance().clone();
    for cue in &mut dance.cues {
        cue.lead = Some(Counts(4.0));
    }
    dance.prompts.push(Prompt {
        at: Beat(18.0),
        question: "What happened to the loudness?".into(),
        answer: "It grew.".into(),
        pause: false,
        unknown: serde_json::Map::new(),
    });
    app.floor = Floor::new(dance, None, Seconds(34.0));
    app
}

/// Rows between a label and the last line.
fn below(shown: &str, label: &str) -> usize {
    let lines: Vec<&str> = shown.lines().collect();
    let at =
        lines.iter().position(|line| line.trim() == label).unwrap_or_else(|| panic!("{label}:\n{shown}"));
    lines[at..].iter().filter(|line| line.contains(['█', '▀', '▄', '▌', '▐', '▛', '▜', '▙', '▟'])).count()
}

const LABEL: &str = "question (a uncovers the answer)";

#[test]
fn a_question_fills_the_lower_part_in_block_letters_until_a_move_is_called() {
    for (width, height) in [(80, 24), (100, 30), (120, 40), (200, 60)] {
        let shown = text(&picture(&asked(19.0), width, height));
        assert!(below(&shown, LABEL) >= 7, "two lines of letters at {width}x{height}:\n{shown}");
    }
}

#[test]
fn a_call_takes_its_room_back_and_keeps_it() {
    for beat in [28.5, 31.5, 32.5, 33.5] {
        let app = asked(beat);
        let stage = app.floor.stage(app.heard.at);
        assert!(stage.prompt.is_some() && !stage.spacious, "{beat}");
    }
    let shown = text(&picture(&asked(28.5), 80, 24));
    assert!(shown.lines().any(|line| line.trim_start().starts_with("next")), "{shown}");
    assert!(shown.contains(LABEL), "{shown}");
}

#[test]
fn a_question_that_would_shrink_at_once_is_small_from_its_beginning() {
    let mut app = asked(26.5);
    let mut dance = app.floor.dance().clone();
    // Two seconds before the call of the move at 32 (120 beats a minute).
    dance.prompts[0].at = Beat(26.0);
    app.floor = Floor::new(dance, None, Seconds(34.0));
    assert!(!app.floor.stage(app.heard.at).spacious);
}

#[test]
fn a_small_window_asks_too() {
    for (width, height) in [(50, 12), (40, 10), (30, 8)] {
        let shown = text(&picture(&asked(19.0), width, height));
        let flat = shown.replace([' ', '\n'], "");
        assert!(flat.contains("Whathappenedtotheloud"), "{width}x{height}:\n{shown}");
        let mut app = asked(19.0);
        app.answered = Some(0);
        let shown = text(&picture(&app, width, height));
        let flat = shown.replace(' ', "");
        assert!(flat.contains("answer") && flat.contains("Itgrew."), "{width}x{height}:\n{shown}");
    }
}
