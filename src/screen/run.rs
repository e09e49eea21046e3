//! The loop that leads a class: it waits for keys and for the music, and draws.

use super::ScreenError;
use super::colours::{Depth, Palette, Theme};
use super::floor::{App, CLICKS_LENGTH, Effect, Floor, InStep, Message, Version, clicks_alone, update, view};
use super::inputs::asked_to_end;
use super::terminal::{Screen, fault};
use crate::dance::Dance;
use crate::listening::Listening;
use crate::recording::Recording;
use crate::shelf::Trims;
use crate::sound::{Click, Player, Programme, Transport};
use crate::units::Seconds;
use crossterm::event::{self, Event};
use std::collections::VecDeque;
use std::io::{self, IsTerminal};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::thread;
use std::time::{Duration, Instant};

/// The longest wait while the music plays. Pictures are drawn when a change is due, not on a grid of time; this only
/// bounds how long a correction of the heard position, or a change that nobody can foresee, stays unnoticed.
const FRAME: Duration = Duration::from_millis(40);
/// Waking so little late means that the beat has certainly passed by the time the picture is made.
const AFTER: Duration = Duration::from_micros(200);
/// And while it does not: often enough to notice a device, a signal or a notice that has had its time.
const IDLE: Duration = Duration::from_millis(150);

/// How to lead.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct FloorOptions {
    /// Play nothing, even where there is a sound device.
    pub silent: bool,
    /// How much later than the device says its sound is heard, in milliseconds: -500 to 1000. `None` takes what is
    /// remembered for the device.
    pub trim_ms: Option<i32>,
    /// Dark words on a light ground.
    pub light: bool,
    /// Begin with the low-impact versions for everyone.
    pub gentle: bool,
    /// Begin with the page that brings sound and picture in step.
    pub in_step: bool,
    /// Click on the beats from the beginning.
    pub clicks: bool,
    /// Listen to the mouse; only the editors do.
    pub mouse: bool,
    /// Colours to use; `None` uses what the environment promises.
    pub depth: Option<Depth>,
}

impl FloorOptions {
    /// The colours they come to, on this terminal.
    pub(super) fn palette(&self) -> Palette {
        let depth = self.depth.unwrap_or_else(|| Depth::promised(|name| std::env::var(name).ok()));
        Palette { theme: if self.light { Theme::Light } else { Theme::Dark }, depth }
    }
}

/// Says at once, before anything slow is done, when the floor cannot be shown here.
///
/// # Errors
/// [`ScreenError::NotATerminal`].
pub fn require_terminal() -> Result<(), ScreenError> {
    if io::stdin().is_terminal() && io::stdout().is_terminal() {
        Ok(())
    } else {
        Err(ScreenError::NotATerminal)
    }
}

/// One dance of a lesson, with its sound.
#[derive(Debug, Clone)]
pub struct Piece {
    /// The dance.
    pub dance: Dance,
    /// Its recording; without one it is led in silence.
    pub recording: Option<Recording>,
    /// What was heard in it; without that the hill is plain.
    pub listening: Option<Listening>,
    /// Whether it is a free dance, whose words say what the music does.
    pub free: bool,
}

/// Leads a class through dances, one after the other with a pause between, until the teacher leaves. Without a recording, or without a sound device, it is led
/// in silence, and says so. What she finds on the page that brings sound and picture in step is remembered in `trims`.
///
/// # Errors
/// [`ScreenError`]: not a terminal, a terminal that refuses, or a fault of ours. The terminal is given back in every case.
pub fn run_floor(pieces: Vec<Piece>, options: FloorOptions, trims: Trims) -> Result<(), ScreenError> {
    let asked_to_end = asked_to_end()?;
    // The terminal is taken before the sound device is opened: opening may write to standard error.
    let mut screen = Screen::take()?;
    forget_what_was_typed();
    let keys = keys();
    let count = pieces.len();
    let mut before: Option<(App, Trims)> = None;
    let mut ended = Ok(Ending::Left);
    for (index, piece) in pieces.into_iter().enumerate() {
        let Piece { dance, recording, listening, free } = piece;
        let length = length(&dance, recording.as_ref());
        let floor = Floor::new(dance, listening.as_ref(), length);
        let floor = if free { floor.freely() } else { floor };
        let clicks = clicks(&floor);
        let (mut app, trims) = match before.take() {
            None => {
                let version = if options.gentle { Version::LowImpact } else { Version::Full };
                let mut app = App::new(floor, options.palette(), version);
                app.clicks = options.clicks;
                app.in_step = InStep::new(trims.all().clone(), options.trim_ms);
                (app, trims.clone())
            }
            Some((last, trims)) => (last.followed_by(floor), trims),
        };
        app.piece = (index + 1, count);
        let trim = milliseconds(app.in_step.trim);
        let programme = Programme { clicks, recording, length, trim, silent: options.silent };
        let in_step = options.in_step && index == 0;
        let mut band = Band::new(programme, trims, in_step);
        band.player.click(app.clicks);
        let first = if in_step { Message::InStep } else { Message::Redraw };
        ended = lead(&mut app, &mut band, first, &keys, &mut screen, &asked_to_end);
        if !matches!(ended, Ok(Ending::Next)) {
            break;
        }
        before = Some((app, band.trims));
    }
    drop(screen);
    // A fault elsewhere may be noticed as something else; its own message has been written.
    if fault() { Err(ScreenError::Fault) } else { ended.map(drop) }
}

