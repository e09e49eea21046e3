//! The loop of repairing the beats: it waits for keys, for the music and for the grid to be heard again, and draws.

use super::ScreenError;
use super::colours::Palette;
use super::desk::{Again, Answer, Choice, Desk, Ending, News, Workers};
use super::inputs::{Input, asked_to_end, inputs};
use super::repair::{Action, Effect, Message, Readiness, Repairing, keys, update, view};
use super::run::{FloorOptions, Remembered};
use super::terminal::{Screen, fault};
use crate::dance::MoveBook;
use crate::dance::edit::{Command, Record, Selection};
use crate::grid::mend::Repair;
use crate::shelf::Cache;
use crate::sound::{Player, Programme, Transport};
use crate::units::Beat;
use crossterm::event::{Event, KeyCode, KeyEvent, KeyEventKind};
use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::time::{Duration, Instant};

/// The longest time between two pictures while the music plays, and while it does not.
const FRAME: Duration = Duration::from_millis(33);
const IDLE: Duration = Duration::from_millis(150);
/// How long the first picture waits for what is remembered of the recording.
const FIRST: Duration = Duration::from_millis(25);

/// A question that must be answered before anything else.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Asking {
    /// Whether to take unsaved work in.
    Recovery(String),
    /// What to do about a file that someone else has changed.
    Changed(String),
    /// Whether to leave although work is lost.
    Leaving(String),
}

/// Repairs the beats of a dance until she leaves, beginning with a gesture if one is given. Gives a sentence for when the
/// terminal is given back, if there is one.
///
/// # Errors
/// [`ScreenError`]: not a terminal, a terminal that refuses, or a fault of ours. The terminal is given back in every case,
/// and the work is in the file or in its recovery copy.
pub fn run_repairing(
    desk: Desk,
    book: MoveBook,
    first: Option<Repair>,
    cache: Cache,
    options: FloorOptions,
) -> Result<Option<String>, ScreenError> {
    let palette = options.palette();
    let asked_to_end = asked_to_end()?;
    let mut screen = Screen::take()?;
    let (wake, input) = inputs();
    let mut room = Room::new(desk, book, cache, options, palette, move || {
        let _ = wake.send(Input::Answer);
    });
    room.first = first;
    let ended = room.stay(&input, &mut screen, &asked_to_end);
    let farewell = room.leave();
    drop(screen);
    if fault() { Err(ScreenError::Fault) } else { ended.map(|()| farewell) }
}

/// Everything there is while the beats are repaired.
struct Room {
    desk: Desk,
    book: MoveBook,
    state: Repairing,
    workers: Workers,
    player: Option<Transport>,
    options: FloorOptions,
    remembered: Remembered,
    palette: Palette,
    asking: Option<Asking>,
    /// What is to be done as soon as the grid can be heard again.
    first: Option<Repair>,
    started: Instant,
    over: bool,
}

impl Room {
    fn new(
        desk: Desk,
        book: MoveBook,
        cache: Cache,
        options: FloorOptions,
        palette: Palette,
        wake: impl Fn() + Send + Sync + 'static,
    ) -> Self {
        let workers = Workers::start(&desk.dance, &desk.path, cache, wake);
        let mut state = Repairing::new(&desk.dance, Beat(0.0), Readiness::Listening(0.0), 0);
        state.notice = desk.read_only.clone().or_else(|| desk.notes.first().cloned());
        let asking = desk.recovery.as_ref().map(|found| Asking::Recovery(found.question()));
        Self {
            desk,
            book,
            state,
            workers,
            player: None,
            remembered: Remembered::new(&options),
            options,
            palette,
            asking,
            first: None,
            started: Instant::now(),
            over: false,
        }
    }

    fn now(&self) -> Duration {
        self.started.elapsed()
    }

    fn stay(
        &mut self,
        input: &Receiver<Input>,
        screen: &mut Screen,
        asked_to_end: &impl Fn() -> bool,
    ) -> Result<(), ScreenError> {
        if let Some(answer) = self.workers.wait(FIRST) {
            self.answered(answer);
        }
        loop {
            while let Some(answer) = self.workers.answer() {
                self.answered(answer);
            }
            if self.state.readiness == Readiness::Ready
                && self.asking.is_none()
                && let Some(first) = self.first.take()
            {
                self.tell(Message::Gesture(first));
            }
            self.hear();
            self.tick();
            screen.draw(|frame| self.draw(frame))?;
            if self.over || asked_to_end() || fault() {
                return Ok(());
            }
            let first = match input.recv_timeout(self.wait()) {
                Ok(input) => Some(input),
                Err(RecvTimeoutError::Timeout) => None,
                Err(RecvTimeoutError::Disconnected) => return Ok(()),
            };
            let mut resized = false;
            for input in first.into_iter().chain(input.try_iter()) {
                match input {
                    // Key presses see the place where the music is at that moment.
                    Input::Event(Event::Key(key)) if key.kind != KeyEventKind::Release => {
                        self.hear();
                        self.pressed(key);
                    }
                    Input::Event(Event::Resize(..)) => resized = true,
                    Input::Event(_) | Input::Answer => {}
                }
            }
            if resized {
                screen.forget()?;
            }
        }
    }

