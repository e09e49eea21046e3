//! The foot of the floor and the help: what is not as usual is seen, in every window.

use super::*;

#[test]
fn nothing_of_a_rehearsal_is_left_unsaid() {
    let mut app = lesson(3.0);
    app.speed = crate::sound::Speed::percent(80);
    app.repeat = Some((Seconds(1.0), Seconds(9.0)));
    (app.clicks, app.hidden) = (true, true);
    for (width, height) in [(80, 24), (120, 40), (200, 60)] {
        let shown = text(&picture(&app, width, height));
        assert!(
            shown.contains("80 % speed   repeating   clicks   next hidden"),
            "{width}x{height}:\n{shown}"
        );
        assert!(shown.contains("space pause"), "{width}x{height}:\n{shown}");
    }
    // In a narrow window the first of them stay.
    let shown = text(&picture(&app, 30, 8));
    assert!(shown.contains("80 % speed   repeating"), "{shown}");
}

#[test]
fn no_word_of_the_keys_is_cut_by_what_stands_beside_them() {
    for speed in [50, 80, 100, 110] {
        for states in 0..16u8 {
            let mut app = lesson(3.0);
            app.speed = crate::sound::Speed::percent(speed);
            app.repeat = (states & 1 > 0).then_some((Seconds(1.0), Seconds(9.0)));
            (app.locked, app.clicks, app.hidden) = (states & 2 > 0, states & 4 > 0, states & 8 > 0);
            for width in 24..110 {
                let shown = text(&picture(&app, width, 24));
                let foot = shown.lines().last().unwrap_or_default().trim();
                let keys = foot.split("   ").take_while(|part| {
                    ["speed", "repeating", "keys locked", "clicks", "next hidden"]
                        .iter()
                        .all(|state| !part.ends_with(state))
                });
                for key in keys {
                    let whole = ["space pause", "left right phrase", "g gentle", "? all keys", "? keys", ""];
                    assert!(whole.contains(&key.trim()), "'{foot}' at {width}");
                }
            }
        }
    }
}

#[test]
fn in_a_pause_no_word_is_cut_either() {
    let mut app = lesson(3.0);
    let mut dance = app.floor.dance().clone();
    dance.profile.known.distance = 9.0;
    app.floor = Floor::new(dance, None, Seconds(34.0));
    app.heard.playing = false;
    (app.clicks, app.hidden) = (true, true);
    let mut told = 0;
    for width in 24..110 {
        let shown = text(&picture(&app, width, 24));
        let foot = shown.lines().last().unwrap_or_default().trim();
        let parts: Vec<&str> = foot.split("  ").map(str::trim).filter(|part| !part.is_empty()).collect();
        let whole = ["paused: space goes on", "clicks", "next hidden", "too small to read from 9.0 m"];
        told += usize::from(parts.contains(&whole[3]));
        // Only where not even one state fits beside it are the words of the pause short.
        let fine = |part: &&&str| whole.contains(*part) || whole[0].starts_with(**part);
        assert!(
            parts.iter().all(|part| fine(&part)) && (width < 48 || parts[0] == whole[0]),
            "'{foot}' at {width}"
        );
    }
    assert!(told > 20, "in a wide window there is room for the warning: {told}");
}

#[test]
fn a_message_goes_before_what_stands_all_the_time() {
    let mut app = lesson(3.0);
    app.repeat = Some((Seconds(1.0), Seconds(9.0)));
    let words = "the dance is playing: press 3 again to go to phrase 3";
    app.notice = Some((words.into(), std::time::Duration::MAX));
    for width in [56, 60, 80] {
        let shown = text(&picture(&app, width, 24));
        assert!(shown.contains(words), "{shown}");
        assert_eq!(shown.contains("repeating"), width == 80, "{shown}");
    }
}

#[test]
fn the_help_says_how_it_is_closed_in_every_window() {
    for (width, height) in [(24, 6), (40, 10), (60, 15), (80, 20), (80, 24), (120, 40)] {
        let mut app = lesson(3.0);
        app.help = true;
        let shown = text(&picture(&app, width, height));
        let last = shown.lines().rfind(|line| !line.is_empty()).unwrap_or_default();
        assert!(last.contains("any key closes"), "{width}x{height}:\n{shown}");
    }
}

#[test]
fn where_no_click_sounds_nobody_is_told_to_tap_with_it() {
    let mut app = stepping();
    app.heard.sound = Sound::NoDevice;
    for (width, height) in [(80, 24), (120, 40)] {
        let shown = text(&picture(&app, width, height));
        assert!(
            shown.contains("No sound device answers") && !shown.contains("clicks that you hear"),
            "{shown}"
        );
        assert!(!shown.contains("half within"), "no word of the taps:\n{shown}");
    }
}

#[test]
fn a_next_move_is_never_cut_where_it_has_room_without_its_label() {
    let mut dance = dance(&[("march", 0.0, 16.0), ("burst", 16.0, 16.0)]);
    for cue in &mut dance.cues {
        cue.lead = Some(Counts(4.0));
    }
    let floor = Floor::new(dance, None, Seconds(34.0));
    for width in 24..60 {
        for height in [6, 8, 10, 12, 18] {
            let mut app = lesson(12.5);
            app.floor = floor.clone();
            let shown = text(&picture(&app, width, height));
            assert!(shown.contains("4: burst open"), "{width}x{height}:\n{shown}");
            assert_eq!(shown.contains("get ready in 4"), width >= 28, "{width}x{height}:\n{shown}");
        }
    }
}

#[test]
fn the_opening_says_whole_how_to_begin() {
    let mut app = lesson(0.0);
    app.page = Page::Opening;
    for piece in [(1, 1), (2, 3)] {
        app.piece = piece;
        for width in 24..90 {
            let shown = text(&picture(&app, width, 12));
            let foot = shown.lines().last().unwrap_or_default();
            let ends = ["q leaves", "space begins"].iter().any(|end| foot.ends_with(end));
            assert!(foot.contains("space begins") && ends, "'{foot}' at {width}");
            assert_eq!(foot.contains("piece 2 of 3: "), piece.1 == 3 && width >= 50, "'{foot}' at {width}");
        }
    }
    app.version = Version::LowImpact;
    let foot =
        |width: u16| text(&picture(&app, width, 12)).lines().last().unwrap_or_default().trim().to_owned();
    assert_eq!(foot(80), "piece 2 of 3: low impact, everyone   space begins   ? keys   q leaves");
    assert_eq!(foot(60), "low impact, everyone   space begins   ? keys   q leaves");
    assert_eq!(foot(40), "space begins   ? keys   q leaves");
}
