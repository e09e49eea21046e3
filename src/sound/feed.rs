//! Filling the device's buffers. Everything here runs inside the audio callback: it reads atomics and computes numbers;
//! it never locks, allocates, frees, opens or prints, which the tests beside it count and look for.

use super::click::click;
use super::handover::{Placed, Taking, placed};
use super::heard::{Command, NOWHERE, Report, Steady};
use super::prepare::Prepared;
use super::shared::Shared;
use super::stretch::{Seam, Stretch};
use super::{Programme, Speed};
use std::sync::Arc;
use std::sync::atomic::Ordering;

/// How long sound takes to fade where it starts or stops, in seconds: long enough not to crack.
const FADE: f64 = 0.004;

/// The state of one stream.
#[derive(Debug)]
pub(super) struct Feed {
    shared: Arc<Shared>,
    stream: u64,
    stretch: Stretch,
    clicks: Placed,
    others: Taking,
    /// The low and the high click.
    tones: [Vec<f32>; 2],
    command: Command,
    /// Whether the first buffer has joined the music where the clock is.
    joined: bool,
    jump: u64,
    /// The frame that is played next. Between whole frames only at other speeds than the recording's own.
    at: f64,
    speed: Speed,
    /// The frame of the block that is played next; a whole block when the next must be made.
    done: usize,
    /// The span that is repeated, as it was when the block was made.
    seam: Option<Seam>,
    from: i64,
    before: i64,
    speed_before: Speed,
    gain: f32,
    next_click: usize,
    tone: Option<(usize, usize)>,
    steady: Steady,
    last: Option<Report>,
}

impl Feed {
    /// A feed for one stream. `stream` is its number, from 1; `others` brings other clicks than the programme's.
    pub(super) fn new(
        shared: Arc<Shared>,
        stream: u64,
        prepared: Prepared,
        programme: &Programme,
        others: Taking,
    ) -> Self {
        let rate = prepared.rate;
        Self {
            shared,
            stream,
            clicks: placed(&programme.clicks, rate),
            others,
            tones: [click(rate, false), click(rate, true)],
            stretch: Stretch::new(prepared),
            command: Command::START,
            joined: false,
            jump: 0,
            at: 0.0,
            speed: Speed::NORMAL,
            done: 0,
            seam: None,
            from: 0,
            before: NOWHERE,
            speed_before: Speed::NORMAL,
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
        if self.others.take(&mut self.clicks) {
            self.seek_clicks();
        }
        let rate = f64::from(self.stretch.rate());
        let span = frames as f64 / rate * 1e9;
        let start = self.steady.observe((now + latency) as f64, span);
        if !self.joined {
            self.joined = true;
            self.jump = command.jump;
            self.go_to(self.frames(command.place_at(start as u64)));
        }
        let step = (1.0 / (FADE * rate)) as f32;
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
            if self.done == self.stretch.frames() {
                self.make();
            }
            let (left, right) = self.stretch.frame(self.done);
            let tone = self.click(command.clicks);
            write(index, self.gain * left + tone, self.gain * right + tone);
            self.advance();
            stopped_after = index + 1;
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
        let time = (start + moved as f64 / f64::from(self.stretch.rate()) * 1e9) as u64;
        let report = Report {
            stream: self.stream,
            jump: self.jump,
            place: self.place(),
            time,
            from: self.from,
            before: self.before,
            moving,
            speed: self.speed,
            speed_before: self.speed_before,
        };
        self.last = Some(report);
        self.shared.report.publish(report.words());
    }

    /// Starts a new stretch of sound at a frame, after a break.
    fn go_to(&mut self, frame: f64) {
        self.at = frame.round();
        self.from = self.place();
        (self.before, self.speed_before) = (NOWHERE, self.speed);
        self.stretch.start(self.at as i64);
        self.done = self.stretch.frames();
        self.seek_clicks();
    }

    /// Makes the next block, with what is asked for now.
    fn make(&mut self) {
        if self.command.speed != self.speed {
            (self.before, self.from) = (self.place(), self.place());
            (self.speed_before, self.speed) = (self.speed, self.command.speed);
            if self.speed == Speed::NORMAL {
                self.at = self.at.round();
            }
        }
        // A span shorter than a few blocks cannot be gone round.
        let least = 4.0 * self.stretch.frames() as f64;
        let seam =
            self.command.span().map(|(from, to)| Seam { from: self.frames(from), to: self.frames(to) });
        self.seam = seam.filter(|seam| seam.to - seam.from >= least);
        let speed = self.speed.factor();
        let to = self.at + speed * self.stretch.frames() as f64;
        self.stretch.make((self.at, to), speed, self.seam);
        self.done = 0;
    }

    /// Goes on by one frame.
    fn advance(&mut self) {
        let next = self.at + self.speed.factor();
        match self.seam.filter(|seam| self.at < seam.to && next >= seam.to) {
            Some(seam) => {
                (self.at, self.speed_before) = (seam.to, self.speed);
                self.before = self.place();
                self.at = seam.from;
                self.from = self.place();
                self.seek_clicks();
                self.at += next - seam.to;
            }
            None => self.at = next,
        }
        self.done += 1;
    }

    /// The next click is the first that is not behind.
    fn seek_clicks(&mut self) {
        self.next_click = self.clicks.partition_point(|(frame, _)| *frame < self.at);
    }

    /// The current frame's share of a click.
    fn click(&mut self, on: bool) -> f32 {
        while let Some((frame, click)) = self.clicks.get(self.next_click)
            && *frame <= self.at
        {
            if on || click.always {
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
    fn frames(&self, place: i64) -> f64 {
        (place as f64 * 1e-9 * f64::from(self.stretch.rate())).round()
    }

    /// The current frame as a place.
    fn place(&self) -> i64 {
        (self.at / f64::from(self.stretch.rate()) * 1e9).round() as i64
    }
}

#[cfg(test)]
mod tests;
