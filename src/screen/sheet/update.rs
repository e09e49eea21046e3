//! What a key, the mouse, the clock or an answer changes on the sheet.

use super::keys::{Action, action, chapters};
use super::modes::{Ask, Effect, Grain, Mode, Music};
use super::state::Sheet;
use super::{beats, mouse, pencil, typing};
use crate::check::Report;
use crate::grid::mend::Repair;
use crate::listening::{Listening, Sureness};
use crate::screen::colours::Theme;
use crate::screen::desk::{Again, Choice};
use crate::screen::help;
use crate::screen::repair;
use crate::sound::{Heard, Speed};
use crate::units::Beat;
use crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers, MouseEvent};
use std::sync::Arc;
use std::time::Duration;

/// A question that comes up by itself takes no answer for so long: she may be in the middle of typing. Our choice.
const READ_FIRST: Duration = Duration::from_millis(1_000);

/// What happened.
#[derive(Debug, Clone, PartialEq)]
pub enum Message {
    /// A key.
    Key(KeyEvent),
    /// The mouse.
    Mouse(MouseEvent),
    /// The window has so many columns and rows.
    Size(u16, u16),
    /// Where the music is, and the time since some fixed moment.
    Heard(Heard, Duration),
    /// What is known of the sound has changed.
    Music(Music),
    /// What was heard in the recording.
    Listened(Box<Listening>),
    /// From now on the grid can be heard again: how sure each bar is, and a sentence where it would be another one.
    Repairable(Vec<Sureness>, Option<String>),
    /// A gesture of repairing that has no key: the beats of a file.
    Gesture(Repair),
    /// The grid was heard again.
    Again(Box<Again>),
    /// What the check says of the state with this number.
    Checked(u64, Box<Report>),
    /// A sentence to be shown.
    Say(String),
    /// Something cannot be written; `None` when it can again.
    Trouble(Option<String>),
    /// The dance may not be changed here: why, and whether it may be taken over.
    ReadOnly(String, bool),
    /// A question.
    Ask(Ask),
    /// The file holds everything.
    Saved,
}

/// Changes the sheet and says what is to be done outside.
pub fn update(sheet: &mut Sheet, message: Message) -> Vec<Effect> {
    match message {
        Message::Key(key) if key.kind == KeyEventKind::Release => Vec::new(),
        Message::Key(key) => pressed(sheet, &key),
        Message::Mouse(event) => mouse::pointed(sheet, event),
        Message::Size(width, height) => {
            sheet.size = (width, height);
            sheet.lay_out();
            Vec::new()
        }
        Message::Heard(heard, now) => {
            sheet.heard = heard;
            sheet.now = now;
            if sheet.notice.as_ref().is_some_and(|(_, until)| *until <= now) {
                sheet.notice = None;
            }
            sheet.follow();
            let playing = sheet.repairs.as_ref().is_some_and(|repairs| repairs.playing);
            if heard.playing || playing {
                let told = repair::Message::Heard { at: heard.at, playing: heard.playing };
                return beats::tell(sheet, told);
            }
            Vec::new()
        }
        Message::Music(music) => {
            if let Music::Missing(why) = &music {
                sheet.say(why.clone());
            }
            let effects = sheet.readiness_of(&music);
            sheet.music = music;
            effects
        }
        Message::Repairable(sureness, otherwise) => sheet.repairable(sureness, otherwise),
        Message::Gesture(gesture) => beats::tell(sheet, repair::Message::Gesture(gesture)),
        Message::Again(again) => sheet.heard_again(again),
        Message::Listened(listening) => {
            sheet.listening = Some(Arc::from(listening));
            sheet.walk_trail();
            sheet.lay_out();
            vec![Effect::Check(sheet.state)]
        }
        Message::Checked(number, report) => {
            // What was found in an earlier state speaks of cues that may be others by now; the check of this one is on its way.
            if number == sheet.state {
                sheet.report = Some(*report);
                sheet.checked = number;
                sheet.visited = None;
                let scroll = sheet.scroll;
                sheet.lay_out();
                // What the check adds must not move the paper under her eyes more than needed.
                sheet.scroll = scroll;
                sheet.show_cursor();
            }
            Vec::new()
        }
        Message::Say(text) => {
            match &mut sheet.repairs {
                Some(repairs) => repairs.notice = Some(text),
                None => sheet.say(text),
            }
            Vec::new()
        }
        Message::Trouble(trouble) => {
            in_trouble(sheet, trouble);
            Vec::new()
        }
        Message::ReadOnly(why, free) => {
            if let Some(repairs) = &mut sheet.repairs
                && sheet.trouble.is_none()
            {
                repairs.trouble = Some(why.clone());
            }
            sheet.read_only = Some(why);
            sheet.free = free;
            Vec::new()
        }
        Message::Ask(ask) => {
            // Whatever she was typing waits until she has decided.
            let before = std::mem::replace(&mut sheet.mode, Mode::Ask(ask));
            if !matches!(before, Mode::Ask(_)) {
                sheet.interrupted = Some(Box::new(before));
            }
            sheet.asked = sheet.now;
            Vec::new()
        }
        Message::Saved => {
            in_trouble(sheet, None);
            Vec::new()
        }
    }
}

