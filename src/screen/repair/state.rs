//! What repairing knows, and how it changes.

use super::follow::follow;
use super::keys::Action;
use super::level::refused;
use super::told::{Effect, Message, Readiness};
use crate::dance::edit::{Command, JOIN_WITHIN};
use crate::dance::{Cue, Dance};
use crate::grid::mend::{Comparison, NUDGE, Repair, compare};
use crate::grid::{Anchor, Grid};
use crate::listening::Sureness;
use crate::screen::desk::Again;
use crate::sound::Speed;
use crate::units::{Beat, Seconds};
use std::collections::VecDeque;
use std::time::Duration;

/// A second tap that comes sooner than this is the key that bounced or repeats; nobody taps eight times a second.
const BOUNCE: f64 = 0.12;
/// The most digits of a phrase's length.
const DIGITS: usize = 3;

/// A gesture that may still go on: taps along the music, nudges of one beat.
#[derive(Debug, Clone, PartialEq)]
struct Run {
    repair: Repair,
    /// The grid and the corrections when it began.
    grid: Grid,
    anchors: Vec<Anchor>,
    gesture: usize,
    /// When its last key came.
    at: Duration,
}

/// What is being heard again.
#[derive(Debug, Clone, PartialEq)]
struct Asked {
    number: u64,
    repair: Repair,
    /// The grid when the gesture began.
    grid: Grid,
    anchors: Vec<Anchor>,
    gesture: Option<usize>,
}

/// The mode.
#[derive(Debug, Clone, PartialEq)]
pub struct Repairing {
    /// The beat that keys speak of.
    pub cursor: usize,
    /// Where the music is.
    pub at: Seconds,
    /// Whether it plays.
    pub playing: bool,
    /// How fast it plays. The sheet decides it, and this is its copy.
    pub speed: Speed,
    /// Whether a phrase goes round and round. The sheet decides it, and this is its copy.
    pub round: bool,
    /// How sure each bar of the grid on the screen is; empty when that is not known.
    pub sureness: Vec<Sureness>,
    /// Whether the grid can be heard again.
    pub readiness: Readiness,
    /// The grid when the mode was entered, for the comparison.
    pub before: Grid,
    /// The moves at that time, to be shown with it.
    pub cues_before: Vec<Cue>,
    /// Whether that one is shown.
    pub showing_before: bool,
    /// What has changed since.
    pub comparison: Comparison,
    /// Whether count one takes its cues along.
    pub along: bool,
    /// One sentence on what was done, or why not.
    pub notice: Option<String>,
    /// What cannot be written, until it can.
    pub trouble: Option<String>,
    /// Digits of a phrase's length that is being typed.
    pub typing: Option<String>,
    /// Which correction is pointed at, while they are listed.
    pub listed: Option<usize>,
    /// Which page of the keys is shown, counted from 0.
    pub help: Option<usize>,
    run: Option<Run>,
    asked: Option<Asked>,
    waiting: VecDeque<Action>,
    refreshing: Option<u64>,
    /// Whether the next change is our own.
    own_change: bool,
    number: u64,
    gestures: usize,
}

impl Repairing {
    /// Repairing `dance`, whose grid was heard so surely, from the beat at `cursor`. `gestures` is how many gestures were
    /// made in earlier visits to the mode, so that no two share a number.
    #[must_use]
    pub fn new(dance: &Dance, cursor: Beat, readiness: Readiness, gestures: usize) -> Self {
        let cursor = cursor.index().min(dance.grid.len().saturating_sub(1));
        Self {
            cursor,
            at: dance.grid.seconds_at(Beat::from(cursor)),
            playing: false,
            speed: Speed::NORMAL,
            round: false,
            sureness: Vec::new(),
            readiness,
            before: dance.grid.clone(),
            cues_before: dance.cues.clone(),
            showing_before: false,
            comparison: Comparison::default(),
            along: true,
            notice: None,
            trouble: None,
            typing: None,
            listed: None,
            help: None,
            run: None,
            asked: None,
            waiting: VecDeque::new(),
            refreshing: None,
            own_change: false,
            number: 0,
            gestures,
        }
    }

