//! Which instant is heard: arithmetic on what the screen asked for and what the device reported. No clock is read here.
//!
//! A *place* is an instant of the recording, a *time* an instant of the monotonic clock, both in nanoseconds.

use super::Speed;

/// No place: used where a place is optional.
pub(super) const NOWHERE: i64 = i64::MIN;

/// What the screen asks for. Whole and current: whoever reads it late misses nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Command {
    /// Counts the jumps; a new number asks to go to `place`.
    pub(super) jump: u64,
    /// Whether to run.
    pub(super) playing: bool,
    /// Where the music was (or shall go) ...
    pub(super) place: i64,
    /// ... at this time.
    pub(super) time: u64,
    /// Start of the span to repeat, or [`NOWHERE`].
    pub(super) repeat_from: i64,
    /// End of the span to repeat.
    pub(super) repeat_to: i64,
    /// Whether beats click.
    pub(super) clicks: bool,
    /// How fast it runs.
    pub(super) speed: Speed,
}

impl Command {
    pub(super) const START: Self = Self {
        jump: 0,
        playing: false,
        place: 0,
        time: 0,
        repeat_from: NOWHERE,
        repeat_to: NOWHERE,
        clicks: false,
        speed: Speed::NORMAL,
    };

    pub(super) fn words(self) -> [u64; 8] {
        [
            self.jump,
            u64::from(self.playing),
            self.place.cast_unsigned(),
            self.time,
            self.repeat_from.cast_unsigned(),
            self.repeat_to.cast_unsigned(),
            u64::from(self.clicks),
            u64::from(self.speed.in_percent()),
        ]
    }

    pub(super) fn from_words([jump, playing, place, time, from, to, clicks, speed]: [u64; 8]) -> Self {
        Self {
            jump,
            playing: playing != 0,
            place: place.cast_signed(),
            time,
            repeat_from: from.cast_signed(),
            repeat_to: to.cast_signed(),
            clicks: clicks != 0,
            // In range: it was written by `words`.
            speed: Speed::percent(speed as u8),
        }
    }

    /// Where the music is at `time` when only the clock leads it.
    pub(super) fn place_at(&self, time: u64) -> i64 {
        if !self.playing {
            return self.place;
        }
        let place =
            self.place.saturating_add(at_speed(time.saturating_sub(self.time).cast_signed(), self.speed));
        match self.span() {
            Some((from, to)) if self.place < to && place >= to => from + (place - from) % (to - from),
            _ => place,
        }
    }

    /// The span to repeat, if there is one.
    pub(super) fn span(&self) -> Option<(i64, i64)> {
        (self.repeat_from != NOWHERE && self.repeat_from < self.repeat_to)
            .then_some((self.repeat_from, self.repeat_to))
    }
}

/// What the device's callback says: at `time`, `place` will be heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Report {
    /// Which stream says so; 0 is none.
    pub(super) stream: u64,
    /// The last jump it has made.
    pub(super) jump: u64,
    /// A place ...
    pub(super) place: i64,
    /// ... and the time at which it is heard.
    pub(super) time: u64,
    /// Where the sound that leads to `place` began: nothing before it is heard in this stretch.
    pub(super) from: i64,
    /// Where the sound left off to go to `from` without a gap, or [`NOWHERE`].
    pub(super) before: i64,
    /// Whether it runs on after `place`.
    pub(super) moving: bool,
    /// How fast it runs from `from` on.
    pub(super) speed: Speed,
    /// How fast it ran up to `before`.
    pub(super) speed_before: Speed,
}

/// How far the music goes in a span of time.
fn at_speed(span: i64, speed: Speed) -> i64 {
    if speed == Speed::NORMAL { span } else { (span as f64 * speed.factor()).round() as i64 }
}

impl Report {
    pub(super) const NONE: Self = Self {
        stream: 0,
        jump: 0,
        place: 0,
        time: 0,
        from: 0,
        before: NOWHERE,
        moving: false,
        speed: Speed::NORMAL,
        speed_before: Speed::NORMAL,
    };

