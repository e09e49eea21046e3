//! Sound: playing a recording, and knowing which instant of it is *heard* right now.
//!
//! This room knows samples and clocks; it knows nothing of cues, moves or screens. That there is no sound device is
//! a state ([`Sound::NoDevice`]), not an error: the clock runs on, and the sound joins in when a device appears.
//!
//! Three parts: [`Transport`] is what the screen holds; a feed copies samples to the device inside its
//! callback, where it neither locks, allocates, opens nor prints; and a background thread (with the feature
//! `playback`) opens devices and notices when one is lost.

#[cfg(any(feature = "playback", test))]
mod attacks;
#[cfg(any(feature = "playback", test))]
mod click;
#[cfg(feature = "playback")]
mod device;
#[cfg(any(feature = "playback", test))]
mod feed;
#[cfg_attr(not(feature = "playback"), allow(dead_code, reason = "only a device is guarded"))]
mod guarded;
#[cfg(any(feature = "playback", test))]
mod handover;
#[cfg_attr(not(feature = "playback"), allow(dead_code, reason = "half of it serves the callback"))]
mod heard;
#[cfg(feature = "playback")]
mod output;
#[cfg(any(feature = "playback", test))]
mod prepare;
mod published;
mod shared;
mod speed;
#[cfg(any(feature = "playback", test))]
mod stretch;
mod transport;

#[doc(hidden)]
pub use guarded::fail_next_buffer;
pub use guarded::fault_is_caught;
pub use speed::Speed;
pub use transport::{Clock, HandClock, Transport};

use crate::recording::{Identity, Recording, Tags};
use crate::units::{SampleRate, Seconds};
use std::sync::Arc;

/// What a player is to play.
#[derive(Debug, Clone, Default)]
pub struct Programme {
    /// The recording; `None` plays silence (and clicks) of the length below.
    pub recording: Option<Recording>,
    /// Where the playing ends.
    pub length: Seconds,
    /// When a click sounds, ascending; may be negative (a count-in before the recording starts).
    pub clicks: Vec<Click>,
    /// How much later than the device says its sound is heard (a wireless loudspeaker, a projector's lead): -0.5 to 1 s.
    pub trim: Seconds,
    /// Open no device: the clock leads.
    pub silent: bool,
}

impl Programme {
    /// Clicks and nothing else, on a device that is opened for them.
    #[must_use]
    pub fn clicks_alone(clicks: Vec<Click>, length: Seconds) -> Self {
        // An empty recording, so that a device is opened at the rate that all have.
        let rate = 48_000;
        let recording = Recording {
            samples: Arc::from([]),
            channels: 1,
            rate: SampleRate(rate),
            identity: Identity { hash: String::new(), frames: 0, rate },
            tags: Tags::default(),
            warnings: Vec::new(),
        };
        Self { recording: Some(recording), length, clicks, ..Self::default() }
    }
}

/// One click.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Click {
    /// When it sounds.
    pub at: Seconds,
    /// Whether it is the higher click of a count one.
    pub high: bool,
    /// Whether it belongs to a count-in and sounds even when clicks are off.
    pub always: bool,
}

/// What can be heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Sound {
    /// A device plays.
    Sounding,
    /// A device is being opened for the first time.
    #[default]
    Opening,
    /// No device, or it was lost; one is looked for, at once and then every two seconds.
    NoDevice,
    /// There is nothing to play: the recording is missing.
    NoRecording,
    /// No sound was asked for.
    Silenced,
}

/// Where the music is.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Heard {
    /// The instant of the recording that is heard now; negative in a count-in.
    pub at: Seconds,
    /// Whether it is running.
    pub playing: bool,
    /// Whether anyone can hear it.
    pub sound: Sound,
    /// How often the device said that it ran dry since the start; each is a short gap in the sound.
    pub dry_runs: u64,
}

/// Plays one programme. The seam in front of clocks and devices: tests play with a clock moved by hand.
pub trait Player {
    /// Runs on from where it is.
    fn play(&mut self);
    /// Stops where it is.
    fn pause(&mut self);
    /// Goes to an instant, playing or not; before 0 is a count-in, after the end is the end.
    fn seek(&mut self, to: Seconds);
    /// Plays a span again and again, without a gap; `None` goes on past its end.
    fn repeat(&mut self, span: Option<(Seconds, Seconds)>);
    /// Clicks on the beats, or only in count-ins.
    fn click(&mut self, on: bool);
    /// Other clicks from now on, ascending: the beats were corrected. They sound from the next moment at which the device
    /// asks for sound.
    fn set_clicks(&mut self, clicks: Vec<Click>);
    /// Runs slower or faster from now on, at the same pitch.
    fn speed(&mut self, speed: Speed);
    /// How much later than the device says its sound is heard, from now on: -0.5 to 1 s.
    fn trim(&mut self, trim: Seconds);
    /// What the device is called, once one was opened.
    fn device(&self) -> Option<Arc<str>>;
    /// What is heard now.
    fn heard(&mut self) -> Heard;
}
