//! Listening to what nobody should play: whatever the samples, the rate, the channels, the pieces and the anchors, there
//! is an answer within bounded time, and every number in it is one.

#[path = "support/signals.rs"]
#[allow(unreachable_pub, reason = "other tests include it too")]
mod signals;

use farandole::grid::{Anchor, Level};
use farandole::listening::{Listener, Listening, Pulse};
use farandole::units::{SampleRate, Seconds};
use proptest::prelude::*;
use signals::Random;
use std::sync::mpsc::{RecvTimeoutError, channel};
use std::time::Duration;

/// The longest that one case may take, most of it waiting for a busy machine: these are a few seconds of sound.
const PATIENCE: Duration = Duration::from_secs(60);

/// A stretch of sound, or of what passes for it.
#[derive(Debug, Clone)]
enum Stretch {
    Silence,
    /// Every sample at this value: a defective converter.
    Constant(f32),
    /// Noise of this size.
    Noise(f32),
    /// The highest frequency there is, full swing.
    Alternating(f32),
    /// Ticks this many to the second.
    Ticks(f32, f32),
    /// A tone gliding from one frequency to another.
    Glide(f32, f32, f32),
    /// Bits taken for samples; what is not a number is silenced by decoding, and so here.
    Bits(u64),
}

fn size() -> impl Strategy<Value = f32> {
    prop_oneof![
        0.0f32..1.0,
        Just(1.0),
        Just(32_768.0),
        Just(f32::MAX),
        Just(-f32::MAX),
        Just(f32::MIN_POSITIVE),
        Just(1e-42),
    ]
}

fn stretch() -> impl Strategy<Value = Stretch> {
    prop_oneof![
        Just(Stretch::Silence),
        size().prop_map(Stretch::Constant),
        size().prop_map(Stretch::Noise),
        size().prop_map(Stretch::Alternating),
        (0.2f32..60.0, size()).prop_map(|(often, size)| Stretch::Ticks(often, size)),
        (1.0f32..20_000.0, 1.0f32..20_000.0, size()).prop_map(|(a, b, size)| Stretch::Glide(a, b, size)),
        any::<u64>().prop_map(Stretch::Bits),
    ]
}

impl Stretch {
    /// `frames` of it, each channel a little different.
    fn samples(&self, frames: usize, channels: usize, rate: u32) -> Vec<f32> {
        let mut random = Random(frames as u64 ^ 0x5eed);
        let mut bits = if let Self::Bits(seed) = self { Random(*seed) } else { Random(0) };
        let mut phase = 0.0f64;
        let mut out = Vec::with_capacity(frames * channels);
        for frame in 0..frames {
            if let Self::Glide(from, to, _) = self {
                let share = frame as f32 / frames as f32;
                phase += f64::from(from + (to - from) * share) / f64::from(rate);
            }
            for channel in 0..channels {
                let sample = match self {
                    Self::Silence => 0.0,
                    Self::Constant(value) => *value,
                    Self::Noise(size) => random.next() as f32 * size,
                    Self::Alternating(size) => {
                        if frame % 2 == channel % 2 {
                            *size
                        } else {
                            -size
                        }
                    }
                    Self::Ticks(often, size) => {
                        let every = (rate as f32 / often) as usize + 1;
                        if frame % every == 0 { *size } else { 0.0 }
                    }
                    Self::Glide(_, _, size) => (phase * std::f64::consts::TAU).sin() as f32 * size,
                    Self::Bits(_) => f32::from_bits((bits.next() * f64::from(1u32 << 31)) as i64 as u32),
                };
                out.push(if sample.is_finite() { sample } else { 0.0 });
            }
        }
        out
    }
}

fn instant() -> impl Strategy<Value = Seconds> {
    prop_oneof![-5.0f64..20.0, Just(f64::NAN), Just(f64::INFINITY), Just(-1e300), Just(0.0)].prop_map(Seconds)
}

fn anchor() -> impl Strategy<Value = Anchor> {
    prop_oneof![
        4 => instant().prop_map(|at| Anchor::Tap { at }),
        1 => instant().prop_map(|at| Anchor::Beat { at }),
        1 => instant().prop_map(|at| Anchor::BarStart { at }),
        1 => instant().prop_map(|at| Anchor::CountOne { at }),
        1 => (instant(), prop_oneof![Just(Level::Double), Just(Level::Half)])
            .prop_map(|(from, level)| Anchor::Level { from, level }),
        1 => instant().prop_map(|from| Anchor::ShiftHalf { from }),
        1 => (instant(), any::<u8>()).prop_map(|(from, beats)| Anchor::Metre { from, beats }),
        1 => (instant(), any::<u16>()).prop_map(|(from, counts)| Anchor::PhraseLength { from, counts }),
        2 => (instant(), instant()).prop_map(|(at, until)| Anchor::Hold { at, until }),
    ]
}

fn rate() -> impl Strategy<Value = u32> {
    prop_oneof![Just(8_000u32), Just(22_050), Just(44_100), Just(48_000), Just(192_000), 8_000u32..192_000]
}

/// Listens on a thread of its own; fails when it panics or takes longer than [`PATIENCE`].
fn heard(samples: Vec<f32>, channels: u16, rate: u32, pieces: Vec<usize>, anchors: Vec<Anchor>) -> Listening {
    let (tell, told) = channel();
    let ears = std::thread::spawn(move || {
        let mut listener = Listener::new(channels, SampleRate(rate));
        let mut rest = &samples[..];
        for frames in pieces.iter().cycle() {
            if rest.is_empty() {
                break;
            }
            let (piece, later) = rest.split_at((frames * usize::from(channels)).min(rest.len()));
            listener.push(piece);
            rest = later;
        }
        let _ = tell.send(listener.finish(&anchors).0);
    });
    match told.recv_timeout(PATIENCE) {
        Ok(listening) => listening,
        Err(RecvTimeoutError::Timeout) => panic!("still listening after {PATIENCE:?}"),
        Err(RecvTimeoutError::Disconnected) => match ears.join() {
            Err(panic) => std::panic::resume_unwind(panic),
            Ok(()) => unreachable!("a thread that ends well has told"),
        },
    }
}

