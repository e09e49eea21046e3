//! Nothing large changes its luminance more than three times a second, whatever is led, in whatever words.

use super::super::super::stage::tests::paced;
use super::*;
use crate::dance::Side;
use ratatui::style::Modifier;

/// How bright a cell is, 0 to 1: its colours' relative luminance, by how much of it its symbol covers.
fn luminance(cell: &ratatui::buffer::Cell) -> f64 {
    let of = |colour: Color| match colour {
        Color::Rgb(r, g, b) => {
            let linear = |c: u8| {
                let c = f64::from(c) / 255.0;
                if c <= 0.040_45 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
            };
            0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b)
        }
        _ => 0.0,
    };
    let cover = match cell.symbol() {
        " " => 0.0,
        "█" => 1.0,
        "▀" | "▄" | "▌" | "▐" | "▞" | "▚" => 0.5,
        "▛" | "▜" | "▙" | "▟" => 0.75,
        "▘" | "▝" | "▖" | "▗" => 0.25,
        "▁" => 0.125,
        _ => 0.3,
    };
    let (ink, ground) =
        if cell.modifier.contains(Modifier::REVERSED) { (cell.bg, cell.fg) } else { (cell.fg, cell.bg) };
    of(ink) * cover + of(ground) * (1.0 - cover)
}

/// The largest patch of touching cells each of which changes its luminance more than three times within one second, the same second
/// for all of them: where the leader walks, one cell after the other is restless, and never a large patch.
///
/// A change is a swing of a tenth of the largest luminance or more (WCAG 2.2, 2.3.1), up or down. Pictures
/// are drawn 30 times a second over `seconds`.
pub(super) fn restless(app: &mut App, (width, height): (u16, u16), from: Seconds, seconds: f64) -> usize {
    let cells = usize::from(width) * usize::from(height);
    let mut settled: Vec<f64> = Vec::new();
    let mut changes: Vec<Vec<usize>> = vec![Vec::new(); cells];
    let mut largest = 0;
    for frame in 0..(seconds * 30.0) as usize {
        app.heard.at = Seconds(from.0 + frame as f64 / 30.0 * app.speed.factor());
        let levels: Vec<f64> = picture(app, width, height).content.iter().map(luminance).collect();
        if settled.is_empty() {
            settled.clone_from(&levels);
        }
        for cell in 0..cells {
            if (levels[cell] - settled[cell]).abs() >= 0.1 {
                settled[cell] = levels[cell];
                changes[cell].retain(|&at| frame - at < 30);
                changes[cell].push(frame);
            }
        }
        let within = |changes: &Vec<usize>| changes.iter().filter(|&&at| frame - at < 30).count();
        let mut restless: Vec<bool> = changes.iter().map(|changes| within(changes) > 3).collect();
        if restless.contains(&true) {
            largest = largest.max(largest_patch(&mut restless, usize::from(width)));
        }
    }
    largest
}

fn largest_patch(cells: &mut [bool], width: usize) -> usize {
    let mut largest = 0;
    for first in 0..cells.len() {
        let mut open = vec![first];
        let mut size = 0;
        while let Some(cell) = open.pop() {
            if !std::mem::take(&mut cells[cell]) {
                continue;
            }
            size += 1;
            let x = cell % width;
            open.extend((x > 0).then(|| cell - 1));
            open.extend((x + 1 < width).then_some(cell + 1));
            open.extend(cell.checked_sub(width));
            open.extend((cell + width < cells.len()).then_some(cell + width));
        }
        largest = largest.max(size);
    }
    largest
}

/// "A few cells": at most as many as a two-figure number and the leader's two.
pub(super) const FEW: usize = 4;

fn hurried(tempo: f64, length: f64) -> App {
    let names = ["march", "hop", "tiptoe", "freeze", "skip", "clap"];
    let count = (64.0 / length) as usize;
    let cues: Vec<(&str, f64, f64)> =
        (0..count).map(|i| (names[i % names.len()], length * i as f64, length)).collect();
    let mut dance = paced(&cues, Bpm(tempo), 64);
    for cue in &mut dance.cues {
        cue.lead = Some(Counts(length.max(4.0)));
    }
    let heard = dance.grid.seconds_at(Beat(66.0));
    let floor = Floor::new(dance, None, heard);
    let mut app = App::new(floor, Palette { theme: Theme::Dark, depth: Depth::Full }, Version::Full);
    app.page = Page::Floor;
    app.heard = Heard { at: Seconds(0.0), playing: true, sound: Sound::Sounding, dry_runs: 0 };
    app
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]
    #[test]
    fn nothing_large_changes_more_than_three_times_a_second(
        tempo in 40.0f64..240.0, length in prop::sample::select(vec![1.0, 2.0, 4.0, 8.0]), light: bool,
        percent in prop::sample::select(vec![50u8, 100, 110]),
    ) {
        let mut app = hurried(tempo, length);
        app.speed = crate::sound::Speed::percent(percent);
        if light {
            app.palette.theme = Theme::Light;
        }
        let begin = app.floor.begin();
        let patch = restless(&mut app, (80, 24), begin, 8.0);
        prop_assert!(patch <= FEW, "{tempo} beats a minute at {percent} %, moves of {length}: {patch} cells");
    }
}