    fn wait(&self) -> Duration {
        let saving = self.desk.keeper.as_ref().is_some_and(super::desk::Keeper::is_saving);
        if self.state.playing || saving { FRAME } else { IDLE }
    }

    fn hear(&mut self) {
        let Some(player) = &mut self.player else { return };
        self.remembered.follow(player);
        let heard = player.heard();
        if heard.playing || self.state.playing {
            self.tell(Message::Heard { at: heard.at, playing: heard.playing });
        }
    }

    /// The keeper's work, and what it has to say.
    fn tick(&mut self) {
        let now = self.now();
        let desk = &mut self.desk;
        let Some(keeper) = &mut desk.keeper else { return };
        for news in keeper.tick(&desk.dance, &mut desk.history, now) {
            self.news(news);
        }
    }

    fn news(&mut self, news: News) {
        match news {
            News::Saved => self.state.trouble = None,
            News::Trouble(why) => self.state.trouble = Some(why),
            News::Mended(what) => {
                self.state.trouble = None;
                self.state.notice = Some(what);
            }
            News::Ask(question) => self.asking = Some(Asking::Changed(question.sentence)),
            News::Moved(path, what) => {
                self.desk.path = path;
                self.state.notice = Some(what);
            }
            News::Reloaded(what) => {
                self.state.notice = Some(what);
                self.tell(Message::Changed);
            }
        }
    }

    fn answered(&mut self, answer: Answer) {
        match answer {
            Answer::Found(note) => {
                if let Some(note) = note {
                    self.state.notice = Some(note);
                }
            }
            Answer::NoRecording(why) => self.tell(Message::Ready(Readiness::Never(why))),
            Answer::Progress(part) => self.tell(Message::Ready(Readiness::Listening(part))),
            Answer::Heard(_) => self.tell(Message::Ready(Readiness::Listening(1.0))),
            Answer::Repairable { sureness, otherwise } => {
                self.tell(Message::Ready(Readiness::Ready));
                if sureness.len() == self.desk.dance.grid.bars().len() {
                    self.tell(Message::Sure(sureness));
                }
                if let Some(otherwise) = otherwise {
                    self.state.notice = Some(otherwise);
                }
            }
            Answer::Sound(recording) => {
                let length = recording.length();
                self.player = Some(Transport::new(Programme {
                    clicks: Vec::new(),
                    recording: Some(*recording),
                    length,
                    trim: self.remembered.trim(),
                    silent: self.options.silent,
                }));
            }
            Answer::Again(again) => self.heard_again(again),
        }
    }

    fn heard_again(&mut self, again: Box<Again>) {
        self.tell(Message::Again(again));
    }

    fn tell(&mut self, message: Message) {
        let now = self.now();
        let effects = update(&mut self.state, &self.desk.dance, message, now);
        for effect in effects {
            self.carry_out(effect);
        }
    }

    fn carry_out(&mut self, effect: Effect) {
        match effect {
            Effect::HearAgain { number, anchors } => self.workers.hear_again(number, anchors),
            Effect::Change(command) => self.change(&command),
            Effect::Undo | Effect::Redo => self.turn(effect == Effect::Undo),
            Effect::Play(at) => match &mut self.player {
                Some(player) => {
                    player.seek(at);
                    player.play();
                    let heard = player.heard();
                    self.tell(Message::Heard { at: heard.at, playing: true });
                }
                None => self.state.notice = Some("the sound is not there yet".into()),
            },
            Effect::Pause => {
                if let Some(player) = &mut self.player {
                    player.pause();
                }
                let at = self.state.at;
                self.tell(Message::Heard { at, playing: false });
            }
            Effect::Seek(at) => {
                if let Some(player) = &mut self.player {
                    player.seek(at);
                }
            }
            Effect::Leave => self.ask_to_leave(),
        }
    }

    fn change(&mut self, command: &Command) {
        if self.desk.keeper.is_none() {
            self.state.notice = self.desk.read_only.clone();
            return;
        }
        let now = self.now();
        let desk = &mut self.desk;
        let here = Selection::at(Beat::from(self.state.cursor));
        match desk.history.perform(&mut desk.dance, &self.book, command, here, now) {
            Ok(Some(done)) => self.keep(&done.record),
            Ok(None) => {}
            Err(error) => self.state.notice = Some(error.to_string()),
        }
        self.tell(Message::Changed);
    }

