//! The state of the floor and what changes it. No terminal, clock or device is touched: [`update`] takes
//! what happened and returns what is to be done.

use super::in_step::{InStep, PERIOD, Sense, Step};
use super::keys::{Action, StepAction, action, step_action};
use super::stage::{Floor, Part};
use crate::screen::colours::{Palette, Theme};
use crate::sound::{Heard, Sound, Speed};
use crate::units::Seconds;
use crossterm::event::{KeyEvent, KeyEventKind};
use std::time::Duration;

/// How soon a second press must follow where one press could ruin a lesson.
const SECOND_PRESS: Duration = Duration::from_secs(2);

/// A span of the teacher's own lasts at least so long.
const SHORTEST_ROUND: Seconds = Seconds(0.9);

/// The heard position may be corrected backwards by less than this; more is a jump.
const JITTER: Seconds = Seconds(0.1);

/// How long a short message stands.
const NOTICE: Duration = Duration::from_secs(3);

/// And one about something that could not be done: it is longer.
const TROUBLE: Duration = Duration::from_secs(10);

/// Which version of the moves the whole class does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Version {
    /// The moves as they are; gentle versions stand beside them.
    #[default]
    Full,
    /// Without jumping, running or twisting.
    LowImpact,
    /// Sitting.
    Seated,
}

/// Which picture is on the screen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Page {
    /// Title and cautions, before the class begins.
    #[default]
    Opening,
    /// The floor.
    Floor,
    /// Sound and picture are brought in step; clicks alone sound.
    InStep,
}

/// Everything the floor knows.
#[derive(Debug, Clone)]
pub struct App {
    /// The prepared dance.
    pub floor: Floor,
    /// What the device (or the clock) last said.
    pub heard: Heard,
    /// Which picture is shown.
    pub page: Page,
    /// Which version of the moves.
    pub version: Version,
    /// Colours.
    pub palette: Palette,
    /// Whether beats click.
    pub clicks: bool,
    /// Whether the next call is hidden.
    pub hidden: bool,
    /// Whether the help covers the floor.
    pub help: bool,
    /// Whether the keys are locked.
    pub locked: bool,
    /// The span that is repeated.
    pub repeat: Option<(Seconds, Seconds)>,
    /// How fast the music runs.
    pub speed: Speed,
    /// How sound and picture are kept in step on this device.
    pub in_step: InStep,
    /// Which piece of the lesson it is, from 1, and how many there are.
    pub piece: (usize, usize),
    /// Where to go back to from the page that brings them in step.
    back: (Page, Seconds),
    /// Where going round shall begin, when its end is still to be said.
    round_from: Option<Seconds>,
    /// Whether the repeated span is the teacher's own and not a phrase.
    own_span: bool,
    /// The prompt whose answer is uncovered.
    pub answered: Option<usize>,
    /// A short message, with the time at which it goes.
    pub notice: Option<(String, Duration)>,
    /// Whether there was no device when last there was something to say of it.
    unheard: bool,
    /// The last prompt at which the music was stopped.
    stopped_at: Option<usize>,
    /// What was asked for once, and when: it is done at the second press.
    asked: Option<(Action, Duration)>,
    now: Duration,
}

/// What happened.
#[derive(Debug, Clone, PartialEq)]
pub enum Message {
    /// A key was pressed (or released, which is ignored).
    Key(KeyEvent),
    /// What is heard, and the time since the start.
    Heard(Heard, Duration),
    /// A device was opened, or is another one now.
    Device(String),
    /// Sound and picture are to be brought in step.
    InStep,
    /// Something to be said to the teacher.
    Say(String),
    /// The window changed or must be drawn again for another reason.
    Redraw,
}