fn in_trouble(sheet: &mut Sheet, trouble: Option<String>) {
    if let Some(repairs) = &mut sheet.repairs {
        repairs.trouble.clone_from(&trouble);
    }
    sheet.trouble = trouble;
}

fn pressed(sheet: &mut Sheet, key: &KeyEvent) -> Vec<Effect> {
    sheet.stay_here();
    let effects = pressed_in(sheet, key);
    // A panel may have come or gone over the place where she is.
    if !effects.contains(&Effect::Play) {
        sheet.show_cursor();
    }
    effects
}

/// What a key does in the mode that is on.
pub(super) fn pressed_in(sheet: &mut Sheet, key: &KeyEvent) -> Vec<Effect> {
    match sheet.mode.clone() {
        Mode::Sheet if sheet.repairs.is_some() => {
            let control = key.modifiers.contains(KeyModifiers::CONTROL);
            match key.code {
                KeyCode::Char('c') if control => vec![Effect::Leave(false)],
                KeyCode::Char('s') if control => vec![Effect::Save],
                KeyCode::Char('o') if control => take_over(sheet),
                _ => beats::pressed(sheet, key),
            }
        }
        Mode::Sheet => {
            let Some(action) = action(key) else { return Vec::new() };
            sheet.notice = None;
            act(sheet, action)
        }
        Mode::Help(page) => {
            let pages = help::pages(&chapters(), sheet.size);
            sheet.mode = help::turned(page, pages, key.code).map_or(Mode::Sheet, Mode::Help);
            Vec::new()
        }
        Mode::Ask(ask) => answered(sheet, ask, key),
        Mode::Choose(purpose, entry, place) => typing::choosing(sheet, purpose, entry, place, key),
        Mode::Write(about, entry) => typing::writing(sheet, about, entry, key),
    }
}

fn answered(sheet: &mut Sheet, ask: Ask, key: &KeyEvent) -> Vec<Effect> {
    let unread = sheet.now.saturating_sub(sheet.asked) < READ_FIRST;
    if matches!(ask, Ask::Disk(..)) && unread {
        return Vec::new();
    }
    // Ctrl-s, pressed again because nothing was saved, is not 's': save mine over theirs.
    let held = key.modifiers.intersects(KeyModifiers::CONTROL | KeyModifiers::ALT);
    let letter = match key.code {
        KeyCode::Char(letter) if !held => letter,
        // Escape is the answer that changes nothing.
        KeyCode::Esc if matches!(ask, Ask::Disk(..)) => 'l',
        KeyCode::Esc if matches!(ask, Ask::Lost(_)) => 'n',
        _ => return Vec::new(),
    };
    let effect = match (ask, letter.to_ascii_lowercase()) {
        (Ask::Recover(_), 'y') => Effect::Recover(true),
        (Ask::Recover(_), 'n') => Effect::Recover(false),
        (Ask::Recover(_), 'q') => Effect::Leave(true),
        (Ask::Disk(..), 'l') => {
            in_trouble(sheet, Some("nothing is saved until you have decided: ctrl-s asks again".into()));
            resume(sheet);
            return Vec::new();
        }
        (Ask::Disk(..), 'k') => Effect::Disk(Choice::KeepBoth),
        (Ask::Disk(_, true), 't') => Effect::Disk(Choice::Theirs),
        (Ask::Disk(..), 's') => Effect::Disk(Choice::Overwrite),
        (Ask::Lost(_), 'y') => Effect::Leave(true),
        (Ask::Lost(_), 'n') => {
            resume(sheet);
            return Vec::new();
        }
        _ => return Vec::new(),
    };
    match effect {
        // Another dance may come: what was being written belongs to the one before.
        Effect::Recover(_) | Effect::Disk(Choice::Theirs) => {
            sheet.interrupted = None;
            sheet.mode = Mode::Sheet;
        }
        _ => resume(sheet),
    }
    in_trouble(sheet, None);
    vec![effect]
}