    /// How many gestures were made.
    #[must_use]
    pub fn gestures(&self) -> usize {
        self.gestures
    }

    /// Whether a grid is being heard again.
    #[must_use]
    pub fn is_waiting(&self) -> bool {
        self.asked.is_some()
    }

    /// The grid to be shown.
    #[must_use]
    pub fn shown<'a>(&'a self, dance: &'a Dance) -> &'a Grid {
        if self.showing_before { &self.before } else { &dance.grid }
    }

    /// A gesture of its own, from the grid as it is.
    fn ask(&mut self, repair: Repair, dance: &Dance) -> Vec<Effect> {
        self.run = None;
        self.send(repair, dance.grid.clone(), &dance.anchors.clone(), None)
    }

    /// Has the grid heard with what a gesture comes to.
    fn send(&mut self, repair: Repair, grid: Grid, said: &[Anchor], gesture: Option<usize>) -> Vec<Effect> {
        match &self.readiness {
            Readiness::Ready => {}
            Readiness::Listening(part) => {
                self.notice = Some(format!("still listening to the recording: {:.0} %", part * 100.0));
                return Vec::new();
            }
            Readiness::Never(why) => {
                self.notice = Some(why.clone());
                return Vec::new();
            }
        }
        match repair.anchors(&grid, said) {
            Ok(anchors) => {
                self.number += 1;
                let number = self.number;
                self.asked = Some(Asked { number, repair, grid, anchors: anchors.clone(), gesture });
                vec![Effect::HearAgain { number, anchors }]
            }
            Err(error) => {
                self.notice = Some(error.to_string());
                Vec::new()
            }
        }
    }

    /// Goes on with the gesture that was begun, if `repair` makes one of it, or begins one.
    fn go_on(
        &mut self,
        dance: &Dance,
        now: Duration,
        first: Repair,
        joined: impl FnOnce(&Repair) -> Option<Repair>,
    ) -> Vec<Effect> {
        let fresh = |run: &&Run| now.saturating_sub(run.at) < JOIN_WITHIN;
        let on = self.run.as_ref().filter(fresh).and_then(|run| joined(&run.repair));
        let run = match (on, self.run.take()) {
            (Some(repair), Some(run)) => Run { repair, at: now, ..run },
            _ => {
                self.gestures += 1;
                let (grid, anchors) = (dance.grid.clone(), dance.anchors.clone());
                Run { repair: first, grid, anchors, gesture: self.gestures, at: now }
            }
        };
        let effects = self.send(run.repair.clone(), run.grid.clone(), &run.anchors, Some(run.gesture));
        if !effects.is_empty() {
            self.run = Some(run);
        }
        effects
    }

    fn tap(&mut self, dance: &Dance, now: Duration) -> Vec<Effect> {
        if !self.playing {
            self.notice = Some("press space to play, and tap along".into());
            return Vec::new();
        }
        let at = self.at;
        if let Some(Run { repair: Repair::Taps(taps), .. }) = &self.run
            && taps.last().is_some_and(|last| (at.0 - last.0).abs() < BOUNCE)
        {
            return Vec::new();
        }
        let effects = self.go_on(dance, now, Repair::Taps(vec![at]), |repair| match repair {
            // Backwards is another run: the music was set back.
            Repair::Taps(taps) if taps.last().is_some_and(|last| last.0 < at.0) => {
                Some(Repair::Taps(taps.iter().copied().chain([at]).collect()))
            }
            _ => None,
        });
        if let Some(Run { repair: Repair::Taps(taps), .. }) = &self.run {
            self.notice = Some(match taps.len() {
                1 => "tapped once: go on, two tell how fast it is".into(),
                many => format!("tapped {many} times"),
            });
        }
        effects
    }

