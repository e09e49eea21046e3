//! The loop of the count sheet, the repairing of the beats included: it waits for keys, for the mouse, for the music and
//! for the desk, and draws.

use super::ScreenError;
use super::colours::Palette;
use super::desk::{self, Answer, Checker, Choice, Desk, Ending, Keeper, News, Workers};
use super::inputs::{Input, asked_to_end, inputs};
use super::run::{FloorOptions, Remembered};
use super::sheet::{Ask, Effect, Message, Music, Sheet, draw, update};
use super::terminal::{Screen, fault};
use crate::dance::{Dance, MoveBook};
use crate::grid::mend::Repair;
use crate::shelf::{Cache, FirstSteps};
use crate::sound::{Click, Heard, Player, Programme, Transport};
use crossterm::event::Event;
use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::time::{Duration, Instant};

/// The longest time between two pictures while the music plays, and while it does not.
const FRAME: Duration = Duration::from_millis(33);
const IDLE: Duration = Duration::from_millis(150);
/// How long the keys must rest before the dance is checked anew: a check takes longer than a key.
const REST: Duration = Duration::from_millis(40);
/// How long the first picture waits for what is remembered of the recording.
const FIRST: Duration = Duration::from_millis(25);
/// What is said when another program has left the dance.
const FREE: &str = "the other Farandole has left this dance: ctrl-o opens it anew, and you go on here";

/// Shows the count sheet of a dance until she leaves. Gives a sentence for when the terminal is given back, if there is
/// one.
///
/// # Errors
/// [`ScreenError`]: not a terminal, a terminal that refuses, or a fault of ours. The terminal is given back in every case,
/// and the work is in the file or in its recovery copy.
pub fn run_sheet(
    desk: Desk,
    book: MoveBook,
    cache: Cache,
    options: FloorOptions,
) -> Result<Option<String>, ScreenError> {
    edit(desk, book, cache, options, None)
}

/// The same, with the repairing of the beats open, beginning with a gesture if one is given: from there she leaves, or
/// goes to the sheet.
///
/// # Errors
/// As [`run_sheet`].
pub fn run_repairing(
    desk: Desk,
    book: MoveBook,
    first: Option<Repair>,
    cache: Cache,
    options: FloorOptions,
) -> Result<Option<String>, ScreenError> {
    edit(desk, book, cache, options, Some(first))
}

fn edit(
    desk: Desk,
    book: MoveBook,
    cache: Cache,
    options: FloorOptions,
    repairing: Option<Option<Repair>>,
) -> Result<Option<String>, ScreenError> {
    let palette = options.palette();
    let asked_to_end = asked_to_end()?;
    let mut screen = Screen::take()?;
    if options.mouse {
        screen.watch_the_mouse()?;
    }
    let (wake, input) = inputs();
    let checked = wake.clone();
    let checker = Checker::start(book.clone(), move || {
        let _ = checked.send(Input::Answer);
    });
    let workers = Workers::start(&desk.dance, &desk.path, cache, move || {
        let _ = wake.send(Input::Answer);
    });
    let mut steps = FirstSteps::of_this_user();
    let mut room = Room::new(desk, book, (workers, checker), options, palette, repairing.is_some());
    room.sheet.hint = steps.taken();
    room.first = repairing.flatten();
    let ended = room.stay(&input, &mut screen, &asked_to_end);
    let farewell = room.leave();
    steps.remember(room.sheet.hint);
    drop(screen);
    if fault() { Err(ScreenError::Fault) } else { ended.map(|()| farewell) }
}

/// Everything there is while the sheet is written on. The sheet holds the dance and its history; the desk keeps them.
struct Room {
    desk: Desk,
    sheet: Sheet,
    workers: Workers,
    checker: Checker,
    player: Option<Transport>,
    options: FloorOptions,
    remembered: Remembered,
    /// What is to be done to the beats as soon as they can be heard again.
    first: Option<Repair>,
    /// A state of the dance that is still to be checked.
    unchecked: Option<u64>,
    started: Instant,
    over: bool,
}