/// What is to be done.
#[derive(Debug, Clone, PartialEq)]
pub enum Effect {
    /// Let the music run.
    Play,
    /// Stop it.
    Pause,
    /// Go to an instant.
    Seek(Seconds),
    /// Repeat a span, or let it go.
    Repeat(Option<(Seconds, Seconds)>),
    /// Click on the beats, or not.
    Click(bool),
    /// Run slower or faster.
    Speed(Speed),
    /// Show the picture so many milliseconds later than the device says its sound is heard.
    Trim(i32),
    /// Remember that for a device.
    Remember(String, i32),
    /// Put clicks in the place of the music, or the music back.
    ClicksAlone(bool),
    /// On to the next piece.
    Next,
    /// Leave the floor.
    Leave,
}

impl App {
    /// The opening page of a dance.
    #[must_use]
    pub fn new(floor: Floor, palette: Palette, version: Version) -> Self {
        Self {
            floor,
            heard: Heard::default(),
            page: Page::default(),
            version,
            palette,
            clicks: false,
            hidden: false,
            help: false,
            locked: false,
            repeat: None,
            speed: Speed::NORMAL,
            in_step: InStep::default(),
            piece: (1, 1),
            back: (Page::Opening, Seconds(0.0)),
            round_from: None,
            own_span: false,
            answered: None,
            notice: None,
            unheard: false,
            stopped_at: None,
            asked: None,
            now: Duration::ZERO,
        }
    }

    /// The first page of the piece that follows this one in a lesson. What she has set up for the class stays: the colours, the gentle versions,
    /// the lock, sound and picture in step. What belongs to rehearsing one piece does not, so that it surprises no class: another
    /// speed, clicks, a repeat, a hidden move.
    #[must_use]
    pub fn followed_by(self, floor: Floor) -> Self {
        let mut next = Self::new(floor, self.palette, self.version);
        (next.locked, next.in_step) = (self.locked, self.in_step);
        next
    }

    /// Time from the heard position until the picture changes next: at a half beat, or where a repeat goes back. At
    /// another speed that is as much longer or shorter. `None` while nothing runs.
    #[must_use]
    pub fn until_change(&self) -> Option<Duration> {
        if !self.heard.playing {
            return None;
        }
        let at = self.heard.at;
        if self.page == Page::InStep {
            // A step, or half of one.
            let half = 0.5 * PERIOD;
            return Some(Duration::from_secs_f64(half - at.0.rem_euclid(half)));
        }
        let back = self.repeat.map(|(_, to)| to.since(at).0).filter(|left| *left > 0.0);
        let left = self.floor.until_change(at).0.min(back.unwrap_or(f64::INFINITY));
        Some(Duration::from_secs_f64((left / self.speed.factor()).clamp(0.0, 60.0)))
    }

    /// Whether this is the second press for the same, soon enough; otherwise it is remembered as the first.
    fn second_press(&mut self, action: Action) -> bool {
        let second = self
            .asked
            .is_some_and(|(asked, when)| asked == action && self.now.saturating_sub(when) <= SECOND_PRESS);
        self.asked = if second { None } else { Some((action, self.now)) };
        if second {
            // It asked for this press.
            self.notice = None;
        }
        second
    }

    fn ask_again(&mut self, words: String) {
        self.notice = Some((words, self.now + SECOND_PRESS));
    }

    fn say(&mut self, words: impl Into<String>) {
        self.notice = Some((words.into(), self.now + NOTICE));
    }
}

/// Takes in what happened; returns what is to be done, in order.
#[must_use]
pub fn update(app: &mut App, message: Message) -> Vec<Effect> {
    match message {
        Message::Redraw => Vec::new(),
        Message::Heard(heard, now) => hear(app, heard, now),
        Message::Say(words) => {
            app.notice = Some((words, app.now + TROUBLE));
            Vec::new()
        }
        Message::Device(name) => device(app, &name),
        Message::InStep => bring_in_step(app),
        // Some terminals report releases and repeats; each press counts once.
        Message::Key(key) if key.kind != KeyEventKind::Press => Vec::new(),
        Message::Key(key) if app.page == Page::InStep => step(app, &key),
        Message::Key(key) => {
            let action = action(&key);
            // Between the two presses there must be no other: hands all over the keyboard do not leave.
            app.asked = app.asked.filter(|(asked, _)| Some(*asked) == action);
            match (app.page, action) {
                (_, None) if app.help => {
                    app.help = false;
                    Vec::new()
                }
                (Page::Opening, None) if app.locked => locked(app),
                (Page::Opening, None) => begin(app),
                (_, None) => Vec::new(),
                (_, Some(action)) => act(app, action),
            }
        }
    }
}

