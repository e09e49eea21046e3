//! The player that the screen holds: it asks, and works out what is heard.

use super::heard::{Command, NOWHERE, Report};
use super::shared::Shared;
use super::{Click, Heard, Player, Programme, Sound, Speed};
use crate::units::Seconds;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Instant;

/// Where the monotonic time comes from.
#[derive(Debug, Clone)]
pub enum Clock {
    /// The machine's clock, from an epoch of ours.
    Machine(Instant),
    /// One moved by hand.
    Hand(HandClock),
}

/// A clock that stands still until it is moved: tests hold a clone of it.
#[derive(Debug, Clone, Default)]
pub struct HandClock(Arc<AtomicU64>);

impl HandClock {
    /// Lets time pass.
    pub fn advance(&self, span: Seconds) {
        self.0.fetch_add(nanos(span).max(0).cast_unsigned(), Ordering::Relaxed);
    }
}

impl Clock {
    pub(super) fn now(&self) -> u64 {
        match self {
            // 2^64 ns are 584 years.
            Self::Machine(epoch) => u64::try_from(epoch.elapsed().as_nanos()).unwrap_or(u64::MAX),
            Self::Hand(clock) => clock.0.load(Ordering::Relaxed),
        }
    }
}

/// Plays a [`Programme`] on the default output device whenever there is one, and by the clock alone when not.
#[derive(Debug)]
pub struct Transport {
    shared: Arc<Shared>,
    clock: Clock,
    command: Command,
    /// The last report that could be read whole.
    last_report: Option<Report>,
    /// The last place worked out while a device led, and when: where the clock takes over.
    led: Option<(i64, u64)>,
    length: i64,
    trim: i64,
    /// What there is to say without a device.
    unheard: Option<Sound>,
    #[cfg(feature = "playback")]
    output: Option<super::output::Output>,
}

impl Transport {
    /// A stopped player at the start of `programme`. Devices are opened in the background; nothing here waits.
    #[must_use]
    pub fn new(programme: Programme) -> Self {
        let mut transport = Self::by_clock(&programme, Clock::Machine(Instant::now()));
        transport.open(programme);
        transport
    }

    /// A player that no device ever joins, led by `clock`.
    #[must_use]
    pub fn silent(programme: &Programme, clock: HandClock) -> Self {
        let transport = Self::by_clock(programme, Clock::Hand(clock));
        transport.shared.tried.store(true, Ordering::Relaxed);
        transport
    }

    fn by_clock(programme: &Programme, clock: Clock) -> Self {
        Self {
            shared: Arc::new(Shared::new()),
            clock,
            command: Command::START,
            last_report: None,
            led: None,
            length: nanos(programme.length),
            trim: nanos(programme.trim),
            unheard: match (programme.silent, &programme.recording) {
                (true, _) => Some(Sound::Silenced),
                (false, None) => Some(Sound::NoRecording),
                (false, Some(_)) => None,
            },
            #[cfg(feature = "playback")]
            output: None,
        }
    }

    #[cfg(feature = "playback")]
    fn open(&mut self, programme: Programme) {
        if self.unheard.is_none() {
            self.output =
                super::output::Output::start(Arc::clone(&self.shared), self.clock.clone(), programme);
        } else {
            self.shared.tried.store(true, Ordering::Relaxed);
        }
    }

    #[cfg(not(feature = "playback"))]
    fn open(&mut self, _programme: Programme) {
        self.shared.tried.store(true, Ordering::Relaxed);
    }

    /// How often a device has run dry since the start; each is a short gap in the sound.
    #[must_use]
    pub fn dry_runs(&self) -> u64 {
        self.shared.dry.load(Ordering::Relaxed)
    }

    /// The report of the stream that plays, if one does.
    ///
    /// While the callback is interrupted in the middle of writing one, the last whole one counts: it is some milliseconds
    /// old and as true as before. Taking it for a lost device would let the clock take over for a moment.
    fn report(&mut self) -> Option<Report> {
        if let Some(words) = self.shared.report.read() {
            self.last_report = Some(Report::from_words(words));
        }
        let report = self.last_report?;
        let stream = self.shared.stream.load(Ordering::Acquire);
        (stream != 0 && report.stream == stream).then_some(report)
    }

    /// Where the music is at `now`.
    fn place(&mut self, now: u64) -> i64 {
        let place = match self.report() {
            Some(report) => {
                let place = if report.jump == self.command.jump {
                    report.place_at(now.saturating_add_signed(-self.trim))
                } else {
                    self.command.place
                };
                self.led = Some((place, now));
                place
            }
            None => {
                if let Some((place, time)) = self.led.take() {
                    // The device was lost: the clock goes on from the last place it told.
                    self.command = Command { place, time, ..self.command };
                    self.publish();
                }
                self.command.place_at(now)
            }
        };
        place.min(self.length)
    }