    fn nudge(&mut self, dance: &Dance, now: Duration, by: f64) -> Vec<Effect> {
        let beat = self.cursor;
        self.go_on(dance, now, Repair::Nudge { beat, by: Seconds(by) }, |repair| match repair {
            Repair::Nudge { beat: before, by: already } if *before == beat => {
                Some(Repair::Nudge { beat, by: Seconds(already.0 + by) })
            }
            _ => None,
        })
    }

    /// What came back.
    fn heard_again(&mut self, again: Again, dance: &Dance) -> Vec<Effect> {
        if self.refreshing.take_if(|number| *number == again.number).is_some() {
            // Another version of the program heard this grid, if it is another: then nothing is known of its sureness.
            self.sureness = if again.grid == dance.grid { again.sureness } else { Vec::new() };
            return Vec::new();
        }
        let Some(asked) = self.asked.take_if(|asked| asked.number == again.number) else { return Vec::new() };
        if again.grid.is_empty() {
            self.run = None;
            self.notice = Some("with that no beat is left, so nothing was changed".into());
            return Vec::new();
        }
        if let Some(why) = refused(&asked.repair, &dance.grid, &again.grid) {
            self.run = None;
            self.notice = Some(why);
            return Vec::new();
        }
        let follow = follow(&asked.repair, &asked.grid, &again.grid, self.along);
        self.comparison = compare(&self.before, &again.grid);
        let step = compare(&dance.grid, &again.grid);
        let label = asked.repair.label();
        if let Repair::Taps(taps) = &asked.repair {
            // Since the first tap: the latest may have changed nothing more.
            let run = compare(&asked.grid, &again.grid);
            self.notice = Some(match taps.len() {
                1 => "tapped once: go on, two tell how fast it is".into(),
                many if run.is_nothing() => format!("tapped {many} times: the beats were so already"),
                many => format!("tapped {many} times: {run}"),
            });
        } else {
            self.notice = Some(if step.is_nothing() {
                format!(
                    "{label}: the beats were so already; where they are wrong still, play and tap along with t"
                )
            } else {
                format!("{label}: {step}")
            });
        }
        self.sureness = again.sureness;
        self.own_change = true;
        // The cursor stays on its music.
        let here = dance.grid.seconds_at(Beat::from(self.cursor));
        self.cursor = nearest(&again.grid, here);
        vec![Effect::Change(Command::SetGrid {
            grid: again.grid,
            anchors: asked.anchors,
            follow,
            label: asked.repair.label().into(),
            gesture: asked.gesture,
        })]
    }

    /// Moves the cursor; the music goes along while it plays.
    fn go(&mut self, to: usize, dance: &Dance) -> Vec<Effect> {
        self.run = None;
        self.cursor = to.min(dance.grid.len().saturating_sub(1));
        let at = dance.grid.seconds_at(Beat::from(self.cursor));
        if self.playing {
            return vec![Effect::Seek(at)];
        }
        Vec::new()
    }

    /// The count one of the phrase after, or of this one or the one before.
    fn phrase(&self, dance: &Dance, on: bool) -> usize {
        let starts = dance.grid.phrases().iter().map(|phrase| phrase.start);
        if on {
            starts.filter(|start| *start > self.cursor).min().unwrap_or(dance.grid.len())
        } else {
            starts.filter(|start| *start < self.cursor).max().unwrap_or(0)
        }
    }

    fn list(&mut self, action: Action, dance: &Dance) -> Option<Vec<Effect>> {
        let at = self.listed?;
        let last = dance.anchors.len().saturating_sub(1);
        match action {
            Action::Up => self.listed = Some(at.saturating_sub(1)),
            Action::Down => self.listed = Some((at + 1).min(last)),
            Action::Remove => return Some(self.ask(Repair::Forget { anchor: at }, dance)),
            Action::List | Action::Leave => self.listed = None,
            Action::Tap => {
                // To the place that it speaks of.
                let here = dance.anchors.get(at).map(Anchor::when);
                self.listed = None;
                return Some(here.map_or_else(Vec::new, |here| self.go(nearest(&dance.grid, here), dance)));
            }
            _ => return None,
        }
        Some(Vec::new())
    }