fn hear(app: &mut App, heard: Heard, now: Duration) -> Vec<Effect> {
    app.now = now;
    if app.notice.as_ref().is_some_and(|(_, until)| now >= *until) {
        app.notice = None;
    }
    let before = std::mem::replace(&mut app.heard, heard);
    // Asked again, on another way round, a question is asked anew.
    if app.page == Page::Floor && app.answered.is_some() {
        let asked = app.floor.stage(heard.at).prompt.map(|(index, _)| index);
        if asked != app.answered || heard.at.0 < before.at.0 - JITTER.0 {
            app.answered = None;
        }
    }
    match heard.sound {
        Sound::NoDevice if before.sound == Sound::Sounding => {
            app.say("no sound: the device is gone; the dance goes on");
            app.unheard = true;
        }
        Sound::NoDevice => app.unheard = true,
        // Between the two a device is being opened.
        Sound::Sounding if std::mem::take(&mut app.unheard) => app.say("the sound is back"),
        _ => {}
    }
    if app.page != Page::Floor || !heard.playing {
        return Vec::new();
    }
    let stage = app.floor.stage(heard.at);
    if stage.part == Part::Ended {
        return vec![Effect::Pause];
    }
    match stage.prompt {
        Some((index, prompt)) if prompt.pause && app.stopped_at != Some(index) => {
            app.stopped_at = Some(index);
            // Only when it has just come: going back to the middle of its counts must not stop again.
            if before.at.0 < app.floor.dance().grid.seconds_at(prompt.at).0 {
                return vec![Effect::Pause];
            }
            Vec::new()
        }
        _ => Vec::new(),
    }
}

fn device(app: &mut App, name: &str) -> Vec<Effect> {
    let another = app.in_step.device.is_some();
    if !app.in_step.plays_on(name) {
        return Vec::new();
    }
    if another {
        app.say(format!("'{name}': {}", super::in_step::in_words(app.in_step.trim)));
    }
    vec![Effect::Trim(app.in_step.trim)]
}

/// To the page that brings sound and picture in step; not while a class dances.
fn bring_in_step(app: &mut App) -> Vec<Effect> {
    if app.heard.playing {
        app.say("pause first: space, then t");
        return Vec::new();
    }
    if app.heard.sound == Sound::Silenced {
        app.say("silent, as it was asked for: there is no sound to bring in step");
        return Vec::new();
    }
    app.back = (app.page, app.heard.at);
    app.page = Page::InStep;
    app.in_step.open();
    app.heard.at = Seconds(0.0);
    vec![Effect::ClicksAlone(true), Effect::Click(true), Effect::Play]
}

/// A key on that page.
fn step(app: &mut App, key: &KeyEvent) -> Vec<Effect> {
    let Some(action) = step_action(key) else { return Vec::new() };
    if action == StepAction::Tap && app.in_step.sense == Sense::Hearing && app.heard.sound == Sound::NoDevice
    {
        app.say("no click sounds: there is nothing to tap with");
        return Vec::new();
    }
    match app.in_step.act(action, app.heard.at, app.now) {
        Step::Trim => vec![Effect::Trim(app.in_step.trim)],
        Step::Click(on) => vec![Effect::Trim(app.in_step.trim), Effect::Click(on)],
        Step::Keep => {
            let mut effects = go_back(app);
            match &app.in_step.device {
                Some(device) => effects.push(Effect::Remember(device.clone(), app.in_step.trim)),
                None => app.say("no sound device to remember it for: it holds until you leave"),
            }
            effects
        }
        Step::Leave => go_back(app),
    }
}