/// Every number is one and lies where it can; JSON keeps all of it (it has no way to write what is not a number).
fn assert_sound(heard: &Listening, length: f64) -> Result<(), TestCaseError> {
    let json = serde_json::to_string(heard).expect("plain data");
    let back: Listening =
        serde_json::from_str(&json).map_err(|e| TestCaseError::fail(format!("{e}: {json}")))?;
    prop_assert_eq!(&back, heard);
    prop_assert!((heard.length.0 - length).abs() < 1e-6, "{} and {length}", heard.length.0);
    prop_assert_eq!(heard.tempo.len(), heard.grid.len());
    prop_assert_eq!(heard.phrases.len(), heard.grid.phrases().len());
    prop_assert_eq!(heard.sureness.len(), heard.grid.bars().len());
    prop_assert!(heard.grid.beats().iter().all(|beat| (0.0..=length + 1.0).contains(&beat.0)));
    prop_assert!(heard.sureness.iter().all(|s| (0.0..=1.0).contains(&s.0)), "{:?}", heard.sureness);
    prop_assert!(heard.tempo.iter().all(|point| point.bpm.0 > 0.0 && point.bpm.0 < 1e4));
    prop_assert!(
        heard.turns.iter().all(|turn| turn.start <= turn.end && (0.0..=1.0).contains(&turn.sureness.0))
    );
    prop_assert!(heard.phrases.iter().all(|phrase| (1..=5).contains(&phrase.energy)));
    prop_assert!(heard.grid.is_empty() || matches!(heard.pulse, Pulse::Clear | Pulse::Unsure));
    prop_assert!(!heard.summary.is_empty() && heard.summary.iter().all(|line| !line.contains("NaN")));
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, max_shrink_iters: 200, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn whatever_is_played_there_is_a_sound_answer(
        stretches in prop::collection::vec((stretch(), 0.0f32..4.0), 0..4),
        rate in rate(),
        channels in prop_oneof![4 => 1u16..=2, 1 => 3u16..=32],
        pieces in prop::collection::vec(1usize..40_000, 1..4),
        anchors in prop::collection::vec(anchor(), 0..6),
    ) {
        // As many seconds of many channels as of one would take as many times as long.
        let share = 1.0 / (f32::from(channels) / 2.0).max(1.0) / (rate as f32 / 48_000.0).max(1.0);
        let samples: Vec<f32> = stretches
            .iter()
            .flat_map(|(stretch, seconds)| {
                let frames = (seconds * share * rate as f32) as usize;
                stretch.samples(frames, usize::from(channels), rate)
            })
            .collect();
        let length = (samples.len() / usize::from(channels)) as f64 / f64::from(rate);
        let heard = heard(samples, channels, rate, pieces, anchors);
        assert_sound(&heard, length)?;
    }
}

#[test]
fn nothing_and_next_to_nothing_are_too_short() {
    for (frames, channels, rate) in
        [(0, 1, 44_100), (1, 2, 48_000), (1, 32, 192_000), (7, 1, 8_000), (220, 1, 22_050)]
    {
        let heard = heard(vec![0.5; frames * usize::from(channels)], channels, rate, vec![1_000], Vec::new());
        assert_eq!(heard.pulse, Pulse::TooShort, "{frames} frames");
        assert_sound(&heard, frames as f64 / f64::from(rate)).unwrap_or_else(|error| panic!("{error}"));
    }
}

#[test]
fn anchors_in_no_sound_are_taken() {
    for at in [0.0, 0.01, 0.5, -1.0, 1e9, f64::NAN, f64::INFINITY].map(Seconds) {
        for anchor in [
            Anchor::Tap { at },
            Anchor::Beat { at },
            Anchor::BarStart { at },
            Anchor::CountOne { at },
            Anchor::Level { from: at, level: Level::Double },
            Anchor::ShiftHalf { from: at },
            Anchor::Metre { from: at, beats: 0 },
        ] {
            for frames in [0, 1, 300, 8_000] {
                let heard = heard(vec![0.1; frames], 1, 8_000, vec![1_000], vec![anchor.clone(); 3]);
                assert_sound(&heard, frames as f64 / 8_000.0)
                    .unwrap_or_else(|error| panic!("{anchor:?} in {frames} frames: {error}"));
            }
        }
    }
}

#[test]
fn a_recording_thousands_of_times_too_loud_is_heard_like_itself() {
    let clicks = signals::clicks(22_050, &signals::beat_times(0.5, 24, |_| 120.0), 13.0, |_| 1.0);
    // What comes of writing 16-bit numbers into a float file as they are.
    let loud: Vec<f32> = clicks.iter().map(|sample| sample * 32_768.0).collect();
    let beats = |samples: Vec<f32>| {
        heard(samples, 1, 22_050, vec![5_000], Vec::new())
            .grid
            .beats()
            .iter()
            .map(|b| b.0)
            .collect::<Vec<_>>()
    };
    let (usual, loud) = (beats(clicks), beats(loud));
    assert!(usual.len() >= 20, "{usual:?}");
    assert!(
        usual.len() == loud.len() && usual.iter().zip(&loud).all(|(a, b)| (a - b).abs() < 2e-3),
        "{loud:?}"
    );
}
