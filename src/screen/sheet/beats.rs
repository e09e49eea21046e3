//! Repairing the beats without leaving the sheet: the same dance, the same steps to undo, and the same place to come
//! back to. The sheet holds dance and history; [`Repairing`] asks for changes, and they are made here.

use super::modes::{Effect, Mode, Music};
use super::state::Sheet;
use super::update::turn_back;
use crate::dance::edit::Selection;
use crate::listening::Sureness;
use crate::screen::desk::Again;
use crate::screen::help;
use crate::screen::repair::{self, Action, Message, Readiness, Repairing};
use crate::sound::Speed;
use crate::units::Beat;
use crossterm::event::{KeyCode, KeyEvent};
use std::collections::VecDeque;
use std::sync::Arc;

/// Requests of the sheet itself, when the beats changed while it is written on; repairing counts its own from 1.
const OF_THE_SHEET: u64 = u64::MAX;

impl Sheet {
    /// Opens the repairing at the cursor. `straight`: she came for that, and leaves the program from it.
    pub fn repair(&mut self, straight: bool) -> Vec<Effect> {
        if straight {
            self.cursor = Beat(0.0);
        }
        self.straight = straight;
        self.anchor = None;
        self.place = Some(self.dance.grid.seconds_at(self.cursor));
        self.repairs = Some(Box::new(self.fresh()));
        if self.sureness.is_empty() && self.readiness == Readiness::Ready {
            return tell(self, Message::Changed);
        }
        Vec::new()
    }

    /// Whether the repairing is open, the grid can be heard again, and no question waits.
    #[must_use]
    pub fn is_ready_to_repair(&self) -> bool {
        self.repairs.is_some() && self.readiness == Readiness::Ready && !matches!(self.mode, Mode::Ask(_))
    }

    fn fresh(&mut self) -> Repairing {
        let mut repairs = Repairing::new(&self.dance, self.cursor, self.readiness.clone(), self.gestures);
        repairs.sureness = self.sureness.clone();
        repairs.at = self.heard.at;
        repairs.playing = self.heard.playing;
        (repairs.speed, repairs.round) = (self.speed, self.round);
        repairs.trouble = self.trouble.clone().or_else(|| self.read_only.clone());
        repairs.notice = self.otherwise.take();
        repairs
    }

    /// Back to the sheet, to the music that she came from.
    pub(super) fn back(&mut self) {
        if let Some(repairs) = self.repairs.take() {
            self.gestures = repairs.gestures();
        }
        self.place = None;
        self.cursor = self.inside(self.cursor);
        self.lay_out();
    }

    /// The dance was replaced from outside while its beats are repaired.
    pub(super) fn repair_anew(&mut self) {
        if let Some(before) = self.repairs.take() {
            self.gestures = before.gestures();
            self.place = Some(self.dance.grid.seconds_at(self.cursor));
            self.repairs = Some(Box::new(self.fresh()));
        }
    }

    /// After the grid has changed: what belongs to it, and where she is in it.
    pub(super) fn regrid(&mut self) -> Vec<Effect> {
        if let Some(at) = self.place {
            self.cursor = self.inside(Beat(self.dance.grid.beat_at(at).0.round()));
        }
        self.walk_trail();
        let mut effects = vec![Effect::Clicks];
        // Repairing asks by itself, as it knows what it waits for.
        if self.place.is_none() {
            effects.extend(self.hear_again());
        }
        effects
    }

    /// Has the dance's own grid heard again, for its turns and for how sure it is.
    fn hear_again(&mut self) -> Option<Effect> {
        self.sureness.clear();
        let anchors = self.dance.anchors.clone();
        (self.readiness == Readiness::Ready).then_some(Effect::HearAgain { number: OF_THE_SHEET, anchors })
    }

    /// The grid was heard again.
    pub(super) fn heard_again(&mut self, again: Box<Again>) -> Vec<Effect> {
        let listening = again.listening.clone();
        let (grid, sureness) = (again.grid.clone(), again.sureness.clone());
        let mut effects = tell(self, Message::Again(again));
        // What was heard with other corrections than the dance has belongs to none of its grids.
        if grid == self.dance.grid {
            self.sureness = sureness;
            self.listening = Some(Arc::new(listening));
            self.walk_trail();
            self.lay_out();
            effects.push(Effect::Check(self.state));
        }
        effects
    }

    /// From now on the grid can be heard again.
    pub(super) fn repairable(&mut self, sureness: Vec<Sureness>, otherwise: Option<String>) -> Vec<Effect> {
        self.readiness = Readiness::Ready;
        let mut effects = tell(self, Message::Ready(Readiness::Ready));
        if sureness.len() == self.dance.grid.bars().len() {
            effects.extend(tell(self, Message::Sure(sureness.clone())));
            self.sureness = sureness;
        }
        match (&mut self.repairs, otherwise) {
            (Some(repairs), Some(otherwise)) => repairs.notice = Some(otherwise),
            // Said when she comes to repair: before, it does not concern her.
            (_, otherwise) => self.otherwise = otherwise,
        }
        if !self.dance.anchors.is_empty() {
            // Until now the turns are those of the beats without her corrections.
            let kept = std::mem::take(&mut self.sureness);
            effects.extend(self.hear_again());
            self.sureness = kept;
        }
        effects
    }

    /// What is known of the recording bears on whether beats can be repaired.
    pub(super) fn readiness_of(&mut self, music: &Music) -> Vec<Effect> {
        let readiness = match music {
            _ if self.readiness == Readiness::Ready => return Vec::new(),
            Music::Coming(part) => Readiness::Listening(*part),
            Music::Missing(why) => Readiness::Never(why.clone()),
            Music::Ready => return Vec::new(),
        };
        self.readiness = readiness.clone();
        tell(self, Message::Ready(readiness))
    }
}

