//! The loop that leads a class: it waits for keys and for the music, and draws.

use super::ScreenError;
use super::colours::{Depth, Palette, Theme};
use super::floor::{App, Effect, Floor, Message, Version, update, view};
use super::inputs::asked_to_end;
use super::terminal::{Screen, fault};
use crate::dance::Dance;
use crate::listening::Listening;
use crate::recording::Recording;
use crate::sound::{Click, Player, Programme, Transport};
use crate::units::Seconds;
use crossterm::event::{self, Event};
use std::io::{self, IsTerminal};
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
    /// How much later than the device says its sound is heard, in milliseconds: -500 to 1000.
    pub trim_ms: i32,
    /// Dark words on a light ground.
    pub light: bool,
    /// Begin with the low-impact versions for everyone.
    pub gentle: bool,
    /// Click on the beats from the beginning.
    pub clicks: bool,
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

/// Leads a class through a dance until the teacher leaves. Without a recording, or without a sound device, it is led
/// in silence, and says so.
///
/// # Errors
/// [`ScreenError`]: not a terminal, a terminal that refuses, or a fault of ours. The terminal is given back in every case.
pub fn run_floor(
    dance: Dance,
    recording: Option<Recording>,
    listening: Option<Listening>,
    options: FloorOptions,
) -> Result<(), ScreenError> {
    let length = length(&dance, recording.as_ref());
    let floor = Floor::new(dance, listening.as_ref(), length);
    let trim = Seconds(f64::from(options.trim_ms) / 1_000.0);
    let programme = Programme { clicks: clicks(&floor), recording, length, trim, silent: options.silent };
    let version = if options.gentle { Version::LowImpact } else { Version::Full };
    let mut app = App::new(floor, options.palette(), version);
    app.clicks = options.clicks;

    let asked_to_end = asked_to_end()?;

    // The terminal is taken before the sound device is opened: opening may write to standard error.
    let mut screen = Screen::take()?;
    let mut player = Transport::new(programme);
    player.click(options.clicks);
    let keys = keys();
    let ended = lead(&mut app, &mut player, &keys, &mut screen, &asked_to_end);
    drop(screen);
    // A fault elsewhere may be noticed as something else; its own message has been written.
    if fault() { Err(ScreenError::Fault) } else { ended }
}

fn lead(
    app: &mut App,
    player: &mut impl Player,
    keys: &Receiver<Event>,
    screen: &mut Screen,
    asked_to_end: &impl Fn() -> bool,
) -> Result<(), ScreenError> {
    let started = Instant::now();
    let mut pending = vec![Message::Redraw];
    loop {
        let sampled = Instant::now();
        pending.push(Message::Heard(player.heard(), started.elapsed()));
        let before = (app.heard, app.notice.clone());
        let mut changed = pending.len() > 1;
        for message in pending.drain(..) {
            for effect in update(app, message) {
                match effect {
                    Effect::Play => player.play(),
                    Effect::Pause => player.pause(),
                    Effect::Seek(to) => player.seek(to),
                    Effect::Repeat(span) => player.repeat(span),
                    Effect::Click(on) => player.click(on),
                    Effect::Speed(speed) => player.speed(speed),
                    Effect::Leave => return Ok(()),
                }
            }
        }
        changed |= before != (app.heard, app.notice.clone());
        if changed {
            screen.draw(|frame| view(app, frame))?;
        }
        if asked_to_end() || fault() {
            return Ok(());
        }
        // Counted from when the position was read, by the clock: the music may meanwhile have gone round a repeat, and then
        // what was due has passed, while a new look at the position would find it far ahead.
        let wait = match app.until_change() {
            Some(due) => (sampled + due + AFTER).saturating_duration_since(Instant::now()).min(FRAME),
            None => IDLE,
        };
        let mut take = |event| match event {
            Event::Key(key) => pending.push(Message::Key(key)),
            Event::Resize(..) => pending.push(Message::Redraw),
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
            Err(RecvTimeoutError::Disconnected) => return Ok(()),
        }
        if resized {
            screen.forget()?;
        }
    }
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