/// Words of each way of drawing: a font of ours for Latin, the one for other scripts, the terminal's letters on a patch of colour.
const WORDS: [&[&str]; 4] = [
    &["march", "hop", "tiptoe", "freeze", "skip", "clap"],
    &["walk like a very old bear", "ÉCOUTEZ", "Ψηλά τα χέρια", "прыжок", "걷다", "跳"],
    &["קפצו", "امشوا", "चलो", "🦘 hop", "שבו", "قف"],
    &["slow and soft", "suddenly loud", "louder and louder", "still", "quick and short", "listen"],
];

prop_compose! {
    /// A floor in any state that a teacher can bring it into, with cues and prompts as close and as odd as a file can hold them.
    fn any_floor()(
        tempo in 40.0f64..240.0, spacing in prop::sample::select(vec![0.5, 1.0, 2.0, 3.0, 8.0]),
        filled in prop::sample::select(vec![0.25, 0.5, 1.0]), lead in prop::sample::select(vec![0.0, 0.5, 1.0, 2.5, 8.0]),
        asked in prop::sample::select(vec![0.0, 0.5, 1.0, 4.0, 15.5]), which in 0usize..4, sided: bool, hidden: bool,
        version in prop::sample::select(vec![Version::Full, Version::LowImpact, Version::Seated]),
        light: bool, percent in prop::sample::select(vec![50u8, 100, 110]), answered: bool,
        sound in prop::sample::select(vec![Sound::Sounding, Sound::NoDevice]),
    ) -> (App, String) {
        // 240 beats a minute, as they are heard, is what is promised.
        let tempo = tempo.min(24_000.0 / f64::from(percent));
        let words = WORDS[which];
        let cues: Vec<(&str, f64, f64)> = (0..(48.0 / spacing) as usize)
            .map(|i| (words[i % words.len()], spacing * i as f64, filled * spacing))
            .collect();
        let mut dance = paced(&cues, Bpm(tempo), 64);
        for (index, cue) in dance.cues.iter_mut().enumerate() {
            cue.lead = Some(Counts(lead));
            cue.side = sided.then_some(if index % 2 == 0 { Side::Left } else { Side::Right });
        }
        if asked > 0.0 {
            let prompts = (0..(40.0 / asked) as usize).map(|i| Prompt {
                at: Beat(4.0 + asked * i as f64),
                question: ["What happened to the speed?", "Louder, or softer?"][i % 2].into(),
                answer: ["It grew.", "Softer: a diminuendo, down to a whisper."][i % 2].into(),
                pause: false,
                unknown: serde_json::Map::new(),
            });
            dance.prompts = prompts.collect();
        }
        let heard = dance.grid.seconds_at(Beat(66.0));
        let floor = Floor::new(dance, None, heard);
        let floor = if which == 3 { floor.freely() } else { floor };
        let theme = if light { Theme::Light } else { Theme::Dark };
        let mut app = App::new(floor, Palette { theme, depth: Depth::Full }, version);
        app.page = Page::Floor;
        app.hidden = hidden;
        app.speed = crate::sound::Speed::percent(percent);
        app.answered = answered.then_some(0);
        app.heard = Heard { at: Seconds(0.0), playing: true, sound, dry_runs: 0 };
        let what = format!(
            "{tempo} beats a minute at {percent} %, every {spacing} counts for {filled} of them, lead {lead}, prompts every \
             {asked}, words {which}"
        );
        (app, what)
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, ..ProptestConfig::default() })]
    #[test]
    fn no_script_prompt_or_free_dance_flashes(
        (mut app, what) in any_floor(), window in prop::sample::select(vec![(80, 24), (120, 40), (44, 16), (28, 8)]),
    ) {
        // The count-in, and what comes after it.
        let begin = app.floor.begin();
        let patch = restless(&mut app, window, begin, 7.0);
        // Where a question comes to stand where the leader has just walked, its letters add one change to the leader's few.
        prop_assert!(patch <= 2 * FEW, "{what}, {window:?}: {patch} cells");
    }
}

#[test]
fn the_fastest_music_with_the_shortest_moves_does_not_flash() {
    for (tempo, length) in
        [(240.0, 1.0), (240.0, 2.0), (240.0, 8.0), (181.0, 1.0), (150.0, 1.0), (149.0, 4.0)]
    {
        let mut app = hurried(tempo, length);
        let begin = app.floor.begin();
        for window in [(80, 24), (120, 40)] {
            let patch = restless(&mut app, window, begin, 6.0);
            assert!(patch <= FEW, "{tempo} beats a minute, moves of {length}, {window:?}: {patch} cells");
        }
    }
}

#[test]
fn a_blinking_screen_would_be_noticed() {
    // The measure itself: a square of 3 by 3 that changes at every frame counts, a still one does not.
    let mut cells = vec![false; 100];
    for (x, y) in [(2, 2), (3, 2), (4, 2), (2, 3), (3, 3), (4, 3), (8, 8)] {
        cells[10 * y + x] = true;
    }
    assert_eq!(largest_patch(&mut cells, 10), 6);
    let mut app = hurried(120.0, 8.0);
    let mut flicker = 0;
    let still = restless(&mut app, (40, 10), Seconds(0.0), 2.0);
    for frame in 0..30 {
        app.palette.theme = if frame % 2 == 0 { Theme::Dark } else { Theme::Light };
        flicker += usize::from(luminance(&picture(&app, 40, 10).content[0]) > 0.5);
    }
    assert!(still <= FEW && flicker == 15);
}