impl Room {
    fn new(
        desk: Desk,
        book: MoveBook,
        (workers, checker): (Workers, Checker),
        options: FloorOptions,
        palette: Palette,
        repairing: bool,
    ) -> Self {
        let mut sheet = Sheet::new(desk.dance.clone(), desk.history.clone(), book, palette);
        sheet.read_only = desk.read_only.clone();
        if repairing {
            // Nothing is known of the recording yet, so nothing is to be done.
            sheet.repair(true);
        }
        let (notes, recovery) = (desk.notes.clone(), desk.recovery.as_ref().map(|found| found.question()));
        let started = Instant::now();
        let remembered = Remembered::new(&options);
        let mut room = Self {
            desk,
            sheet,
            workers,
            checker,
            player: None,
            options,
            remembered,
            first: None,
            unchecked: Some(1),
            started,
            over: false,
        };
        if let Some(note) = room.desk.read_only.clone().or_else(|| notes.into_iter().next()) {
            room.tell(Message::Say(note));
        }
        if let Some(question) = recovery {
            room.tell(Message::Ask(Ask::Recover(question)));
        }
        room
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
            while let Some((number, report)) = self.checker.answer() {
                self.tell(Message::Checked(number, Box::new(report)));
            }
            if self.sheet.is_ready_to_repair()
                && let Some(first) = self.first.take()
            {
                self.tell(Message::Gesture(first));
            }
            self.hear();
            self.tick();
            let (sheet, mut size) = (&self.sheet, self.sheet.size);
            screen.draw(|frame| {
                let area = frame.area();
                size = (area.width, area.height);
                if size == sheet.size {
                    draw(sheet, area, frame.buffer_mut());
                }
            })?;
            if size != self.sheet.size {
                self.tell(Message::Size(size.0, size.1));
                continue;
            }
            if self.over || asked_to_end() || fault() {
                return Ok(());
            }
            let wait = if self.unchecked.is_some() { REST } else { self.wait() };
            let first = match input.recv_timeout(wait) {
                Ok(input) => Some(input),
                Err(RecvTimeoutError::Timeout) => {
                    self.check();
                    None
                }
                Err(RecvTimeoutError::Disconnected) => return Ok(()),
            };
            let mut resized = false;
            for input in first.into_iter().chain(input.try_iter()) {
                match input {
                    // Key presses see the place where the music is at that moment.
                    Input::Event(Event::Key(key)) => {
                        self.hear();
                        self.tell(Message::Key(key));
                    }
                    Input::Event(Event::Mouse(mouse)) => {
                        self.hear();
                        self.tell(Message::Mouse(mouse));
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
        let saving = self.desk.keeper.as_ref().is_some_and(Keeper::is_saving);
        if self.sheet.heard.playing || saving { FRAME } else { IDLE }
    }

    fn hear(&mut self) {
        let heard = match &mut self.player {
            Some(player) => {
                self.remembered.follow(player);
                player.heard()
            }
            None => Heard { playing: false, ..self.sheet.heard },
        };
        let now = self.started.elapsed();
        self.tell(Message::Heard(heard, now));
    }

    fn check(&mut self) {
        let Some(number) = self.unchecked.take() else { return };
        let now = self.checker.begin(number, &self.sheet.dance, self.sheet.listening.as_ref());
        if let Some((number, report)) = now {
            self.tell(Message::Checked(number, Box::new(report)));
        }
    }

    /// The keeper's work, and what it has to say.
    fn tick(&mut self) {
        let now = self.started.elapsed();
        if let Some(free) = self.desk.watch.as_ref().map(desk::Watch::is_free)
            && free != self.sheet.free
        {
            let why = if free { Some(FREE.to_owned()) } else { self.desk.read_only.clone() };
            self.tell(Message::ReadOnly(why.unwrap_or_default(), free));
        }
        let Some(keeper) = &mut self.desk.keeper else { return };
        for news in keeper.tick(&self.sheet.dance, &mut self.sheet.history, now) {
            self.news(news);
        }
    }

    fn news(&mut self, news: News) {
        match news {
            News::Saved => self.tell(Message::Saved),
            News::Trouble(why) => self.tell(Message::Trouble(Some(why))),
            News::Mended(what) => {
                self.tell(Message::Trouble(None));
                self.tell(Message::Say(what));
            }
            News::Ask(question) => self.tell(Message::Ask(Ask::Disk(question.sentence, question.there))),
            News::Moved(path, what) => {
                self.desk.path = path;
                self.tell(Message::Say(what));
            }
            News::Reloaded(what) => self.tell(Message::Say(what)),
        }
    }

    fn answered(&mut self, answer: Answer) {
        match answer {
            Answer::Found(Some(note)) => self.tell(Message::Say(note)),
            Answer::NoRecording(why) => {
                self.tell(Message::Music(Music::Missing(why)));
                self.sound(None);
            }
            Answer::Progress(part) => self.tell(Message::Music(Music::Coming(part))),
            Answer::Heard(listening) => self.tell(Message::Listened(listening)),
            Answer::Sound(recording) => {
                self.tell(Message::Music(Music::Ready));
                self.sound(Some(*recording));
            }
            Answer::Repairable { sureness, otherwise } => {
                self.tell(Message::Repairable(sureness, otherwise));
            }
            Answer::Again(again) => self.tell(Message::Again(again)),
            Answer::Found(None) => {}
        }
    }

    /// Makes ready to play, in silence where there is no recording.
    fn sound(&mut self, recording: Option<crate::recording::Recording>) {
        let length = recording.as_ref().map_or_else(|| self.sheet.length(), |recording| recording.length());
        let mut player = Transport::new(Programme {
            clicks: clicks(&self.sheet.dance),
            recording,
            length,
            trim: self.remembered.trim(),
            silent: self.options.silent,
        });
        // What she chose while the recording was still being opened.
        player.click(self.sheet.clicks);
        player.speed(self.sheet.speed);
        self.player = Some(player);
    }

    fn tell(&mut self, message: Message) {
        for effect in update(&mut self.sheet, message) {
            self.carry_out(effect);
        }
    }

    fn carry_out(&mut self, effect: Effect) {
        let now = self.started.elapsed();
        if let Some(player) = &mut self.player {
            match effect {
                Effect::Play => player.play(),
                Effect::Pause => player.pause(),
                Effect::Seek(to) => player.seek(to),
                Effect::Repeat(span) => player.repeat(span),
                Effect::Click(on) => player.click(on),
                Effect::Clicks => player.set_clicks(clicks(&self.sheet.dance)),
                Effect::Speed(speed) => player.speed(speed),
                _ => {}
            }
        }
        match effect {
            Effect::Play if self.player.is_none() => {
                self.tell(Message::Say("the sound is not there yet".into()));
            }
            Effect::Record(record) => {
                let news = self.desk.keeper.as_mut().and_then(|keeper| keeper.record(&record, now));
                if let Some(news) = news {
                    self.news(news);
                }
            }
            Effect::Check(number) => self.unchecked = Some(number),
            Effect::HearAgain { number, anchors } => self.workers.hear_again(number, anchors),
            Effect::Save => {
                if let Some(keeper) = &mut self.desk.keeper {
                    keeper.save(&self.sheet.dance, &mut self.sheet.history);
                }
            }
            Effect::Recover(wanted) => {
                let said = if wanted { self.desk.recover() } else { self.desk.leave() };
                let (dance, history) = (self.desk.dance.clone(), self.desk.history.clone());
                self.replaced(dance, history);
                if let Some(said) = said.into_iter().next() {
                    self.tell(Message::Say(said));
                }
            }
            Effect::Disk(choice) => self.decided(choice, now),
            Effect::TakeOver => self.take_over(),
            Effect::Leave(anyway) => match self.finish() {
                Some(Ending::Lost(why)) if !anyway => self.tell(Message::Ask(Ask::Lost(why))),
                _ => self.over = true,
            },
            _ => {}
        }
    }

    /// Opens the dance anew: as it is on the disk now, to be changed from now on if nobody else was quicker.
    fn take_over(&mut self) {
        let opened = match desk::open(&self.desk.path) {
            Ok(opened) => opened,
            Err(error) => return self.tell(Message::Say(error.to_string())),
        };
        self.sheet.read_only.clone_from(&opened.read_only);
        self.sheet.free = false;
        self.desk = opened;
        let (dance, history) = (self.desk.dance.clone(), self.desk.history.clone());
        self.replaced(dance, history);
        let first = self.desk.read_only.clone().or_else(|| self.desk.notes.first().cloned());
        self.tell(Message::Say(
            first.unwrap_or_else(|| "this is the dance as it was left: you can go on".into()),
        ));
        if let Some(question) = self.desk.recovery.as_ref().map(|found| found.question()) {
            self.tell(Message::Ask(Ask::Recover(question)));
        }
    }

    fn decided(&mut self, choice: Choice, now: Duration) {
        let Some(keeper) = &mut self.desk.keeper else { return };
        let (mut dance, mut history) = (self.sheet.dance.clone(), self.sheet.history.clone());
        let news = keeper.answer(choice, &mut dance, &mut history, now);
        if choice == Choice::Theirs {
            self.replaced(dance, history);
        } else {
            // The dance is the same, and what she is typing into it goes on.
            self.sheet.history = history;
        }
        self.news(news);
    }

    fn replaced(&mut self, dance: Dance, history: crate::dance::edit::History) {
        for effect in self.sheet.replace(dance, history) {
            self.carry_out(effect);
        }
    }

    fn finish(&mut self) -> Option<Ending> {
        let now = self.started.elapsed();
        let keeper = self.desk.keeper.as_mut()?;
        Some(keeper.finish(&self.sheet.dance, &mut self.sheet.history, now))
    }

    /// What remains to be said when the terminal is given back.
    fn leave(&mut self) -> Option<String> {
        match self.finish()? {
            Ending::Saved => None,
            Ending::Kept(why) | Ending::Lost(why) => Some(why),
        }
    }
}

/// A click on every beat, higher on count one.
fn clicks(dance: &Dance) -> Vec<Click> {
    let grid = &dance.grid;
    let beats = grid.beats().iter().enumerate();
    let high = |beat: usize| grid.phrases().iter().any(|phrase| phrase.start == beat);
    beats.map(|(beat, &at)| Click { at, high: high(beat), always: false }).collect()
}
