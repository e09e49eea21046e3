//! A property of the ear: the same music begun later, cut at the front, louder, resampled or laid out on more channels
//! is counted alike. (Coders are in `formats_alike.rs`.)

#[path = "support/metrics.rs"]
mod metrics;
#[path = "support/signals.rs"]
#[allow(unreachable_pub, reason = "other tests include it too")]
mod signals;

use farandole::listening::{Pulse, decode, gather, mono_22050};
use farandole::units::SampleRate;
use proptest::prelude::*;
use signals::Random;
use std::f64::consts::TAU;
use std::ops::ControlFlow;

/// A tune over a bass and chords, whose beat nobody would doubt.
#[derive(Debug, Clone)]
struct Tune {
    /// Beats a minute at the beginning and at the end.
    tempo: (f64, f64),
    /// Beats in a bar.
    metre: usize,
    seed: u64,
}

impl Tune {
    const BEATS: usize = 64;

    fn times(&self) -> Vec<f64> {
        let (from, to) = self.tempo;
        let at = |beat: usize| from * (to / from).powf(beat as f64 / Self::BEATS as f64);
        signals::beat_times(0.5, Self::BEATS, at)
    }

    /// Mono samples.
    fn sound(&self, rate: u32) -> Vec<f32> {
        let times = self.times();
        let end = times[Self::BEATS - 1] + 1.5;
        let mut out = vec![0.0f32; (end * f64::from(rate)) as usize];
        let mut note = |at: f64, semitones: f64, level: f64, seconds: f64| {
            let hz = 110.0 * (semitones / 12.0).exp2();
            let first = (at * f64::from(rate)) as usize;
            let samples = out.iter_mut().skip(first).take((seconds * f64::from(rate)) as usize);
            for (n, sample) in samples.enumerate() {
                let t = n as f64 / f64::from(rate);
                let shape = level * (-4.0 * t / seconds).exp() * (t / 0.004).min(1.0);
                *sample += (shape * ((TAU * hz * t).sin() + 0.4 * (2.0 * TAU * hz * t).sin())) as f32;
            }
        };
        let mut random = Random(self.seed);
        let mut pick =
            |from: &[f64]| from[((random.next() + 1.0) * 0.5 * from.len() as f64) as usize % from.len()];
        let mut root = 0.0;
        for (beat, &at) in times.iter().enumerate() {
            let length = times.get(beat + 1).map_or(0.5, |next| next - at);
            if beat % self.metre == 0 {
                root = pick(&[0.0, 5.0, 7.0, 9.0]);
                note(at, root - 12.0, 0.3, 1.6 * length);
            } else {
                note(at, root + 16.0, 0.12, 0.6 * length);
                note(at, root + 19.0, 0.12, 0.6 * length);
            }
            note(at, root + 24.0 + pick(&[0.0, 4.0, 7.0]), 0.15, 0.9 * length);
            if pick(&[0.0, 1.0, 1.0]) == 0.0 {
                note(at + 0.5 * length, root + 24.0 + pick(&[2.0, 5.0, 7.0]), 0.1, 0.4 * length);
            }
        }
        out
    }
}

fn tune() -> impl Strategy<Value = Tune> {
    (84.0..140.0f64, 0.85..1.25f64, 3..5usize, any::<u64>()).prop_map(|(from, times, metre, seed)| Tune {
        tempo: (from, from * times),
        metre,
        seed,
    })
}

/// What is done to the sound of a tune.
#[derive(Debug, Clone)]
enum Change {
    /// Silence before it, seconds.
    Later(f64),
    /// So much is missing at the front, seconds.
    Cut(f64),
    /// Gain, dB.
    Gain(f32),
    /// Another sample rate.
    Rate(u32),
    /// On so many channels alike.
    Channels(usize),
}

fn change() -> impl Strategy<Value = Change> {
    prop_oneof![
        3 => (0.0..3.0f64).prop_map(Change::Later),
        3 => (1.0..10.0f64).prop_map(Change::Cut),
        1 => (-20.0..6.0f32).prop_map(Change::Gain),
        1 => prop::sample::select(vec![16_000, 22_050, 32_000, 48_000, 96_000]).prop_map(Change::Rate),
        1 => (2..7usize).prop_map(Change::Channels),
    ]
}

/// Beats in seconds, and the verdict.
fn heard(sound: &[f32], channels: u16, rate: u32) -> (Vec<f64>, Pulse) {
    let mono = mono_22050(sound, channels, SampleRate(rate));
    let evidence = gather(&mono, &mut |_| ControlFlow::Continue(())).expect("not stopped");
    let heard = decode(&evidence, &[]);
    (heard.grid.beats().iter().map(|beat| beat.0).collect(), heard.pulse)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 10, failure_persistence: None, ..ProptestConfig::default() })]
    /// Within 20 ms (median), and no more than one beat in twenty gained or lost, at the end that was changed or in all.
    #[test]
    fn the_same_music_is_counted_alike(tune in tune(), change in change()) {
        const RATE: u32 = 44_100;
        let sound = tune.sound(RATE);
        let (plain, pulse) = heard(&sound, 1, RATE);
        let frames = |seconds: f64| (seconds * f64::from(RATE)) as usize;
        let ((beats, other), moved) = match change {
            Change::Later(by) => (heard(&[vec![0.0; frames(by)], sound].concat(), 1, RATE), by),
            Change::Cut(by) => (heard(&sound[frames(by)..], 1, RATE), -by),
            Change::Gain(db) => {
                let gain = 10f32.powf(db / 20.0);
                (heard(&sound.iter().map(|s| s * gain).collect::<Vec<f32>>(), 1, RATE), 0.0)
            }
            Change::Rate(rate) => (heard(&tune.sound(rate), 1, rate), 0.0),
            Change::Channels(count) => {
                (heard(&signals::interleave(&sound, count), count as u16, RATE), 0.0)
            }
        };
        prop_assert_eq!(other, pulse);
        // What was cut off, and the first second after, where nothing is known of what came before, cannot be the same.
        let from = (-moved).max(0.0) + if moved < 0.0 { 1.0 } else { 0.0 };
        let wanted: Vec<f64> = plain.iter().copied().filter(|beat| *beat >= from).collect();
        let got: Vec<f64> = beats.iter().map(|beat| beat - moved).filter(|beat| *beat >= from).collect();
        let pairs = metrics::matches(&wanted, &got, 0.05);
        let (least, most) = (pairs.len() as f64 / 0.95, wanted.len().max(got.len()));
        prop_assert!(least >= most as f64, "{} of {} and {}", pairs.len(), wanted.len(), got.len());
        let mut off: Vec<f64> = pairs.iter().map(|(a, b)| (a - b).abs()).collect();
        off.sort_by(f64::total_cmp);
        prop_assert!(off[off.len() / 2] < 0.02, "{}", off[off.len() / 2]);
    }
}
