use super::super::app::{Message, Page, Version, update};
use super::super::in_step::InStep;
use super::super::stage::Floor;
use super::super::stage::tests::dance;
use super::*;
use crate::dance::Prompt;
use crate::listening::{Contour, Dynamic, Dynamics, Listening, Loudness, Pulse, Sureness, Turn, TurnKind};
use crate::screen::colours::{Depth, Palette, Theme};
use crate::sound::{Heard, Sound};
use crate::units::{Beat, Bpm, Counts, Decibels, Lufs, Seconds};
use flashing::{FEW, restless};
use proptest::prelude::*;
use ratatui::style::Color;

mod flashing;
mod questions;
mod states;

/// A hill: soft, a crescendo from beat 16 to 32, loud, and a rest at beats 46 and 47.
fn listening(grid: &crate::grid::Grid) -> Listening {
    let level = |beat: f64| match beat {
        b if b < 16.0 => -32.0,
        b if b < 32.0 => -32.0 + b - 16.0,
        b if (46.0..48.0).contains(&b) => -60.0,
        _ => -16.0,
    };
    let values = (0..340).map(|i| level(grid.beat_at(Seconds(f64::from(i) / 10.0)).0) as f32).collect();
    let contour = Contour { step: Seconds(0.1), values };
    let turn = |kind, start: f64, end: f64, to| Turn {
        kind,
        start: grid.seconds_at(Beat(start)),
        end: grid.seconds_at(Beat(end)),
        start_beat: Beat(start),
        end_beat: Beat(end),
        from: 0.0,
        to,
        sureness: Sureness(0.9),
    };
    Listening {
        analyser: 0,
        length: Seconds(34.0),
        pulse: Pulse::Clear,
        grid: grid.clone(),
        sureness: vec![],
        metres: vec![],
        tempo: vec![],
        loudness: Loudness {
            integrated: Some(Lufs(-18.0)),
            range: None,
            peak: Decibels(-1.0),
            momentary: contour.clone(),
            short_term: contour,
        },
        dynamics: Dynamics { marks: vec![(Dynamic::P, Lufs(-70.0)), (Dynamic::F, Lufs(-24.0))] },
        phrases: vec![],
        turns: vec![turn(TurnKind::Crescendo, 16.0, 32.0, -16.0), turn(TurnKind::Rest, 46.0, 48.0, 1.0)],
        summary: vec![],
    }
}

/// A lesson at a beat of the dance, playing.
fn lesson(beat: f64) -> App {
    let dance = dance(&[
        ("march", 0.0, 16.0),
        ("hop", 16.0, 16.0),
        ("tiptoe", 32.0, 14.0),
        ("freeze", 46.0, 2.0),
        ("walk", 48.0, 16.0),
    ]);
    let listening = listening(&dance.grid);
    let at = dance.grid.seconds_at(Beat(beat));
    let floor = Floor::new(dance, Some(&listening), Seconds(34.0));
    let mut app = App::new(floor, Palette { theme: Theme::Dark, depth: Depth::Full }, Version::Full);
    app.page = Page::Floor;
    app.heard = Heard { at, playing: true, sound: Sound::Sounding, dry_runs: 0 };
    app
}

fn picture(app: &App, width: u16, height: u16) -> Buffer {
    let area = Rect::new(0, 0, width, height);
    let mut buffer = Buffer::empty(area);
    draw(app, area, &mut buffer);
    buffer
}

fn text(buffer: &Buffer) -> String {
    let row = |y| {
        let row: String = (0..buffer.area.width)
            .map(|x| buffer.cell((x, y)).map_or(" ", ratatui::buffer::Cell::symbol))
            .collect();
        row.trim_end().to_owned()
    };
    (0..buffer.area.height).map(row).collect::<Vec<_>>().join("\n")
}

#[test]
fn the_opening_at_80_by_24() {
    let mut app = lesson(0.0);
    app.page = Page::Opening;
    insta::assert_snapshot!(text(&picture(&app, 80, 24)));
}