    /// Changes what is asked for, from where the music is now.
    fn ask(&mut self, change: impl FnOnce(&mut Command)) {
        let time = self.clock.now();
        let place = self.place(time);
        let mut command = Command { place, time, ..self.command };
        // A jump that the device has not made yet must not be forgotten.
        if self.report().is_some_and(|report| report.jump != self.command.jump) {
            command.place = self.command.place;
        }
        change(&mut command);
        self.command = command;
        self.publish();
    }

    fn publish(&self) {
        self.shared.command.publish(self.command.words());
    }
}

impl Player for Transport {
    fn play(&mut self) {
        if !self.command.playing {
            self.ask(|command| command.playing = true);
        }
    }

    fn pause(&mut self) {
        if self.command.playing {
            self.ask(|command| command.playing = false);
        }
    }

    fn seek(&mut self, to: Seconds) {
        let place = nanos(to).min(self.length);
        self.ask(|command| {
            command.jump += 1;
            command.place = place;
        });
    }

    fn repeat(&mut self, span: Option<(Seconds, Seconds)>) {
        let (from, to) = span.map_or((NOWHERE, NOWHERE), |(from, to)| (nanos(from), nanos(to)));
        self.ask(|command| (command.repeat_from, command.repeat_to) = (from, to));
    }

    fn click(&mut self, on: bool) {
        self.ask(|command| command.clicks = on);
    }

    fn set_clicks(&mut self, clicks: Vec<Click>) {
        // The clock alone clicks nothing.
        #[cfg(feature = "playback")]
        if let Some(output) = &self.output {
            output.set_clicks(clicks);
        }
        #[cfg(not(feature = "playback"))]
        drop(clicks);
    }

    fn speed(&mut self, speed: Speed) {
        self.ask(|command| command.speed = speed);
    }

    fn trim(&mut self, trim: Seconds) {
        self.trim = nanos(trim);
    }

    fn device(&self) -> Option<Arc<str>> {
        #[cfg(feature = "playback")]
        return self.output.as_ref()?.name();
        #[cfg(not(feature = "playback"))]
        None
    }

    fn heard(&mut self) -> Heard {
        let now = self.clock.now();
        let at = Seconds(self.place(now) as f64 * 1e-9);
        let sound = if let Some(unheard) = self.unheard {
            unheard
        } else if self.led.is_some() {
            Sound::Sounding
        } else if self.shared.tried.load(Ordering::Relaxed) && self.shared.stream.load(Ordering::Relaxed) == 0
        {
            Sound::NoDevice
        } else {
            Sound::Opening
        };
        Heard { at, playing: self.command.playing, sound, dry_runs: self.dry_runs() }
    }
}

/// Nanoseconds; a time that is not a number is 0, a very long one the longest.
fn nanos(at: Seconds) -> i64 {
    (at.0 * 1e9).round() as i64
}

#[cfg(test)]
mod tests {
    use super::*;

    fn player(length: f64) -> (Transport, HandClock) {
        let clock = HandClock::default();
        let programme = Programme { length: Seconds(length), ..Programme::default() };
        (Transport::silent(&programme, clock.clone()), clock)
    }

    fn at(player: &mut Transport) -> f64 {
        (player.heard().at.0 * 1e6).round() / 1e6
    }

    #[test]
    fn without_a_device_the_clock_leads() {
        let (mut player, clock) = player(10.0);
        clock.advance(Seconds(5.0));
        assert_eq!(at(&mut player), 0.0);
        player.play();
        clock.advance(Seconds(1.5));
        assert_eq!(at(&mut player), 1.5);
        player.pause();
        clock.advance(Seconds(1.0));
        assert_eq!(at(&mut player), 1.5);
        player.seek(Seconds(-2.0));
        assert_eq!(at(&mut player), -2.0);
        player.play();
        clock.advance(Seconds(60.0));
        assert_eq!(at(&mut player), 10.0, "the end is the end");
        assert_eq!(player.heard().sound, Sound::NoRecording);
    }

    #[test]
    fn at_half_speed_twice_the_time_passes() {
        let (mut player, clock) = player(60.0);
        player.seek(Seconds(-1.0));
        player.play();
        clock.advance(Seconds(2.0));
        player.speed(Speed::percent(50));
        clock.advance(Seconds(2.0));
        assert_eq!(at(&mut player), 2.0);
        player.speed(Speed::percent(110));
        clock.advance(Seconds(10.0));
        assert_eq!(at(&mut player), 13.0);
        player.speed(Speed::NORMAL);
        clock.advance(Seconds(1.0));
        assert_eq!(at(&mut player), 14.0);
    }

    #[test]
    fn a_span_repeats_until_it_is_let_go() {
        let (mut player, clock) = player(60.0);
        player.seek(Seconds(10.0));
        player.repeat(Some((Seconds(8.0), Seconds(12.0))));
        player.play();
        clock.advance(Seconds(3.0));
        assert_eq!(at(&mut player), 9.0);
        player.repeat(None);
        clock.advance(Seconds(5.0));
        assert_eq!(at(&mut player), 14.0);
    }
}
