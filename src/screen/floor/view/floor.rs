//! The floor itself: the move now, the move next with its stones to go, the trail.

use super::super::app::{App, Version};
use super::super::stage::{Call, Next, Part, Stage};
use super::super::words::dynamic_words;
use super::path::path;
use super::{line, line_right, rows};
use crate::listening::TempoWord;
use crate::screen::blocks::Words;
use crate::screen::colours::Ink;
use crate::screen::fitting::fitting;
use crate::sound::{Sound, Speed};
use crate::units::Bpm;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use unicode_width::UnicodeWidthStr;

/// Numbers change with the beat; on slower beats than this they may be large without ever changing more than
/// three times a second.
const CALM_BEAT: f64 = 0.4;

/// Where everything goes.
pub(super) struct Rooms {
    pub(super) status: Rect,
    pub(super) now: Rect,
    pub(super) gentle: Rect,
    pub(super) next: Rect,
    pub(super) facts: Rect,
    pub(super) trail: Rect,
    pub(super) foot: Rect,
}

impl Rooms {
    /// Shares out a window of at least 24 by 6: the move now gets what the rest leaves, at least half.
    pub(super) fn of(area: Rect) -> Self {
        let height = area.height;
        let (gentle, next, facts, trail) = match height {
            ..10 => (0, 1, 0, 0),
            10..14 => (1, 2, 0, 0),
            14..20 => (1, 2, 1, 3),
            20..30 => (1, 6, 1, 4),
            _ => (1, height / 6 + 1, 1, height / 7 + 1),
        };
        let now = height - 2 - gentle - next - facts - trail;
        let mut from = 0;
        let mut take = |count| {
            let room = rows(area, from, count);
            from += count;
            room
        };
        Self {
            status: take(1),
            now: take(now),
            gentle: take(gentle),
            next: take(next),
            facts: take(facts),
            trail: take(trail),
            foot: take(1),
        }
    }
}

pub(super) fn floor(app: &App, area: Rect, buffer: &mut Buffer) {
    let inner = Rect { x: area.x + 1, width: area.width - 2, ..area };
    let rooms = Rooms::of(inner);
    let stage = app.floor.stage(app.heard.at);
    status(app, &stage, rooms.status, buffer);
    now(app, &stage, rooms.now, buffer);
    gentle(app, &stage, rooms.gentle, buffer);
    let lower = rooms.facts.union(rooms.trail);
    match stage.prompt {
        // While the music waits for an answer, or as long as no move is called, the question has the lower part to itself.
        Some(prompt) if !app.heard.playing || stage.spacious => {
            question(app, prompt, rooms.next.union(lower), buffer);
        }
        Some(prompt) => {
            next(app, &stage, rooms.next, buffer);
            question(app, prompt, lower, buffer);
        }
        None => {
            next(app, &stage, rooms.next, buffer);
            facts(app, &stage, rooms.facts, buffer);
            let step = stage.beat.0.floor().rem_euclid(2.0) < 1.0;
            let dance = app.floor.dance();
            path(app.floor.trail(), dance, (stage.at, step), app.palette, rooms.trail, buffer);
        }
    }
    foot(app, &stage, (area, rooms.foot), buffer);
}

/// The words of a call in the version that the class does.
pub(super) fn said<'a>(call: &'a Call<'_>, version: Version) -> &'a str {
    let gentle = match version {
        Version::Full => None,
        Version::LowImpact => call.low_impact,
        Version::Seated => call.seated,
    };
    gentle.unwrap_or(&call.words)
}

/// How often the sound broke off, in words; nothing when it did not.
pub(super) fn broke_off(times: u64) -> String {
    match times {
        0 => String::new(),
        1 => "the sound broke off once".to_owned(),
        times => format!("the sound broke off {times} times"),
    }
}