/// Back to what she was at before the question.
fn resume(sheet: &mut Sheet) {
    sheet.mode = sheet.interrupted.take().map_or(Mode::Sheet, |mode| *mode);
}

fn act(sheet: &mut Sheet, action: Action) -> Vec<Effect> {
    use Action as A;
    if !matches!(action, A::NextFinding | A::Mend | A::Ignore | A::Help | A::Play | A::Clicks) {
        sheet.visited = None;
    }
    // A hint goes once it was followed.
    sheet.hint = match (sheet.hint, action) {
        (1, A::Longer | A::Shorter | A::Undo) => 2,
        (2, A::Play | A::Round) => 3,
        (hint, _) => hint,
    };
    match action {
        A::CountBack | A::CountOn | A::SelectBack | A::SelectOn => step(sheet, action),
        A::LineUp | A::LineDown => go_line(sheet, action == A::LineDown),
        A::PhraseUp | A::PhraseDown => go_phrase(sheet, action == A::PhraseDown),
        A::Home | A::End => go_end(sheet, action == A::End),
        A::NextCue | A::LastCue => go_cue(sheet, action == A::NextCue),
        A::NextTurn | A::LastTurn => match turn(sheet, action == A::NextTurn) {
            Some(at) => go(sheet, at),
            None if sheet.listening.is_none() => sheet.say("nothing is known of the music's turns yet"),
            None => sheet.say("the music does not turn again there"),
        },
        A::Heard => go(sheet, Beat(sheet.playhead().0.max(0.0).floor())),
        A::NextFinding => next_finding(sheet),
        A::LetGo => {
            sheet.anchor = None;
            sheet.notice = None;
        }
        A::Grain => {
            sheet.grain = match sheet.grain {
                Grain::Count => Grain::Half,
                Grain::Half => Grain::Bar,
                Grain::Bar => Grain::Count,
            };
            sheet.say(match sheet.grain {
                Grain::Count => "going by counts",
                Grain::Half => "going by half counts",
                Grain::Bar => "going by bars",
            });
        }
        A::Repair => return sheet.repair(false),
        A::Help => sheet.mode = Mode::Help(0),
        A::Light => {
            sheet.palette.theme = match sheet.palette.theme {
                Theme::Dark => Theme::Light,
                Theme::Light => Theme::Dark,
            };
        }
        A::Save => return vec![Effect::Save],
        A::TakeOver => return take_over(sheet),
        A::Leave => return vec![Effect::Leave(false)],
        A::Undo | A::Redo => return turn_back(sheet, action == A::Undo),
        A::Play | A::Round | A::Clicks | A::Full | A::ThreeQuarters | A::Half => return play(sheet, action),
        A::Longer
        | A::Shorter
        | A::Later
        | A::Earlier
        | A::EndAtTurn
        | A::ToTurn
        | A::Split
        | A::Join
        | A::RubOut
        | A::Side
        | A::Mirror
        | A::HandOn
        | A::Copy
        | A::PutDown
        | A::Mend => return pencil::edit(sheet, action),
        A::Pin
        | A::Words
        | A::AsIn
        | A::Other
        | A::Lead
        | A::Prompt
        | A::Why
        | A::Notes
        | A::Title
        | A::Ignore => typing::begin(sheet, action),
    }
    Vec::new()
}

/// Puts the cursor somewhere, and lets go of a selection.
pub(super) fn go(sheet: &mut Sheet, at: Beat) {
    sheet.anchor = None;
    sheet.visited = None;
    sheet.cursor = sheet.inside(at);
    sheet.show_cursor();
}