/// The music comes back as it was, standing.
fn go_back(app: &mut App) -> Vec<Effect> {
    (app.page, app.heard.at) = app.back;
    app.heard.playing = false;
    vec![
        Effect::Trim(app.in_step.trim),
        Effect::ClicksAlone(false),
        Effect::Click(app.clicks),
        Effect::Speed(app.speed),
        Effect::Seek(app.heard.at),
        Effect::Repeat(app.repeat),
    ]
}

fn begin(app: &mut App) -> Vec<Effect> {
    app.page = Page::Floor;
    app.stopped_at = None;
    app.answered = None;
    app.round_from = None;
    // From the beginning it goes to the end: a forgotten repeat must not hold the class in one phrase.
    let mut effects = Vec::new();
    if app.repeat.take().is_some() {
        app.own_span = false;
        effects.push(Effect::Repeat(None));
    }
    effects.extend([Effect::Seek(app.floor.begin()), Effect::Play]);
    effects
}

fn act(app: &mut App, action: Action) -> Vec<Effect> {
    if app.locked && !matches!(action, Action::Pause | Action::Lock) {
        return locked(app);
    }
    // A key pressed to be rid of the help must not do what it has just been read about; stopping the music must always work.
    if std::mem::take(&mut app.help) && !(action == Action::Pause && app.heard.playing) {
        return Vec::new();
    }
    match action {
        Action::Help => app.help = true,
        Action::Leave => return leave(app),
        Action::Gentle => {
            app.version = match app.version {
                Version::Full => Version::LowImpact,
                Version::LowImpact => Version::Seated,
                Version::Seated => Version::Full,
            };
            app.say(match app.version {
                Version::Full => "the moves as they are",
                Version::LowImpact => "low-impact versions for everyone",
                Version::Seated => "seated versions for everyone",
            });
        }
        Action::Light => {
            app.palette.theme = match app.palette.theme {
                Theme::Dark => Theme::Light,
                Theme::Light => Theme::Dark,
            };
        }
        Action::Click => {
            app.clicks = !app.clicks;
            app.say(if app.clicks { "clicks on the beat" } else { "no clicks" });
            return vec![Effect::Click(app.clicks)];
        }
        Action::Hide => {
            app.hidden = !app.hidden;
            app.say(if app.hidden { "the next move is hidden" } else { "the next move is shown" });
        }
        Action::Lock => {
            app.locked = !app.locked;
            app.say(if app.locked { "keys locked, except space and k" } else { "keys unlocked" });
        }
        Action::InStep => return bring_in_step(app),
        Action::Slower | Action::Faster => return vec![pace(app, action == Action::Faster)],
        Action::Pause
        | Action::Back
        | Action::On
        | Action::Repeat
        | Action::Round
        | Action::NextTurn
        | Action::LastTurn
        | Action::Phrase(_)
        | Action::Answer => {
            return if app.page == Page::Opening { begin(app) } else { travel(app, action) };
        }
    }
    Vec::new()
}

fn locked(app: &mut App) -> Vec<Effect> {
    app.say("the keys are locked: k unlocks them");
    Vec::new()
}