#[test]
fn the_help_at_80_by_24() {
    let mut app = lesson(0.0);
    app.help = true;
    insta::assert_snapshot!(text(&picture(&app, 80, 24)));
}

#[test]
fn sound_and_picture_in_step_at_80_by_24() {
    insta::assert_snapshot!(text(&picture(&stepping(), 80, 24)));
}

#[test]
fn sound_and_picture_in_step_at_40_by_10() {
    insta::assert_snapshot!(text(&picture(&stepping(), 40, 10)));
}

#[test]
fn the_opening_says_which_trim_is_used() {
    let mut app = lesson(0.0);
    app.page = Page::Opening;
    let said = |app: &App| text(&picture(app, 120, 40));
    assert!(
        said(&app).contains("A wireless loudspeaker or a projector? t brings sound and picture in step.")
    );
    let _ = update(&mut app, Message::Device("Box on the Shelf".into()));
    app.in_step = InStep::new([("Box on the Shelf".to_owned(), 150)].into(), None);
    let _ = update(&mut app, Message::Device("Box on the Shelf".into()));
    let remembered =
        "For 'Box on the Shelf' the picture waits 150 ms for the sound, as remembered; t changes it.";
    assert!(said(&app).contains(remembered), "{}", said(&app));
    app.in_step = InStep::new([].into(), Some(-20));
    let given = "With --trim the picture goes 20 ms ahead of the sound; t changes it.";
    assert!(said(&app).contains(given), "{}", said(&app));
}

#[test]
fn what_could_not_be_kept_is_said_on_the_opening() {
    let mut app = lesson(0.0);
    app.page = Page::Opening;
    let sentence = "the trim cannot be kept in '/home/teacher/.config/farandole/trims.json': there is no room left; it \
                    holds until you leave";
    let _ = update(&mut app, Message::Say(sentence.into()));
    for (width, height) in [(80, 24), (120, 40)] {
        let shown = text(&picture(&app, width, height));
        let flat = shown.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.ends_with(sentence), "{width}x{height}:\n{shown}");
    }
}

/// The page with the clicks at 11.2 s, after seven taps.
fn stepping() -> App {
    let mut app = lesson(0.0);
    app.page = Page::Opening;
    app.heard.playing = false;
    let _ = update(&mut app, Message::Device("Box on the Shelf".into()));
    let _ = update(&mut app, Message::InStep);
    for tap in 0..7 {
        let at = Seconds(4.0 + f64::from(tap) + 0.12 - f64::from(app.in_step.trim) / 1_000.0);
        let heard = Heard { at, playing: true, sound: Sound::Sounding, dry_runs: 0 };
        let _ = update(&mut app, Message::Heard(heard, std::time::Duration::from_secs(tap as u64)));
        let key = crossterm::event::KeyEvent::from(crossterm::event::KeyCode::Char(' '));
        let _ = update(&mut app, Message::Key(key));
    }
    app.heard.at = Seconds(11.2);
    app
}

#[test]
fn the_figure_steps_and_nothing_flashes_on_the_page_in_step() {
    let mut app = stepping();
    let patch = restless(&mut app, (80, 24), Seconds(0.0), 6.0);
    assert!(patch <= FEW, "{patch} cells");
}

#[test]
fn a_call_at_80_by_24() {
    insta::assert_snapshot!(text(&picture(&lesson(12.5), 80, 24)));
}

#[test]
fn a_call_at_120_by_40() {
    insta::assert_snapshot!(text(&picture(&lesson(28.5), 120, 40)));
}

#[test]
fn a_call_at_200_by_60() {
    insta::assert_snapshot!(text(&picture(&lesson(44.2), 200, 60)));
}

#[test]
fn a_call_at_40_by_10() {
    insta::assert_snapshot!(text(&picture(&lesson(12.5), 40, 10)));
}

#[test]
fn the_count_in_at_80_by_24() {
    insta::assert_snapshot!(text(&picture(&lesson(-2.5), 80, 24)));
}

