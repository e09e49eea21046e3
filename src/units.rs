//! Units of measure: one type each, and the only place where one is turned into another.
//!
//! Musical time and clock time are kept apart: a [`Beat`] has no length in seconds until a
//! grid gives it one. Within each kind, an instant ([`Beat`], [`Seconds`]) is measured from the start of the
//! recording's grid or of its sound.

use serde::{Deserialize, Serialize};
use std::fmt;

/// Defines an ordered newtype over `f64` whose JSON form is a bare number.
macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub f64);

        impl $name {
            /// A total order (IEEE 754 `totalOrder`), for sorting and `max_by`.
            #[must_use]
            pub fn total_cmp(&self, other: &Self) -> std::cmp::Ordering {
                self.0.total_cmp(&other.0)
            }
        }
    };
}

quantity! {
    /// Clock time in seconds: an instant from the first sample of the trimmed recording, or a span.
    Seconds
}
quantity! {
    /// A position in the grid: 0 is its first beat, 0.5 half-way to the second.
    Beat
}
quantity! {
    /// A span of musical time in counts (one count is one beat of the grid); never negative in a valid dance.
    Counts
}
quantity! {
    /// Tempo in beats a minute.
    Bpm
}
quantity! {
    /// Absolute loudness in LUFS (ITU-R BS.1770); silence is negative infinity.
    Lufs
}
quantity! {
    /// A difference of loudness in loudness units; 1 LU is 1 dB.
    Lu
}
quantity! {
    /// A level ratio in decibels.
    Decibels
}

/// Frames of audio: one sample for each channel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Frames(pub u64);

/// Frames a second; never zero in a decoded recording.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct SampleRate(pub u32);

impl Seconds {
    /// The nearest whole frame; a negative or non-finite time is frame 0.
    #[must_use]
    pub fn to_frames(self, rate: SampleRate) -> Frames {
        // `as` saturates: NaN and negatives become 0.
        Frames((self.0 * f64::from(rate.0)).round() as u64)
    }

    /// The span between two instants, negative when `earlier` is later.
    #[must_use]
    pub fn since(self, earlier: Self) -> Self {
        Self(self.0 - earlier.0)
    }

    /// The instant `span` later.
    #[must_use]
    pub fn plus(self, span: Self) -> Self {
        Self(self.0 + span.0)
    }
}

impl Frames {
    /// The time that this many frames take at `rate`.
    #[must_use]
    pub fn to_seconds(self, rate: SampleRate) -> Seconds {
        // Exact up to 2^53 frames, some 1,500 years at 192 kHz.
        Seconds(self.0 as f64 / f64::from(rate.0))
    }
}

impl Bpm {
    /// The length of one beat; infinite at 0 BPM.
    #[must_use]
    pub fn beat_length(self) -> Seconds {
        Seconds(60.0 / self.0)
    }

    /// The tempo at which one beat lasts `span`.
    #[must_use]
    pub fn from_beat_length(span: Seconds) -> Self {
        Self(60.0 / span.0)
    }
}

impl Beat {
    /// The position `span` later.
    #[must_use]
    pub fn plus(self, span: Counts) -> Self {
        Self(self.0 + span.0)
    }

    /// The span from `earlier` to here, negative when `earlier` is later.
    #[must_use]
    pub fn since(self, earlier: Self) -> Counts {
        Counts(self.0 - earlier.0)
    }

    /// The whole beat at or before this position; negative positions give 0.
    #[must_use]
    pub fn index(self) -> usize {
        self.0.max(0.0).floor() as usize
    }

    /// Whether the position is on a whole beat, within a thousandth (the precision a dance is saved with).
    #[must_use]
    pub fn is_whole(self) -> bool {
        (self.0 - self.0.round()).abs() < 0.0015
    }
}

impl From<usize> for Beat {
    fn from(index: usize) -> Self {
        Self(index as f64)
    }
}

impl Lufs {
    /// How much louder this is than `other`.
    #[must_use]
    pub fn above(self, other: Self) -> Lu {
        Lu(self.0 - other.0)
    }
}

impl Decibels {
    /// The factor by which an amplitude grows.
    #[must_use]
    pub fn amplitude(self) -> f64 {
        10f64.powf(self.0 / 20.0)
    }
}

impl Seconds {
    /// A place on the clock, in minutes and the seconds that have gone by, as a clock shows it: `1:07` for 67.9. Times
    /// before the start are `0:00`.
    #[must_use]
    pub fn clock(self) -> String {
        Self(self.0.max(0.0).floor()).minutes()
    }

    /// A length in minutes and the nearest second: `1:08` for 67.9. Negative ones are `0:00`.
    #[must_use]
    pub fn minutes(self) -> String {
        let seconds = self.0.max(0.0).round() as u64;
        format!("{}:{:02}", seconds / 60, seconds % 60)
    }
}

/// Minutes, seconds and tenths, as on a stopwatch: `1:07.3`; a negative time is shown with a minus sign.
impl fmt::Display for Seconds {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let tenths = (self.0.abs() * 10.0).round() as u64;
        let sign = if self.0 < 0.0 && tenths > 0 { "-" } else { "" };
        let (minutes, rest) = (tenths / 600, tenths % 600);
        write!(f, "{sign}{minutes}:{:02}.{}", rest / 10, rest % 10)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stopwatch_carries_into_the_next_minute() {
        assert_eq!(Seconds(59.96).to_string(), "1:00.0");
        assert_eq!(Seconds(67.34).to_string(), "1:07.3");
        assert_eq!(Seconds(-0.04).to_string(), "0:00.0");
        assert_eq!(Seconds(-1.0).to_string(), "-0:01.0");
    }

    #[test]
    fn frames_and_seconds_agree_at_common_rates() {
        for rate in [8_000, 22_050, 44_100, 48_000, 96_000, 192_000] {
            let rate = SampleRate(rate);
            for frames in [0, 1, 1_105, 44_100, 10_000_019] {
                assert_eq!(Frames(frames).to_seconds(rate).to_frames(rate), Frames(frames));
            }
        }
        assert_eq!(Seconds(f64::NAN).to_frames(SampleRate(48_000)), Frames(0));
        assert_eq!(Seconds(-3.0).to_frames(SampleRate(48_000)), Frames(0));
    }
}