    fn typed(&mut self, dance: &Dance) -> Vec<Effect> {
        let Some(text) = self.typing.take() else { return Vec::new() };
        match text.parse() {
            Ok(counts) => self.ask(Repair::PhrasesOf { from: self.cursor, counts }, dance),
            Err(_) => Vec::new(),
        }
    }

    fn act(&mut self, action: Action, dance: &Dance, now: Duration) -> Vec<Effect> {
        if self.help.take().is_some() {
            return Vec::new();
        }
        if self.typing.is_some() {
            match action {
                Action::Tap => return self.typed(dance),
                Action::Leave => self.typing = None,
                _ => {}
            }
            return Vec::new();
        }
        if let Some(effects) = self.list(action, dance) {
            return effects;
        }
        // What speaks of a beat waits until the beats before it are there; what only looks or goes does not.
        let waits = !matches!(
            action,
            Action::Tap
                | Action::Earlier
                | Action::Later
                | Action::Play
                | Action::Compare
                | Action::Along
                | Action::Clicks
                | Action::Round
                | Action::Slower
                | Action::Faster
                | Action::Help
                | Action::Sheet
                | Action::Leave
                | Action::Undo
                | Action::Redo
                | Action::List
        );
        if waits && self.asked.is_some() {
            self.waiting.push_back(action);
            return Vec::new();
        }
        if !matches!(action, Action::Tap) {
            self.notice = None;
        }
        // Whatever is done, is done to the beats as they are now.
        if !matches!(
            action,
            Action::Compare | Action::Play | Action::Clicks | Action::Slower | Action::Faster | Action::Round
        ) {
            self.showing_before = false;
        }
        let here = self.cursor;
        match action {
            Action::Tap => self.tap(dance, now),
            Action::Earlier => self.nudge(dance, now, -NUDGE.0),
            Action::Later => self.nudge(dance, now, NUDGE.0),
            Action::Halve => self.ask(Repair::Halve { from: here }, dance),
            Action::Double => self.ask(Repair::Double { from: here }, dance),
            Action::ShiftHalf => self.ask(Repair::ShiftHalf { from: here }, dance),
            Action::CountOne => self.ask(Repair::CountOne { at: here }, dance),
            Action::BarStart => self.ask(Repair::BarStart { at: here }, dance),
            Action::BarsOf(beats) => self.ask(Repair::BarsOf { from: here, beats }, dance),
            Action::Insert => self.ask(Repair::InsertBeat { after: here }, dance),
            Action::Remove => self.ask(Repair::RemoveBeat { beat: here }, dance),
            Action::HoldLonger => self.ask(Repair::HoldLonger { beat: here }, dance),
            Action::HoldShorter => self.ask(Repair::HoldShorter { beat: here }, dance),
            Action::AsHeard => self.ask(Repair::AsHeard, dance),
            Action::PhraseLength => {
                self.typing = Some(String::new());
                Vec::new()
            }
            Action::Left => self.go(here.saturating_sub(1), dance),
            Action::Right => self.go(here + 1, dance),
            Action::Up => self.go(self.phrase(dance, false), dance),
            Action::Down => self.go(self.phrase(dance, true), dance),
            Action::Home => self.go(0, dance),
            Action::End => self.go(usize::MAX, dance),
            Action::Play if self.playing => vec![Effect::Pause],
            Action::Play => vec![Effect::Play(dance.grid.seconds_at(Beat::from(here)))],
            Action::Compare if self.comparison.is_nothing() => {
                self.showing_before = false;
                self.notice = Some(
                    "the beats are as they were when you came; put some right, then b shows them before and after"
                        .into(),
                );
                Vec::new()
            }
            Action::Compare => {
                self.showing_before = !self.showing_before;
                Vec::new()
            }
            Action::Along => {
                self.along = !self.along;
                let what =
                    if self.along { "takes the moves along" } else { "leaves the moves where they are" };
                self.notice = Some(format!("count one now {what}"));
                Vec::new()
            }
            Action::Clicks => vec![Effect::Clicks],
            Action::Round => vec![Effect::Round(here)],
            Action::Slower | Action::Faster => vec![Effect::Pace { slower: action == Action::Slower }],
            Action::List if dance.anchors.is_empty() => {
                self.notice = Some("nothing was corrected yet".into());
                Vec::new()
            }
            Action::List => {
                self.listed = Some(dance.anchors.len() - 1);
                Vec::new()
            }
            Action::Undo | Action::Redo => {
                self.forget();
                vec![if action == Action::Undo { Effect::Undo } else { Effect::Redo }]
            }
            Action::Help => {
                self.help = Some(0);
                Vec::new()
            }
            Action::Sheet | Action::Leave => {
                self.forget();
                vec![if action == Action::Sheet { Effect::Sheet } else { Effect::Leave }]
            }
        }
    }