#[test]
fn a_question_waits_at_80_by_24() {
    let mut app = lesson(33.0);
    let mut dance = app.floor.dance().clone();
    dance.prompts.push(Prompt {
        at: Beat(32.0),
        question: "What happened to the loudness?".into(),
        answer: "It grew: crescendo".into(),
        pause: true,
        unknown: serde_json::Map::new(),
    });
    app.floor = Floor::new(dance, None, Seconds(34.0));
    app.heard.playing = false;
    insta::assert_snapshot!(text(&picture(&app, 80, 24)));
    app.answered = Some(0);
    assert!(text(&picture(&app, 80, 24)).contains("answer"));
}

#[test]
fn gentle_versions_take_the_place_of_the_moves() {
    let mut app = lesson(20.0);
    app.version = Version::Seated;
    let seated = text(&picture(&app, 80, 24));
    assert!(seated.contains("seated, everyone"), "{seated}");
    assert_ne!(seated, text(&picture(&lesson(20.0), 80, 24)));
}

#[test]
fn a_hidden_move_shows_its_stones_but_not_its_words() {
    let mut app = lesson(13.0);
    app.hidden = true;
    let hidden = text(&picture(&app, 40, 10));
    assert!(hidden.contains("in 3: ?") && !hidden.contains("hop"), "{hidden}");
}

#[test]
fn no_sound_is_said() {
    let mut app = lesson(3.0);
    app.heard.sound = Sound::NoDevice;
    for (width, height) in [(40, 10), (80, 24), (200, 60)] {
        assert!(text(&picture(&app, width, height)).contains("no sound"), "{width}x{height}");
    }
}

#[test]
fn gaps_in_the_sound_are_told_when_the_music_stands() {
    let mut app = lesson(3.0);
    app.heard.dry_runs = 2;
    let told = |app: &App| text(&picture(app, 80, 24)).contains("the sound broke off 2 times");
    assert!(!told(&app), "not in front of the class");
    app.heard.playing = false;
    assert!(told(&app));
    app.heard.dry_runs = 0;
    assert!(!text(&picture(&app, 80, 24)).contains("broke off"));
}

#[test]
fn another_speed_and_a_repeat_are_always_seen() {
    let mut app = lesson(3.0);
    app.speed = crate::sound::Speed::percent(80);
    app.repeat = Some((Seconds(1.0), Seconds(9.0)));
    for (width, height) in [(40, 10), (80, 24), (120, 40), (200, 60)] {
        let shown = text(&picture(&app, width, height));
        assert!(shown.contains("80 % speed   repeating"), "{width}x{height}:\n{shown}");
    }
    assert!(text(&picture(&app, 80, 24)).contains("Andante, 96 beats a minute"), "the tempo that is heard");
}

#[test]
fn turns_are_approached_from_four_counts_before() {
    let floor = lesson(0.0).floor;
    let beat = |beat: f64| floor.dance().grid.seconds_at(Beat(beat));
    assert_eq!(floor.turn_from(beat(0.0), false), Some(beat(12.0)));
    assert_eq!(floor.turn_from(beat(12.0), false), Some(beat(42.0)));
    assert_eq!(floor.turn_from(beat(43.0), true), Some(beat(12.0)), "it had only just begun");
    assert_eq!(floor.turn_from(beat(50.0), true), Some(beat(42.0)));
    assert_eq!(floor.turn_from(beat(50.0), false), None);
    assert_eq!(floor.turn_from(beat(2.0), true), None);
}