/// How the leading of one piece ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Ending {
    /// The floor is left.
    Left,
    /// The next piece is to come.
    Next,
}

/// What makes the sound: the player, what it plays, and how late each device is known to be.
struct Band {
    player: Transport,
    programme: Programme,
    trims: Trims,
    /// What the device was called when it was last asked.
    device: Option<Arc<str>>,
    /// Whether clicks play in the music's place.
    alone: bool,
}

impl Band {
    fn new(programme: Programme, trims: Trims, alone: bool) -> Self {
        let player = Transport::new(if alone { only_clicks(&programme) } else { programme.clone() });
        Self { player, programme, trims, device: None, alone }
    }

    /// Does what is asked for; gives a sentence when it cannot be done, and how it ended in its place when this piece is left.
    fn carry_out(&mut self, effect: Effect) -> Result<Result<(), String>, Ending> {
        match effect {
            Effect::Play => self.player.play(),
            Effect::Pause => self.player.pause(),
            Effect::Seek(to) => self.player.seek(to),
            Effect::Repeat(span) => self.player.repeat(span),
            Effect::Click(on) => self.player.click(on),
            Effect::Speed(speed) => self.player.speed(speed),
            Effect::Trim(trim) => {
                self.programme.trim = milliseconds(trim);
                self.player.trim(self.programme.trim);
            }
            Effect::Remember(device, trim) => {
                return Ok(self.trims.remember(&device, trim).map_err(|error| error.to_string()));
            }
            Effect::ClicksAlone(alone) if alone == self.alone => {}
            Effect::ClicksAlone(alone) => {
                self.alone = alone;
                let programme = if alone { only_clicks(&self.programme) } else { self.programme.clone() };
                self.player = Transport::new(programme);
            }
            Effect::Next => return Err(Ending::Next),
            Effect::Leave => return Err(Ending::Left),
        }
        Ok(Ok(()))
    }

    /// The device's name, when it is another one than before.
    fn another_device(&mut self) -> Option<String> {
        let device = self.player.device()?;
        if self.device.as_ref() == Some(&device) {
            return None;
        }
        self.device = Some(Arc::clone(&device));
        Some(device.to_string())
    }
}

/// Clicks in the place of a programme, heard in the same way.
fn only_clicks(programme: &Programme) -> Programme {
    let clicks = Programme::clicks_alone(clicks_alone(), CLICKS_LENGTH);
    Programme { trim: programme.trim, silent: programme.silent, ..clicks }
}

/// The trims that are remembered, for the editors: they play with them and change none.
#[derive(Debug)]
pub(super) struct Remembered {
    trims: Trims,
    given: Option<i32>,
    device: Option<Arc<str>>,
}

impl Remembered {
    pub(super) fn new(options: &FloorOptions) -> Self {
        Self { trims: Trims::of_this_user().0, given: options.trim_ms, device: None }
    }

    /// The trim to begin with.
    pub(super) fn trim(&self) -> Seconds {
        milliseconds(self.given.unwrap_or(0))
    }

    /// Trims the player when its device has got a name, or another one, unless a trim was given.
    pub(super) fn follow(&mut self, player: &mut impl Player) {
        let device = player.device();
        if self.given.is_none() && device != self.device {
            player.trim(milliseconds(device.as_ref().and_then(|name| self.trims.of(name)).unwrap_or(0)));
            self.device = device;
        }
    }
}

/// A trim as a time.
fn milliseconds(trim: i32) -> Seconds {
    Seconds(f64::from(trim) / 1_000.0)
}