    pub(super) fn words(self) -> [u64; 9] {
        [
            self.stream,
            self.jump,
            self.place.cast_unsigned(),
            self.time,
            self.from.cast_unsigned(),
            self.before.cast_unsigned(),
            u64::from(self.moving),
            u64::from(self.speed.in_percent()),
            u64::from(self.speed_before.in_percent()),
        ]
    }

    pub(super) fn from_words(words: [u64; 9]) -> Self {
        let [stream, jump, place, time, from, before, moving, speed, speed_before] = words;
        Self {
            stream,
            jump,
            place: place.cast_signed(),
            time,
            from: from.cast_signed(),
            before: before.cast_signed(),
            moving: moving != 0,
            speed: Speed::percent(speed as u8),
            speed_before: Speed::percent(speed_before as u8),
        }
    }

    /// The place heard at `time`. It waits at the start of a stretch until its sound arrives, and at its end.
    pub(super) fn place_at(&self, time: u64) -> i64 {
        let since = time.cast_signed().saturating_sub(self.time.cast_signed());
        let place = self.place.saturating_add(at_speed(since, self.speed));
        if !self.moving && place > self.place {
            return self.place;
        }
        if place >= self.from {
            place
        } else if self.before == NOWHERE {
            self.from
        } else {
            // So long before the sound from `from` on, at the speed it had then.
            let ago = (self.from - place) as f64 / self.speed.factor();
            self.before - (ago * self.speed_before.factor()).round() as i64
        }
    }
}

/// Device times without their jitter: buffers follow each other without gaps, so each says when all the others were due.
#[derive(Debug, Default)]
pub(super) struct Steady {
    /// When the next buffer should be heard.
    due: Option<f64>,
    settled: u32,
    /// The sum and the number of the last measurements that were far off to the same side, one after the other.
    astray: (f64, u32),
}

/// Further off than this (nanoseconds) is more than a device's jitter: half of what is noticed least (README's promise is 10 ms).
const ASTRAY: f64 = 8e6;
/// So many buffers far off to the same side are a gap, and no jitter.
const GAP: u32 = 4;

impl Steady {
    /// A buffer heard at `measured` for `span` (nanoseconds); returns its smoothed time.
    ///
    /// The first twenty are averaged; afterwards each moves the estimate by a twentieth, which follows a device
    /// clock that is 200 ppm off within some 0.1 ms. A difference over 50 ms is a gap, and is believed at once; a smaller one
    /// when four buffers in a row say the same.
    pub(super) fn observe(&mut self, measured: f64, span: f64) -> f64 {
        let time = match self.due {
            Some(due) if (measured - due).abs() < 50e6 => due + self.correction(measured - due),
            _ => {
                (self.settled, self.astray) = (1, (0.0, 0));
                measured
            }
        };
        self.due = Some(time + span);
        time
    }