#[test]
fn colours_follow_their_roles() {
    let buffer = picture(&lesson(13.5), 80, 24);
    let black = Color::Rgb(0, 0, 0);
    assert!(
        buffer.content.iter().all(|cell| cell.bg == black || cell.symbol() == "▀"),
        "a ground everywhere"
    );
    let colours = |y: std::ops::Range<u16>| -> Vec<Color> {
        let mut seen: Vec<Color> = Vec::new();
        for cell in y.flat_map(|y| (0..80).map(move |x| (x, y))).filter_map(|at| buffer.cell(at)) {
            if cell.symbol() != " " && !seen.contains(&cell.fg) {
                seen.push(cell.fg);
            }
        }
        seen
    };
    let (white, orange) = (Color::Rgb(0xFF, 0xFF, 0xFF), Color::Rgb(0xE6, 0x9F, 0x00));
    assert_eq!(colours(1..11), [white, orange], "the words of the move now, and its sign");
    let sky = Color::Rgb(0x56, 0xB4, 0xE9);
    assert_eq!(colours(12..17), [sky], "the next move");
    let stones = [Color::Rgb(0x76, 0x76, 0x76), orange, Color::Rgb(0xF0, 0xE4, 0x42)];
    assert_eq!(colours(17..18), stones, "crossed, here, to go");
    let mut light = lesson(12.5);
    light.palette.theme = Theme::Light;
    let light = picture(&light, 80, 24);
    assert_eq!(light.cell((79, 3)).map(|cell| cell.bg), Some(Color::Rgb(0xFF, 0xFF, 0xFF)));
}

#[test]
fn a_window_too_small_says_so() {
    for (width, height) in [(23, 30), (80, 5), (16, 2)] {
        let shown = text(&picture(&lesson(5.0), width, height));
        assert!(shown.starts_with("window too small"), "{shown}");
    }
}

proptest! {
    #[test]
    fn no_window_no_place_and_no_page_makes_it_panic(
        width in 0u16..220, height in 0u16..70, beat in -8.0f64..80.0, page in 0usize..4, playing: bool, gentle: bool,
    ) {
        let mut app = lesson(beat);
        app.heard.playing = playing;
        app.page = [Page::Opening, Page::Floor, Page::Floor, Page::InStep][page];
        app.help = page == 1;
        if gentle {
            app.version = Version::LowImpact;
        }
        picture(&app, width, height);
    }
}

#[test]
fn a_narrow_window_still_says_the_move_now_and_the_move_next_whole() {
    for width in 24..50 {
        for height in 6..24 {
            let mut app = lesson(12.5);
            let shown = text(&picture(&app, width, height));
            let lines: Vec<&str> = shown.lines().collect();
            let blocks = |lines: &[&str]| lines.concat().chars().filter(|c| "█▀▄▌▐▛▜▙▟".contains(*c)).count();
            let now = lines.iter().position(|line| line.contains("next")).unwrap_or(lines.len());
            assert!(
                ["march", "m a r c h"].iter().any(|word| shown.contains(word))
                    || blocks(&lines[1..now]) >= 24,
                "{width}x{height}:\n{shown}"
            );
            // From 20 rows on it is drawn in block letters too, under its label.
            let next = if height < 20 { "next in 4: hop" } else { "next" };
            assert!(shown.contains(next), "{width}x{height}:\n{shown}");
            let keys = ["space pause   ? keys", "space pause   left right phrase   ? all keys"];
            assert!(keys.iter().any(|keys| shown.contains(keys)), "{width}x{height}:\n{shown}");
            if let Some((_, after)) = shown.split_once("Allegro") {
                assert!(
                    after.starts_with([' ', '\n']) || after.starts_with(", 120 beats"),
                    "{width}x{height}:\n{shown}"
                );
            }
            app.heard.playing = false;
            let paused = text(&picture(&app, width, height));
            assert!(paused.contains("paused: space goes on"), "{width}x{height}:\n{paused}");
        }
    }
}

#[test]
fn a_call_at_30_by_12() {
    insta::assert_snapshot!(text(&picture(&lesson(12.5), 30, 12)));
}

#[test]
fn nothing_and_one_cell_are_windows_too() {
    for (width, height) in [(0, 0), (1, 1), (0, 5), (5, 0), (24, 6), (25, 7)] {
        picture(&lesson(5.0), width, height);
    }
}