    /// Does what has waited for the beats before it.
    fn next(&mut self, dance: &Dance, now: Duration) -> Vec<Effect> {
        while self.asked.is_none()
            && let Some(action) = self.waiting.pop_front()
        {
            let effects = self.act(action, dance, now);
            if !effects.is_empty() {
                return effects;
            }
        }
        Vec::new()
    }

    /// Has the dance's own grid heard again, to know how sure it is.
    fn refresh(&mut self, dance: &Dance) -> Vec<Effect> {
        if self.readiness != Readiness::Ready || self.asked.is_some() {
            return Vec::new();
        }
        self.number += 1;
        self.refreshing = Some(self.number);
        vec![Effect::HearAgain { number: self.number, anchors: dance.anchors.clone() }]
    }

    /// No gesture goes on, and what is being heard is not wanted any more.
    fn forget(&mut self) {
        self.run = None;
        self.asked = None;
        self.waiting.clear();
    }
}

/// Changes the state; what is to be done outside comes back. `now` is the time since some fixed moment.
pub fn update(state: &mut Repairing, dance: &Dance, message: Message, now: Duration) -> Vec<Effect> {
    match message {
        Message::Do(action) => state.act(action, dance, now),
        Message::Gesture(repair) => state.ask(repair, dance),
        Message::Point(beat) => {
            let busy = state.help.is_some() || state.typing.is_some() || state.listed.is_some();
            if busy { Vec::new() } else { state.go(beat, dance) }
        }
        Message::Digit(digit) => {
            if let Some(text) = state.typing.as_mut().filter(|text| text.len() < DIGITS) {
                text.extend(digit.is_ascii_digit().then_some(digit));
            }
            Vec::new()
        }
        Message::RubOut => {
            if let Some(text) = &mut state.typing {
                text.pop();
            }
            Vec::new()
        }
        Message::Heard { at, playing } => {
            state.at = at;
            state.playing = playing;
            if playing && state.run.as_ref().is_none_or(|run| matches!(run.repair, Repair::Taps(_))) {
                state.cursor = dance.grid.beat_at(at).index().min(dance.grid.len().saturating_sub(1));
            }
            Vec::new()
        }
        Message::Again(again) => {
            let effects = state.heard_again(*again, dance);
            // The next of what waited must see the new beats: it is done when the change was made.
            if effects.is_empty() { state.next(dance, now) } else { effects }
        }
        Message::Ready(readiness) => {
            state.readiness = readiness;
            Vec::new()
        }
        Message::Sure(sureness) => {
            state.sureness = sureness;
            Vec::new()
        }
        Message::Changed => {
            state.cursor = state.cursor.min(dance.grid.len().saturating_sub(1));
            state.comparison = compare(&state.before, &dance.grid);
            if state.listed.is_some_and(|at| at >= dance.anchors.len()) {
                state.listed = dance.anchors.len().checked_sub(1);
            }
            if std::mem::take(&mut state.own_change) {
                return state.next(dance, now);
            }
            state.sureness.clear();
            state.refresh(dance)
        }
    }
}

/// The beat nearest to an instant.
fn nearest(grid: &Grid, at: Seconds) -> usize {
    (grid.beat_at(at).0.round().max(0.0) as usize).min(grid.len().saturating_sub(1))
}