fn status(app: &App, stage: &Stage<'_>, area: Rect, buffer: &mut Buffer) {
    let quiet = app.palette.style(Ink::Quiet);
    let sound = match app.heard.sound {
        Sound::Sounding | Sound::Opening => "",
        Sound::NoDevice => "no sound",
        Sound::Silenced => "silent",
        Sound::NoRecording => "no recording, no sound",
    };
    let time = format!("{} of {}", stage.at.clock(), app.floor.length().clock());
    let place = match stage.phrase {
        Some(phrase) => format!("phrase {}, count {}", phrase.letter, stage.count),
        None if stage.count > 0 => format!("pickup, count {}", stage.count),
        None => String::new(),
    };
    let bar =
        if stage.count > 0 && stage.bar.bar > 0 { format!("bar {}", stage.bar.bar) } else { String::new() };
    // What matters least goes first when room is short: the title, then the bar.
    let width = usize::from(area.width);
    let right: Vec<&str> = [sound, &place, &bar, &time].into_iter().filter(|part| !part.is_empty()).collect();
    let mut parts = right.clone();
    while parts.join("   ").width() > width && parts.len() > 1 {
        let least = if parts.len() > 2 { parts.len() - 2 } else { 1 };
        parts.remove(least);
    }
    let text = parts.join("   ");
    line_right(buffer, area, &text, quiet);
    if !sound.is_empty() {
        line_right(buffer, area, &text, quiet);
        let start = area.right().saturating_sub(u16::try_from(text.width()).unwrap_or(0));
        let marked = Rect { x: start, width: area.right() - start, ..area };
        line(buffer, marked, sound, app.palette.style(Ink::Mark));
    }
    let left = width.saturating_sub(text.width() + 3);
    if left >= 8 {
        let room = Rect { width: left as u16, ..area };
        line(buffer, room, &app.floor.dance().title, quiet);
    }
}

fn now(app: &App, stage: &Stage<'_>, area: Rect, buffer: &mut Buffer) {
    let area = aired(area);
    let style = app.palette.style(Ink::Now);
    let calm = stage.tempo.is_none_or(|(_, bpm)| bpm.beat_length().0 >= CALM_BEAT);
    match (&stage.now, stage.part) {
        (Some(now), _) => moves(said(&now.call, app.version), &now.call.sign, area, buffer, app, Ink::Now),
        (None, Part::Ended) => middle("the end", area, buffer, style),
        (None, Part::CountIn(left)) if calm => middle(&left.to_string(), area, buffer, style),
        (None, Part::CountIn(_)) => middle("ready", area, buffer, style),
        (None, Part::Breath) => {}
        (None, Part::Dance) => middle("listen", area, buffer, app.palette.style(Ink::Quiet)),
    }
}

/// A row of air above and below where there is room, so that the letters stand by themselves.
pub(super) fn aired(area: Rect) -> Rect {
    if area.height >= 14 { rows(area, 1, area.height - 2) } else { area }
}

/// Words in the middle of an area.
fn middle(text: &str, area: Rect, buffer: &mut Buffer, style: ratatui::style::Style) {
    let words = Words::fit(text, area.width, area.height, 2);
    let x = area.x + area.width.saturating_sub(words.columns()) / 2;
    words.draw(Rect { x, width: area.right() - x, ..area }, buffer, style);
}

/// A move: its sign at the left, its words as large as the rest allows.
fn moves(words: &str, sign: &str, area: Rect, buffer: &mut Buffer, app: &App, ink: Ink) {
    let (sign_area, words_area) = sign_and_words(sign, area);
    if !sign_area.is_empty() {
        let ink = if ink == Ink::Now { Ink::Mark } else { ink };
        middle(sign, sign_area, buffer, app.palette.style(ink));
    }
    middle(words, words_area, buffer, app.palette.style(ink));
}

/// Shares an area between a sign and the words: a sixth of the width, not more than it is high.
pub(super) fn sign_and_words(sign: &str, area: Rect) -> (Rect, Rect) {
    let width = (area.width / 6).min(2 * area.height);
    if sign.is_empty() || width < 4 || area.height < 3 {
        return (Rect { width: 0, ..area }, area);
    }
    let words = Rect { x: area.x + width + 2, width: area.width - width - 2, ..area };
    (Rect { width, ..area }, words)
}

fn gentle(app: &App, stage: &Stage<'_>, area: Rect, buffer: &mut Buffer) {
    let quiet = app.palette.style(Ink::Quiet);
    let Some(now) = &stage.now else { return };
    let text = match app.version {
        Version::Full => match (now.call.seated, now.call.low_impact) {
            (Some(seated), Some(low)) => {
                let both = format!("seated: {seated}   low impact: {low}");
                if both.width() <= usize::from(area.width) { both } else { format!("seated: {seated}") }
            }
            _ => String::new(),
        },
        Version::LowImpact => "low impact, everyone".to_owned(),
        Version::Seated => "seated, everyone".to_owned(),
    };
    line(buffer, area, &text, app.palette.style(Ink::Mark));
    let left = now.left.0.ceil() as usize;
    // Only the number changes from count to count: a plural that came and went would move the words beside it.
    let counts = format!("counts left {left:>2}");
    if text.width() + counts.width() + 3 <= usize::from(area.width) {
        line_right(buffer, area, &counts, quiet);
    }
}