/// The position one step before or after another.
pub(super) fn stepped(sheet: &Sheet, at: Beat, on: bool) -> Beat {
    let by = match sheet.grain {
        Grain::Count => 1.0,
        Grain::Half => 0.5,
        Grain::Bar => {
            let bars = sheet.dance.grid.bars();
            let next = if on {
                bars.iter().copied().find(|bar| *bar as f64 > at.0 + 1e-6)
            } else {
                bars.iter().copied().rev().find(|bar| (*bar as f64) < at.0 - 1e-6)
            };
            let end = if on { sheet.dance.grid.end() } else { Beat(0.0) };
            return next.map_or(end, Beat::from);
        }
    };
    // Between two counts, a step by counts goes to the nearest whole one first.
    let whole = if on { (at.0 + 1e-6).floor() } else { (at.0 - 1e-6).ceil() };
    match sheet.grain {
        Grain::Count if !at.is_whole() => Beat(if on { whole + 1.0 } else { whole - 1.0 }),
        _ if on => Beat(at.0 + by),
        _ => Beat(at.0 - by),
    }
}

fn step(sheet: &mut Sheet, action: Action) {
    let on = matches!(action, Action::CountOn | Action::SelectOn);
    let to = stepped(sheet, sheet.cursor, on);
    if matches!(action, Action::SelectBack | Action::SelectOn) {
        let from = sheet.anchor.unwrap_or(sheet.cursor);
        sheet.cursor = sheet.inside(to);
        sheet.anchor = Some(from);
        sheet.show_cursor();
    } else {
        go(sheet, to);
    }
}

fn go_line(sheet: &mut Sheet, down: bool) {
    let Some(index) = sheet.layout.line_at(sheet.cursor) else { return };
    let column = sheet.cursor.0 - sheet.layout.lines[index].from as f64;
    let other = if down { index + 1 } else { index.wrapping_sub(1) };
    if let Some(line) = sheet.layout.lines.get(other) {
        let at = Beat((line.from as f64 + column).min(line.until as f64 - 1.0));
        go(sheet, at);
    }
}

fn go_phrase(sheet: &mut Sheet, on: bool) {
    let starts = sheet.dance.grid.phrases().iter().map(|phrase| phrase.start as f64);
    let here = sheet.cursor.0;
    let to = if on { starts.clone().find(|at| *at > here) } else { starts.rev().find(|at| *at < here) };
    if let Some(at) = to.or((!on).then_some(0.0)) {
        go(sheet, Beat(at));
    }
}

fn go_end(sheet: &mut Sheet, end: bool) {
    let Some(index) = sheet.layout.line_at(sheet.cursor) else { return };
    let line = &sheet.layout.lines[index];
    let edge = if end { line.until.saturating_sub(1) } else { line.from } as f64;
    let whole = if end { sheet.dance.grid.len().saturating_sub(1) as f64 } else { 0.0 };
    let at = if (sheet.cursor.0 - edge).abs() < 1e-6 { whole } else { edge };
    go(sheet, Beat(at));
}

fn go_cue(sheet: &mut Sheet, on: bool) {
    let here = sheet.cursor.0;
    let starts = sheet.dance.cues.iter().map(|cue| cue.at.0);
    let to = if on {
        starts.clone().find(|at| *at > here + 1e-6)
    } else {
        starts.rev().find(|at| *at < here - 1e-6)
    };
    match to {
        Some(at) => go(sheet, Beat(at)),
        None => sheet.say("no cue there"),
    }
}

/// Where the music turns next, or turned last, to the nearest count.
pub(super) fn turn(sheet: &Sheet, on: bool) -> Option<Beat> {
    let here = sheet.cursor.0;
    let turns = sheet.listening.as_ref()?.turns.iter();
    let mut places: Vec<f64> = turns.map(|turn| sheet.dance.grid.beat_at(turn.start).0.round()).collect();
    places.retain(|at| *at >= 0.0 && *at < sheet.dance.grid.end().0);
    places.sort_by(f64::total_cmp);
    let found = if on {
        places.iter().find(|at| **at > here + 1e-6)
    } else {
        places.iter().rev().find(|at| **at < here - 1e-6)
    };
    found.copied().map(Beat)
}