/// A key while the beats are repaired.
pub(super) fn pressed(sheet: &mut Sheet, key: &KeyEvent) -> Vec<Effect> {
    let size = sheet.size;
    if let Some(repairs) = &mut sheet.repairs
        && let Some(page) = repairs.help
    {
        repairs.help = help::turned(page, repair::help_pages(size), key.code);
        return Vec::new();
    }
    let typing = sheet.repairs.as_ref().is_some_and(|repairs| repairs.typing.is_some());
    let message = match (typing, key.code) {
        (true, KeyCode::Char(digit)) => Message::Digit(digit),
        (true, KeyCode::Backspace) => Message::RubOut,
        (true, KeyCode::Enter) => Message::Do(Action::Tap),
        (true, KeyCode::Esc) => Message::Do(Action::Leave),
        (true, _) => return Vec::new(),
        (false, _) => match repair::keys::action(*key) {
            Some(action) => Message::Do(action),
            None => return Vec::new(),
        },
    };
    tell(sheet, message)
}

/// The phrase of a beat goes round and round, or the music goes on.
fn round(sheet: &mut Sheet, beat: Beat) -> Vec<Effect> {
    if matches!(sheet.music, Music::Coming(_)) {
        sheet.say("the recording is still being opened");
        return Vec::new();
    }
    sheet.round = !sheet.round;
    if !sheet.round {
        sheet.say("the music goes on, no more round and round");
        return vec![Effect::Repeat(None)];
    }
    sheet.say("this phrase goes round and round; r lets it go on");
    let grid = &sheet.dance.grid;
    let ends = grid.phrase_at(beat).map_or((Beat(0.0), grid.end()), |span| (span.start, span.end));
    let span = (grid.seconds_at(ends.0), grid.seconds_at(ends.1));
    vec![Effect::Repeat(Some(span)), Effect::Seek(span.0), Effect::Play]
}

/// One speed slower, or one back towards the music's own.
fn pace(sheet: &mut Sheet, slower: bool) -> Effect {
    let now = sheet.speed.in_percent();
    let percent = match slower {
        true if now > 75 => 75,
        true => 50,
        false if now < 75 => 75,
        false => 100,
    };
    sheet.speed = Speed::percent(percent);
    sheet.say(format!("{percent} per cent of the music's own speed"));
    Effect::Speed(sheet.speed)
}

/// Tells the repairing, if it is open, and does what it asks for.
pub(super) fn tell(sheet: &mut Sheet, message: Message) -> Vec<Effect> {
    let Some(mut repairs) = sheet.repairs.take() else { return Vec::new() };
    let mut effects = Vec::new();
    let mut open = true;
    // A sentence for the sheet has been read there.
    sheet.notice = None;
    let mut wanted = VecDeque::from(repair::update(&mut repairs, &sheet.dance, message, sheet.now));
    while let Some(effect) = wanted.pop_front() {
        match effect {
            repair::Effect::HearAgain { number, anchors } => {
                effects.push(Effect::HearAgain { number, anchors });
            }
            repair::Effect::Change(command) => {
                let here = Selection::at(Beat::from(repairs.cursor));
                effects.extend(sheet.perform_at(&command, here));
                let changed = repair::update(&mut repairs, &sheet.dance, Message::Changed, sheet.now);
                wanted.extend(changed);
            }
            repair::Effect::Undo | repair::Effect::Redo => {
                let here = sheet.cursor;
                effects.extend(turn_back(sheet, effect == repair::Effect::Undo));
                // Undoing something else than beats must not take her elsewhere.
                if let Some(at) = sheet.place {
                    sheet.cursor = sheet.inside(Beat(sheet.dance.grid.beat_at(at).0.round()));
                } else {
                    sheet.cursor = here;
                }
                let changed = repair::update(&mut repairs, &sheet.dance, Message::Changed, sheet.now);
                wanted.extend(changed);
            }
            repair::Effect::Play(_) if matches!(sheet.music, Music::Coming(_)) => {
                sheet.say("the recording is still being opened");
            }
            repair::Effect::Play(at) => effects.extend([Effect::Seek(at), Effect::Play]),
            repair::Effect::Pause => effects.push(Effect::Pause),
            repair::Effect::Seek(at) => effects.push(Effect::Seek(at)),
            repair::Effect::Clicks => {
                sheet.clicks = !sheet.clicks;
                sheet.say(if sheet.clicks { "clicks on the beat" } else { "no clicks" });
                effects.push(Effect::Click(sheet.clicks));
            }
            repair::Effect::Round(beat) => effects.extend(round(sheet, Beat::from(beat))),
            repair::Effect::Pace { slower } => effects.push(pace(sheet, slower)),
            repair::Effect::Sheet => open = false,
            repair::Effect::Leave if sheet.straight => effects.push(Effect::Leave(false)),
            repair::Effect::Leave => open = false,
        }
    }
    if let Some((said, _)) = sheet.notice.take() {
        repairs.notice = Some(said);
    }
    repairs.trouble = sheet.trouble.clone().or_else(|| sheet.read_only.clone());
    (repairs.speed, repairs.round) = (sheet.speed, sheet.round);
    sheet.sureness.clone_from(&repairs.sureness);
    sheet.repairs = Some(repairs);
    if !open {
        sheet.back();
    }
    effects
}