/// The keys that move the music, on the floor.
fn travel(app: &mut App, action: Action) -> Vec<Effect> {
    let at = app.heard.at;
    match action {
        Action::Pause if app.heard.playing => vec![Effect::Pause],
        Action::Pause if app.floor.stage(at).part == Part::Ended => {
            if app.piece.0 < app.piece.1 {
                vec![Effect::Next]
            } else {
                begin(app)
            }
        }
        Action::Pause => vec![Effect::Play],
        Action::Back | Action::On => match app.floor.phrase_from(at, action == Action::Back) {
            Some(to) => go(app, to),
            None if app.piece.0 < app.piece.1 => {
                if app.second_press(action) {
                    return vec![Effect::Next];
                }
                app.ask_again("this is the last phrase: press right again for the next piece".to_owned());
                Vec::new()
            }
            None => {
                app.say("this is the last phrase");
                Vec::new()
            }
        },
        Action::NextTurn | Action::LastTurn => {
            let back = action == Action::LastTurn;
            match app.floor.turn_from(at, back) {
                Some(to) => go(app, to),
                None => {
                    app.say(if back { "no change behind" } else { "no change ahead" });
                    Vec::new()
                }
            }
        }
        Action::Phrase(number) => match app.floor.phrase_start(number) {
            None => {
                app.say(format!("there is no phrase {number}"));
                Vec::new()
            }
            Some(to) if !app.heard.playing || app.second_press(action) => go(app, to),
            Some(_) => {
                app.ask_again(format!("the dance is playing: press {number} again to go to phrase {number}"));
                Vec::new()
            }
        },
        Action::Round => round(app),
        Action::Repeat => {
            (app.own_span, app.round_from) = (false, None);
            app.repeat = if app.repeat.is_some() { None } else { app.floor.phrase_span(at) };
            let phrase = app.floor.stage(at).phrase.map(|phrase| phrase.letter.to_owned());
            match (&app.repeat, phrase) {
                (Some(_), Some(letter)) => app.say(format!("phrase {letter} again and again: r lets it go")),
                (None, Some(_)) => app.say("on to the end"),
                (_, None) => app.say("no phrase here to repeat"),
            }
            vec![Effect::Repeat(app.repeat)]
        }
        Action::Answer => {
            match app.floor.stage(at).prompt {
                Some((index, _)) => app.answered = Some(index),
                None => app.say("no question here"),
            }
            Vec::new()
        }
        _ => Vec::new(),
    }
}

/// Goes to an instant; a repeated phrase goes with it, a span of the teacher's own is let go.
fn go(app: &mut App, to: Seconds) -> Vec<Effect> {
    app.stopped_at = None;
    app.answered = None;
    app.round_from = None;
    let mut effects = Vec::new();
    if app.repeat.is_some() {
        app.repeat = if app.own_span { None } else { app.floor.phrase_span(to) };
        app.own_span = false;
        effects.push(Effect::Repeat(app.repeat));
    }
    // Where it is going counts at once: a second press must go on from there.
    app.heard.at = to;
    effects.push(Effect::Seek(to));
    effects
}

/// Says where going round begins, then where it ends, then lets it go. Both are beats.
fn round(app: &mut App) -> Vec<Effect> {
    let here = app.floor.nearest_beat(app.heard.at);
    if app.own_span && app.repeat.is_some() {
        (app.repeat, app.own_span) = (None, false);
        app.say("on to the end");
        return vec![Effect::Repeat(None)];
    }
    let Some(from) = app.round_from.take() else {
        app.round_from = Some(here);
        app.say("from here: press f again where it shall go back");
        return Vec::new();
    };
    if here.since(from).0 < SHORTEST_ROUND.0 {
        app.say("too short to go round: let it play on and press f twice again");
        return Vec::new();
    }
    (app.repeat, app.own_span) = (Some((from, here)), true);
    app.heard.at = from;
    app.say("again and again: f lets it go");
    vec![Effect::Repeat(app.repeat), Effect::Seek(from)]
}

/// Five per cent slower or faster, as far as it goes.
fn pace(app: &mut App, faster: bool) -> Effect {
    let now = app.speed.in_percent();
    app.speed = Speed::percent(if faster { now.saturating_add(5) } else { now.saturating_sub(5) });
    app.say(match app.speed {
        Speed::NORMAL => "the recording's own speed".to_owned(),
        speed => format!("{} % of the recording's speed", speed.in_percent()),
    });
    Effect::Speed(app.speed)
}

fn leave(app: &mut App) -> Vec<Effect> {
    if app.heard.playing && !app.second_press(Action::Leave) {
        app.ask_again("the dance is playing: press q again to leave".to_owned());
        return Vec::new();
    }
    vec![Effect::Leave]
}

#[cfg(test)]
mod tests;