/// To the finding after the one that is shown, in the order of the music; those about the whole dance come first. Each is
/// visited, also where several stand on one count.
fn next_finding(sheet: &mut Sheet) {
    let Some(report) = &sheet.report else {
        sheet.say("the check is not done yet");
        return;
    };
    let findings = &report.findings;
    let shown = sheet.finding_here().and_then(|here| findings.iter().position(|other| other == here));
    let behind = |index: usize| findings[index].at.is_some_and(|at| at.0 > sheet.cursor.0 + 0.5);
    let next = match shown {
        Some(index) => index + 1,
        None => (0..findings.len()).find(|&index| behind(index)).unwrap_or(0),
    };
    let next = if next < findings.len() { next } else { 0 };
    let Some(at) = findings.get(next).map(|finding| finding.at) else {
        sheet.say("the check finds nothing to mend");
        return;
    };
    // Findings about turns lie between counts; from the nearest count they are seen.
    if let Some(at) = at {
        go(sheet, Beat(at.0.round().max(0.0)));
    }
    sheet.visited = Some(next);
}

/// Undoes, or does again.
pub(super) fn turn_back(sheet: &mut Sheet, undo: bool) -> Vec<Effect> {
    if let Some(why) = sheet.read_only.clone() {
        sheet.say(why);
        return Vec::new();
    }
    let turned =
        if undo { sheet.history.undo(&mut sheet.dance) } else { sheet.history.redo(&mut sheet.dance) };
    match turned {
        Err(error) => sheet.say(error.to_string()),
        Ok(None) => sheet.say(if undo { "nothing left to undo" } else { "nothing left to do again" }),
        Ok(Some(turned)) => {
            sheet.cursor = turned.selection.from;
            sheet.anchor = None;
            let effects = sheet.changed(vec![turned.record]);
            sheet.say(format!("{}: {}", if undo { "undone" } else { "done again" }, turned.label));
            return effects;
        }
    }
    Vec::new()
}

/// Opens the dance anew once the program that had it has left it.
fn take_over(sheet: &mut Sheet) -> Vec<Effect> {
    if sheet.free {
        return vec![Effect::TakeOver];
    }
    let why = sheet.read_only.clone();
    sheet.say(why.unwrap_or_else(|| "no other program has this dance: it is yours to change".into()));
    if let Some(repairs) = &mut sheet.repairs {
        repairs.notice = sheet.notice.take().map(|(said, _)| said);
    }
    Vec::new()
}

fn play(sheet: &mut Sheet, action: Action) -> Vec<Effect> {
    let grid = &sheet.dance.grid;
    let from_here = [Effect::Seek(grid.seconds_at(sheet.cursor)), Effect::Play];
    let span = sheet.round_span();
    let what = if sheet.anchor.is_some() { "what is selected" } else { "this phrase" };
    match action {
        Action::Play if sheet.heard.playing => vec![Effect::Pause],
        Action::Play => {
            if matches!(sheet.music, Music::Coming(_)) {
                sheet.say("the recording is still being opened");
                return Vec::new();
            }
            sheet.stay = Duration::ZERO;
            let round = if sheet.round { vec![Effect::Repeat(Some(span))] } else { Vec::new() };
            round.into_iter().chain(from_here).collect()
        }
        Action::Round if sheet.round => {
            sheet.round = false;
            sheet.say("the music goes on, no more round and round");
            vec![Effect::Repeat(None)]
        }
        Action::Round => {
            if matches!(sheet.music, Music::Coming(_)) {
                sheet.say("the recording is still being opened");
                return Vec::new();
            }
            sheet.round = true;
            sheet.stay = Duration::ZERO;
            sheet.say(format!("{what} goes round and round; r lets it go on"));
            vec![Effect::Repeat(Some(span)), Effect::Seek(span.0), Effect::Play]
        }
        Action::Clicks => {
            sheet.clicks = !sheet.clicks;
            sheet.say(if sheet.clicks { "clicks on the beat" } else { "no clicks" });
            vec![Effect::Click(sheet.clicks)]
        }
        Action::Full | Action::ThreeQuarters | Action::Half => {
            let percent = match action {
                Action::Full => 100,
                Action::ThreeQuarters => 75,
                _ => 50,
            };
            sheet.speed = Speed::percent(percent);
            sheet.say(format!("{percent} per cent of the music's own speed"));
            vec![Effect::Speed(sheet.speed)]
        }
        _ => Vec::new(),
    }
}