    fn turn(&mut self, back: bool) {
        let desk = &mut self.desk;
        let turned =
            if back { desk.history.undo(&mut desk.dance) } else { desk.history.redo(&mut desk.dance) };
        let what = if back { "undone" } else { "done again" };
        match turned {
            Ok(Some(turned)) => {
                self.state.notice = Some(format!("{what}: {}", turned.label));
                self.keep(&turned.record);
                self.tell(Message::Changed);
            }
            Ok(None) => {
                let nothing = if back { "nothing to undo" } else { "nothing to do again" };
                self.state.notice = Some(nothing.into());
            }
            Err(error) => self.state.notice = Some(error.to_string()),
        }
    }

    /// In the journal before the next picture.
    fn keep(&mut self, record: &Record) {
        let now = self.now();
        let news = self.desk.keeper.as_mut().and_then(|keeper| keeper.record(record, now));
        if let Some(news) = news {
            self.news(news);
        }
    }

    fn pressed(&mut self, key: KeyEvent) {
        if let Some(asking) = self.asking.clone() {
            self.replied(&asking, key);
            return;
        }
        match (self.state.typing.is_some(), key.code) {
            (true, KeyCode::Char(digit)) => self.tell(Message::Digit(digit)),
            (true, KeyCode::Backspace) => self.tell(Message::RubOut),
            (true, KeyCode::Enter) => self.tell(Message::Do(Action::Tap)),
            (true, KeyCode::Esc) => self.tell(Message::Do(Action::Leave)),
            (true, _) => {}
            (false, _) => {
                if let Some(action) = keys::action(key) {
                    self.tell(Message::Do(action));
                }
            }
        }
    }

    fn replied(&mut self, asking: &Asking, key: KeyEvent) {
        let KeyCode::Char(letter) = key.code else { return };
        match (asking, letter) {
            (Asking::Recovery(_), 'y' | 'n') => {
                self.asking = None;
                let said = if letter == 'y' { self.desk.recover() } else { self.desk.leave() };
                self.state = Repairing::new(&self.desk.dance, Beat(0.0), self.state.readiness.clone(), 0);
                self.state.notice = said.into_iter().next();
                self.tell(Message::Changed);
            }
            (Asking::Recovery(_), 'q') => self.over = true,
            (Asking::Changed(_), 'b' | 't' | 'o') => {
                let choice = match letter {
                    'b' => Choice::KeepBoth,
                    't' => Choice::Theirs,
                    _ => Choice::Overwrite,
                };
                self.asking = None;
                let now = self.now();
                let desk = &mut self.desk;
                let Some(keeper) = &mut desk.keeper else { return };
                let news = keeper.answer(choice, &mut desk.dance, &mut desk.history, now);
                self.news(news);
            }
            (Asking::Changed(_), 'l') => self.asking = None,
            (Asking::Leaving(_), 'y') => self.over = true,
            (Asking::Leaving(_), 'n') => self.asking = None,
            _ => {}
        }
    }

    /// Leaves if nothing is lost by it.
    fn ask_to_leave(&mut self) {
        match self.finish() {
            Some(Ending::Lost(why)) => self.asking = Some(Asking::Leaving(why)),
            _ => self.over = true,
        }
    }

    fn finish(&mut self) -> Option<Ending> {
        let now = self.now();
        let desk = &mut self.desk;
        let keeper = desk.keeper.as_mut()?;
        Some(keeper.finish(&desk.dance, &mut desk.history, now))
    }

    /// What remains to be said when the terminal is given back.
    fn leave(&mut self) -> Option<String> {
        match self.finish()? {
            Ending::Saved => None,
            Ending::Kept(why) | Ending::Lost(why) => Some(why),
        }
    }

    fn draw(&self, frame: &mut ratatui::Frame<'_>) {
        let area = frame.area();
        view(&self.state, &self.desk.dance, self.palette, area, frame.buffer_mut());
        let Some(asking) = &self.asking else { return };
        let (sentence, keys) = match asking {
            Asking::Recovery(sentence) => (sentence, "y take it in    n leave it out    q leave"),
            Asking::Changed(sentence) => {
                (sentence, "b keep both    t take theirs    o save mine over it    l later")
            }
            Asking::Leaving(sentence) => (sentence, "y leave all the same    n stay"),
        };
        super::repair::question(sentence, keys, self.palette, area, frame.buffer_mut());
    }
}