fn lead(
    app: &mut App,
    band: &mut Band,
    first: Message,
    keys: &Receiver<Event>,
    screen: &mut Screen,
    asked_to_end: &impl Fn() -> bool,
) -> Result<Ending, ScreenError> {
    let started = Instant::now();
    let mut pending = VecDeque::from([first]);
    loop {
        let before = (app.heard, app.notice.clone());
        pending.extend(band.another_device().map(Message::Device));
        let mut changed = !pending.is_empty();
        let mut sampled = Instant::now();
        // Keys act on the place where the music is when they are pressed ...
        pending.push_front(Message::Heard(band.player.heard(), started.elapsed()));
        if let Some(ending) = take_in(app, band, &mut pending) {
            return Ok(ending);
        }
        // ... and what they have changed is shown at once.
        if changed {
            sampled = Instant::now();
            pending.push_back(Message::Heard(band.player.heard(), started.elapsed()));
            if let Some(ending) = take_in(app, band, &mut pending) {
                return Ok(ending);
            }
        }
        changed |= before != (app.heard, app.notice.clone());
        if changed {
            screen.draw(|frame| view(app, frame))?;
        }
        if asked_to_end() || fault() {
            return Ok(Ending::Left);
        }
        // Counted from when the position was read, by the clock: the music may meanwhile have gone round a repeat, and then
        // what was due has passed, while a new look at the position would find it far ahead.
        let wait = match app.until_change() {
            Some(due) => (sampled + due + AFTER).saturating_duration_since(Instant::now()).min(FRAME),
            None => IDLE,
        };
        let mut take = |event| match event {
            Event::Key(key) => pending.push_back(Message::Key(key)),
            Event::Resize(..) => pending.push_back(Message::Redraw),
            _ => {}
        };
        let mut resized = false;
        match keys.recv_timeout(wait) {
            Ok(event) => {
                // All that has piled up is taken before one picture is drawn.
                for event in std::iter::once(event).chain(keys.try_iter()) {
                    resized |= matches!(event, Event::Resize(..));
                    take(event);
                }
            }
            Err(RecvTimeoutError::Timeout) => {}
            // The keyboard is gone: there is nobody to lead for.
            Err(RecvTimeoutError::Disconnected) => return Ok(Ending::Left),
        }
        if resized {
            screen.forget()?;
        }
    }
}

/// Takes in all that has happened and does what it comes to; says how it ended when this piece is left.
fn take_in(app: &mut App, band: &mut Band, pending: &mut VecDeque<Message>) -> Option<Ending> {
    while let Some(message) = pending.pop_front() {
        for effect in update(app, message) {
            match band.carry_out(effect) {
                Ok(Ok(())) => {}
                Ok(Err(sentence)) => pending.push_back(Message::Say(sentence)),
                Err(ending) => return Some(ending),
            }
        }
    }
    None
}

/// Throws away keys that were pressed before there was anything to see: while a recording is listened to, hands are impatient, and the
/// class would be counted in before anybody has seen the first page.
fn forget_what_was_typed() {
    while matches!(event::poll(Duration::ZERO), Ok(true)) && event::read().is_ok() {}
}

/// Reads the keyboard on a thread of its own, which ends when nobody listens or when the keyboard is gone.
pub(super) fn keys() -> Receiver<Event> {
    let (sender, receiver) = sync_channel(256);
    // Without a thread the channel closes at once, and the floor is left.
    let _ = thread::Builder::new().name("keys".to_owned()).spawn(move || read_keys(&sender));
    receiver
}

fn read_keys(sender: &SyncSender<Event>) {
    loop {
        let event = match event::poll(Duration::from_millis(200)) {
            Ok(true) => event::read(),
            Ok(false) => continue,
            Err(_) => return,
        };
        if event.map(|event| sender.send(event)).is_ok_and(|sent| sent.is_ok()) {
            continue;
        }
        return;
    }
}

/// The recording's length; of a missing recording what the dance says, or the end of its grid.
fn length(dance: &Dance, recording: Option<&Recording>) -> Seconds {
    let said = recording.map_or_else(|| dance.recording.length(), Recording::length);
    if said.0 > 0.0 { said } else { dance.grid.seconds_at(dance.grid.end()) }
}

/// Clicks on every beat, high on the first of a bar, and the count-in before them.
fn clicks(floor: &Floor) -> Vec<Click> {
    let count_in = floor.count_in().into_iter().map(|at| Click { at, high: false, always: true });
    let beats =
        floor.trail().stones().iter().map(|stone| Click { at: stone.at, high: stone.bar, always: false });
    count_in.chain(beats).collect()
}
