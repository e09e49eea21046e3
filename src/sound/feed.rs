//! Filling the device's buffers. Everything here runs inside the audio callback: it reads atomics and copies numbers;
//! it never locks, allocates, frees, opens or prints.

use super::click::click;
use super::heard::{Command, NOWHERE, Report, Steady};
use super::prepare::Prepared;
use super::shared::Shared;
use super::{Click, Programme};
use std::sync::Arc;
use std::sync::atomic::Ordering;

/// How long sound takes to fade where it starts or stops, in seconds: long enough not to crack.
const FADE: f64 = 0.004;

/// The state of one stream.
#[derive(Debug)]
pub(super) struct Feed {
    shared: Arc<Shared>,
    stream: u64,
    prepared: Prepared,
    clicks: Vec<(i64, Click)>,
    /// The low and the high click.
    tones: [Vec<f32>; 2],
    command: Command,
    /// Whether the first buffer has joined the music where the clock is.
    joined: bool,
    jump: u64,
    frame: i64,
    from: i64,
    before: i64,
    gain: f32,
    next_click: usize,
    tone: Option<(usize, usize)>,
    steady: Steady,
    last: Option<Report>,
}

impl Feed {
    /// A feed for one stream. `stream` is its number, from 1.
    pub(super) fn new(shared: Arc<Shared>, stream: u64, prepared: Prepared, programme: &Programme) -> Self {
        let rate = prepared.rate;
        let frame = |at: f64| (at * f64::from(rate)).round() as i64;
        Self {
            shared,
            stream,
            clicks: programme.clicks.iter().map(|click| (frame(click.at.0), *click)).collect(),
            tones: [click(rate, false), click(rate, true)],
            prepared,
            command: Command::START,
            joined: false,
            jump: 0,
            frame: 0,
            from: 0,
            before: NOWHERE,
            gain: 0.0,
            next_click: 0,
            tone: None,
            steady: Steady::default(),
            last: None,
        }
    }

    /// Fills `frames` frames that are heard `latency` after `now` (both in nanoseconds); `write` takes the index of
    /// a frame and its left and right sample.
    pub(super) fn fill(
        &mut self,
        frames: usize,
        now: u64,
        latency: u64,
        mut write: impl FnMut(usize, f32, f32),
    ) {
        self.shared.pulse.store(now, Ordering::Relaxed);
        if let Some(words) = self.shared.command.read() {
            self.command = Command::from_words(words);
        }
        let command = self.command;
        let rate = f64::from(self.prepared.rate);
        let span = frames as f64 / rate * 1e9;
        let start = self.steady.observe((now + latency) as f64, span);
        if !self.joined {
            self.joined = true;
            self.jump = command.jump;
            self.go_to(self.frames(command.place_at(start as u64)));
        }
        let step = (1.0 / (FADE * rate)) as f32;
        let repeat = command.span().map(|(from, to)| (self.frames(from), self.frames(to)));
        let mut stopped_after = 0;
        for index in 0..frames {
            let leaving = command.jump != self.jump || !command.playing;
            self.gain = if leaving { (self.gain - step).max(0.0) } else { (self.gain + step).min(1.0) };
            if command.jump != self.jump && self.gain == 0.0 {
                self.jump = command.jump;
                // The screen's clock has run since the jump was asked for; the sound begins where it was asked.
                self.go_to(self.frames(command.place));
            }
            if self.gain == 0.0 {
                write(index, 0.0, 0.0);
                continue;
            }
            let (left, right) = self.sample();
            let tone = self.click(command.clicks);
            write(index, self.gain * left + tone, self.gain * right + tone);
            self.frame += 1;
            stopped_after = index + 1;
            if let Some((from, to)) = repeat
                && self.frame == to
                && from < to
            {
                self.before = self.place();
                self.go_on_at(from);
            }
        }
        self.report(start, stopped_after);
    }

    /// Publishes what will be heard when, unless the music stands where it stood.
    fn report(&mut self, start: f64, moved: usize) {
        let moving = self.gain > 0.0;
        let stands = self.last.is_some_and(|last| !last.moving && last.jump == self.jump) && moved == 0;
        if stands && self.last.is_some_and(|last| last.place == self.place()) {
            return;
        }
        let time = (start + moved as f64 / f64::from(self.prepared.rate) * 1e9) as u64;
        let report = Report {
            stream: self.stream,
            jump: self.jump,
            place: self.place(),
            time,
            from: self.from,
            before: self.before,
            moving,
        };
        self.last = Some(report);
        self.shared.report.publish(report.words());
    }

    /// Starts a new stretch of sound at a frame, after a break.
    fn go_to(&mut self, frame: i64) {
        self.before = NOWHERE;
        self.go_on_at(frame);
    }

    fn go_on_at(&mut self, frame: i64) {
        self.frame = frame;
        self.from = self.place();
        self.next_click = self.clicks.partition_point(|(at, _)| *at < frame);
    }

    /// The current frame's samples; silence outside the recording.
    fn sample(&self) -> (f32, f32) {
        let channels = self.prepared.channels;
        let at = usize::try_from(self.frame).ok().and_then(|frame| frame.checked_mul(channels));
        let get = |offset| at.and_then(|at| self.prepared.samples.get(at + offset)).copied().unwrap_or(0.0);
        (get(0), get(channels - 1))
    }

    /// The current frame's share of a click.
    fn click(&mut self, on: bool) -> f32 {
        while let Some((at, click)) = self.clicks.get(self.next_click)
            && *at <= self.frame
        {
            if *at == self.frame && (on || click.always) {
                self.tone = Some((usize::from(click.high), 0));
            }
            self.next_click += 1;
        }
        let Some((which, place)) = self.tone else { return 0.0 };
        let sample = self.tones[which].get(place).copied();
        self.tone = sample.map(|_| (which, place + 1));
        sample.unwrap_or(0.0)
    }

    /// A place in frames.
    fn frames(&self, place: i64) -> i64 {
        (place as f64 * 1e-9 * f64::from(self.prepared.rate)).round() as i64
    }

    /// The current frame as a place.
    fn place(&self) -> i64 {
        (self.frame as f64 / f64::from(self.prepared.rate) * 1e9).round() as i64
    }
}

#[cfg(test)]
mod tests;