fn next(app: &App, stage: &Stage<'_>, area: Rect, buffer: &mut Buffer) {
    let Some(next) = &stage.next else { return };
    if !next.called {
        return;
    }
    let words = if app.hidden { "?" } else { said(&next.call, app.version) };
    let sign: &str = if app.hidden { "" } else { &next.call.sign };
    let label = if next.lively { "get ready" } else { "next" };
    let style = app.palette.style(Ink::Next);
    if area.height < 6 {
        // Half a move is worse than no sign and no label.
        let forms = [
            format!("{label} in {}: {words} {sign}", next.to_go).trim_end().to_owned(),
            format!("{label} in {}: {words}", next.to_go),
            format!("in {}: {words}", next.to_go),
            format!("{}: {words}", next.to_go),
        ];
        line(buffer, area, fitting(&forms, usize::from(area.width)).unwrap_or(&forms[3]), style);
        if area.height > 1 {
            stones(app, next, rows(area, 1, 1), buffer);
        }
        return;
    }
    let thick = if area.height >= 9 { 2 } else { 1 };
    let top = rows(area, 0, area.height - thick - u16::from(area.height > 6));
    let side = Rect { width: (area.width / 8).clamp(9, 30), ..top };
    line(buffer, side, label, style);
    let number = next.to_go.to_string();
    let calm = !next.stones.is_empty() && next.stones.iter().all(|stone| stone.stride.0 >= CALM_BEAT);
    if calm {
        middle(&number, rows(side, 1, side.height - 1), buffer, style);
    } else {
        line(buffer, rows(side, 2, 1), &number, style);
    }
    let beside = Rect { x: side.right() + 2, width: top.width - side.width - 2, ..top };
    let (_, narrow) = sign_and_words(sign, beside);
    // Long words take the sign's place before they are written small.
    let large = matches!(Words::fit(words, narrow.width, narrow.height, 2), Words::Block { .. });
    moves(words, if large { sign } else { "" }, beside, buffer, app, Ink::Next);
    stones(app, next, rows(area, area.height - thick, thick), buffer);
}

/// The row of stones still to be crossed, as long as their beats.
fn stones(app: &App, next: &Next<'_>, area: Rect, buffer: &mut Buffer) {
    let whole: f64 = next.stones.iter().map(|stone| stone.stride.0).sum();
    if whole <= 0.0 || area.is_empty() {
        return;
    }
    let mut from = 0.0;
    for stone in &next.stones {
        let place = |seconds: f64| (seconds / whole * f64::from(area.width + 1)).round() as u16;
        let (left, right) = (place(from), place(from + stone.stride.0));
        from += stone.stride.0;
        let (symbols, ink) = match (stone.crossed, stone.here) {
            (true, _) => ([" ", "▁"], Ink::Crossed),
            (_, true) => (["▄", "█"], Ink::Leader),
            _ => ([" ", "▄"], Ink::Stone),
        };
        for x in left..right.saturating_sub(1).max(left + 1).min(area.width) {
            for y in 0..area.height {
                // One row thick: only the lower part. Two rows: the leader's stone stands out of the ground.
                let symbol = symbols[usize::from(y + 1 == area.height)];
                if let Some(cell) = buffer.cell_mut((area.x + x, area.y + y)) {
                    cell.set_symbol(symbol).set_style(app.palette.style(ink));
                }
            }
        }
    }
}

fn facts(app: &App, stage: &Stage<'_>, area: Rect, buffer: &mut Buffer) {
    let quiet = app.palette.style(Ink::Quiet);
    let tempo = stage.tempo.map(|(word, bpm)| {
        let heard = Bpm(bpm.0 * app.speed.factor());
        // At another speed the word is that of what is heard.
        let word = if app.speed == Speed::NORMAL { word } else { TempoWord::of(heard) };
        [format!("{word}, {:.0} beats a minute", heard.0), word.to_string()]
    });
    let loudness = stage.dynamic.map(|dynamic| {
        let (words, mark) = dynamic_words(dynamic);
        // A hairpin that opens as far as the music is loud.
        let open = (stage.level * 8.0).round() as usize;
        let hairpin: String = "▁▂▃▄▅▆▇█".chars().take(open.max(1)).collect();
        [format!("{words} ({mark}) {hairpin:<8}"), format!("{words} ({mark})")]
    });
    let [[tempo, word], [loudness, mark]] = [tempo.unwrap_or_default(), loudness.unwrap_or_default()];
    // What a narrow window has no room for goes: first the number, then the hairpin, then the loudness.
    let forms = [(&tempo, &loudness), (&word, &loudness), (&word, &mark)];
    let width = usize::from(area.width);
    let fitting = forms.into_iter().find(|(left, right)| left.width() + right.width() + 2 <= width);
    let (left, right) = fitting.map_or((word.as_str(), ""), |(left, right)| (left.as_str(), right.as_str()));
    line(buffer, area, left, quiet);
    line_right(buffer, area, right, quiet);
}