    /// What a buffer that is `off` its time moves the estimate by.
    fn correction(&mut self, off: f64) -> f64 {
        let (sum, run) = self.astray;
        self.astray = match off.abs() < ASTRAY {
            true => (0.0, 0),
            false if sum * off > 0.0 => (sum + off, run + 1),
            false => (off, 1),
        };
        match self.astray.1 {
            0 | 1 => {
                self.settled = (self.settled + 1).min(20);
                off / f64::from(self.settled)
            }
            // It is waited for what the next ones say, so that all of them are measured against the same.
            run if run < GAP => 0.0,
            run => {
                let middle = self.astray.0 / f64::from(run);
                (self.settled, self.astray) = (run, (0.0, 0));
                middle
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MS: i64 = 1_000_000;

    #[test]
    fn a_jump_waits_until_its_sound_arrives() {
        // Sent 40 ms ago, heard in 60 ms: a stretch that begins at 5 s and has been sent up to 5.1 s.
        let report = Report {
            stream: 1,
            jump: 3,
            place: 5_100 * MS,
            time: 1_160_000_000,
            from: 5_000 * MS,
            moving: true,
            ..Report::NONE
        };
        assert_eq!(report.place_at(1_000_000_000), 5_000 * MS);
        assert_eq!(report.place_at(1_060_000_000), 5_000 * MS);
        assert_eq!(report.place_at(1_080_000_000), 5_020 * MS);
        assert_eq!(report.place_at(1_200_000_000), 5_140 * MS);
        let stopped = Report { moving: false, ..report };
        assert_eq!(stopped.place_at(1_080_000_000), 5_020 * MS, "the tail is still being heard");
        assert_eq!(stopped.place_at(9_000_000_000), 5_100 * MS);
    }

    #[test]
    fn a_repeat_is_heard_without_a_gap() {
        let report = Report {
            stream: 1,
            jump: 0,
            place: 2_030 * MS,
            time: 1_000_000_000,
            from: 2_000 * MS,
            before: 8_000 * MS,
            moving: true,
            ..Report::NONE
        };
        assert_eq!(report.place_at(960_000_000), 7_990 * MS);
        assert_eq!(report.place_at(980_000_000), 2_010 * MS);
    }

    #[test]
    fn a_change_of_speed_is_heard_when_its_sound_is() {
        // Half speed from 2 s on; sent up to 2.1 s, which is heard at 1.1 s, so the change itself at 0.9 s.
        let report = Report {
            stream: 1,
            place: 2_100 * MS,
            time: 1_100_000_000,
            from: 2_000 * MS,
            before: 2_000 * MS,
            moving: true,
            speed: Speed::percent(50),
            ..Report::NONE
        };
        assert_eq!(report.place_at(900_000_000), 2_000 * MS);
        assert_eq!(report.place_at(1_000_000_000), 2_050 * MS);
        assert_eq!(report.place_at(850_000_000), 1_950 * MS, "before, at its own speed");
        assert_eq!(Report::from_words(report.words()), report);
    }

    #[test]
    fn the_clock_alone_repeats_too() {
        let command = Command {
            playing: true,
            place: 3_000 * MS,
            time: 0,
            repeat_from: 2_000 * MS,
            repeat_to: 4_000 * MS,
            ..Command::START
        };
        assert_eq!(command.place_at(500_000_000), 3_500 * MS);
        assert_eq!(command.place_at(1_500_000_000), 2_500 * MS);
        assert_eq!(command.place_at(3_500_000_000), 2_500 * MS);
        let slow = Command { speed: Speed::percent(50), ..command };
        assert_eq!(slow.place_at(1_000_000_000), 3_500 * MS);
        assert_eq!(slow.place_at(3_000_000_000), 2_500 * MS);
        assert_eq!(Command::from_words(slow.words()), slow);
        let past = Command { place: 5_000 * MS, ..command };
        assert_eq!(past.place_at(500_000_000), 5_500 * MS, "beyond the span it goes on");
    }

    #[test]
    fn jitter_of_lumps_is_smoothed_and_a_gap_is_believed() {
        let mut steady = Steady::default();
        let span = 20e6;
        let mut worst: f64 = 0.0;
        for buffer in 0..500 {
            // Lumps: every other buffer is reported 8 ms late, and the device's clock runs 200 ppm slow.
            let truth = f64::from(buffer) * span * 1.0002;
            let measured = truth + if buffer % 2 == 0 { 0.0 } else { 8e6 };
            let smoothed = steady.observe(measured, span);
            if buffer > 100 {
                worst = worst.max((smoothed - truth - 4e6).abs());
            }
        }
        assert!(worst < 0.5e6, "within 0.5 ms of the mean lump: {worst} ns");
        let late = 500.0 * span + 400e6;
        assert_eq!(steady.observe(late, span), late);
    }

    #[test]
    fn a_gap_of_some_milliseconds_is_believed_within_half_a_second() {
        // The device ran dry and played nothing for 30 ms; its buffers of 85 ms are told of with 3 ms of jitter.
        let span = 85e6;
        for gap in [12e6, 30e6, 45e6, -20e6] {
            let mut steady = Steady::default();
            let jitter = |buffer: usize| [0.0, 3e6, -3e6, 1e6, -2e6][buffer % 5];
            for buffer in 0..100 {
                steady.observe(buffer as f64 * span + jitter(buffer), span);
            }
            let mut off = f64::INFINITY;
            for buffer in 100..106 {
                let truth = buffer as f64 * span + gap;
                off = (steady.observe(truth + jitter(buffer), span) - truth).abs();
            }
            assert!(off < 3e6, "after a gap of {gap} ns it is {off} ns off");
        }
    }
}