fn question(app: &App, (index, prompt): (usize, &crate::dance::Prompt), area: Rect, buffer: &mut Buffer) {
    if area.is_empty() {
        return;
    }
    let answered = app.answered == Some(index);
    let text = if answered { &prompt.answer } else { &prompt.question };
    if area.height == 1 {
        let text = format!("{} {text}", if answered { "answer:" } else { "?" });
        line(buffer, area, &text, app.palette.style(Ink::Mark));
        return;
    }
    let label = if answered { "answer" } else { "question (a uncovers the answer)" };
    line(buffer, area, label, app.palette.style(Ink::Quiet));
    let room = rows(area, 1, area.height - 1);
    middle_lines(text, room, buffer, app.palette.style(Ink::Mark));
}

fn middle_lines(text: &str, area: Rect, buffer: &mut Buffer, style: ratatui::style::Style) {
    let most = (usize::from(area.height) / 4).clamp(1, 3);
    let words = Words::fit(text, area.width, area.height, most);
    words.draw(area, buffer, style);
}

fn foot(app: &App, stage: &Stage<'_>, (window, area): (Rect, Rect), buffer: &mut Buffer) {
    let mark = app.palette.style(Ink::Mark);
    let state = states(app, usize::from(area.width));
    let left = usize::from(area.width).saturating_sub(if state.is_empty() { 0 } else { state.width() + 3 });
    if let Some((words, _)) = &app.notice {
        line(buffer, area, words, mark);
        // For its few seconds a message goes before what stands all the time.
        if words.width() > left {
            return;
        }
    } else if stage.part == Part::Ended {
        let words = match app.piece {
            (piece, pieces) if piece < pieces => {
                format!("space: on to piece {} of {pieces}   q leaves", piece + 1)
            }
            _ => "space begins again   q leaves".to_owned(),
        };
        line(buffer, area, &words, mark);
    } else if !app.heard.playing {
        // A window may have become small since the first page said whether it can be read.
        let paused = "paused: space goes on";
        let small = super::opening::too_small(app, window).map(|words| format!("{paused}   {words}"));
        let words = small.filter(|words| words.width() <= left);
        line(buffer, area, words.as_deref().unwrap_or(paused), mark);
    } else {
        let forms = [
            "space pause   left right phrase   g gentle   ? all keys",
            "space pause   left right phrase   ? all keys",
            "space pause   ? keys",
            "space pause",
        ];
        // A free dance has no gentle version.
        let keys = fitting(&forms[usize::from(app.floor.is_free())..], left).unwrap_or_default();
        line(buffer, area, keys, app.palette.style(Ink::Quiet));
    }
    // What holds the class in one place must be seen even where other words must make room for it.
    if !state.is_empty() {
        let width = u16::try_from(state.width() + 2).unwrap_or(area.width).min(area.width);
        let room = Rect { x: area.right() - width, width, ..area };
        line(buffer, room, &" ".repeat(usize::from(width)), mark);
    }
    line_right(buffer, area, &state, mark);
}

/// All that is not as a class would expect it, as much of it as a width has room for: nothing of a rehearsal may surprise later.
fn states(app: &App, width: usize) -> String {
    let speed = match app.speed {
        Speed::NORMAL => String::new(),
        speed => format!("{} % speed", speed.in_percent()),
    };
    let repeating = if app.repeat.is_some() { "repeating" } else { "" };
    // Gaps in the sound are for the teacher, not for the class: they are told when the music stands.
    let gaps = if app.heard.playing { String::new() } else { broke_off(app.heard.dry_runs) };
    let locked = if app.locked { "keys locked" } else { "" };
    let clicks = if app.clicks { "clicks" } else { "" };
    let hidden = if app.hidden { "next hidden" } else { "" };
    let all = [&speed, repeating, locked, clicks, hidden, &gaps];
    let mut states: Vec<&str> = all.into_iter().filter(|state| !state.is_empty()).collect();
    while states.join("   ").width() > width {
        states.pop();
    }
    states.join("   ")
}
