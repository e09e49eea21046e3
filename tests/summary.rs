//! The summary as a teacher reads it, for pieces with known shape. The wording is reviewed in the snapshots.

#[path = "support/signals.rs"]
#[allow(unreachable_pub, reason = "shared by every test binary")]
mod signals;

use farandole::grid::{Grid, Phrase};
use farandole::listening::{Character, Envelope, HeardGrid, Listening, Metre, Pulse, Sureness, describe};
use farandole::units::{SampleRate, Seconds};
use signals::{beat_times, pink_noise, sine};

const RATE: u32 = 44_100;

/// Tones on the beats, `duty` of a beat long, `level(i)` dBFS loud, with the beats as their grid.
fn piece(
    beats: &[f64],
    in_bar: usize,
    in_phrase: usize,
    duty: f64,
    pulse: Pulse,
    level: impl Fn(usize) -> Option<f64>,
) -> Listening {
    let mut sound = vec![0.0f32; ((beats[beats.len() - 1] + 1.0) * f64::from(RATE)) as usize];
    for (i, pair) in beats.windows(2).enumerate() {
        let Some(level) = level(i) else { continue };
        let note =
            sine(RATE, 220.0 * 2f64.powf((i * 7 % 12) as f64 / 12.0), level, duty * (pair[1] - pair[0]));
        let first = (pair[0] * f64::from(RATE)) as usize;
        sound[first..first + note.len()].copy_from_slice(&note);
    }
    let bars: Vec<usize> = (0..beats.len()).step_by(in_bar).collect();
    let letters = ["A", "B"];
    let phrases = (0..beats.len())
        .step_by(in_phrase)
        .enumerate()
        .map(|(n, start)| Phrase { start, letter: letters[n % 2].into() })
        .collect();
    let sureness = vec![Sureness(0.9); bars.len()];
    let grid = Grid::new(beats.iter().copied().map(Seconds).collect(), bars, phrases).expect("ascending");
    let metres = vec![Metre { from: 0, beats: in_bar as u8, compound: false }];
    describe(&Envelope::of(&sound, 1, SampleRate(RATE)), HeardGrid { pulse, grid, sureness, metres })
}

fn unbeaten(sound: &[f32]) -> Listening {
    let none = HeardGrid { pulse: Pulse::None, grid: Grid::default(), sureness: vec![], metres: vec![] };
    describe(&Envelope::of(sound, 1, SampleRate(RATE)), none)
}

fn read(listening: &Listening) -> String {
    listening.summary.join("\n")
}

#[test]
fn a_march_that_grows_faster_and_louder() {
    let along = |i: usize| (i as f64 - 32.0).clamp(0.0, 96.0) / 96.0;
    let beats = beat_times(0.5, 144, |i| 84.0 * 2.4f64.powf(along(i)));
    let told = piece(&beats, 4, 16, 0.4, Pulse::Clear, |i| Some(-40.0 + 24.0 * along(i)));
    insta::assert_snapshot!(read(&told));
    let character = Character::of(&told);
    assert!((character.tempo_ratio - 2.4).abs() < 0.15, "{character:?}");
    assert!(character.level_span.0 > 18.0, "{character:?}");
}

#[test]
fn a_steady_waltz_with_echoes_and_a_rest() {
    let beats = beat_times(0.5, 96, |_| 132.0);
    let told = piece(&beats, 3, 24, 0.97, Pulse::Clear, |i| match i {
        45..48 => None,
        24..48 | 72..96 => Some(-30.0),
        _ => Some(-18.0),
    });
    insta::assert_snapshot!(read(&told));
}

#[test]
fn a_doubtful_slow_piece_that_is_recorded_softly() {
    let beats = beat_times(0.5, 40, |_| 56.0);
    let told = piece(&beats, 4, 8, 0.97, Pulse::Unsure, |_| Some(-52.0));
    insta::assert_snapshot!(read(&told));
}

#[test]
fn a_swell_without_a_beat() {
    let mut sound = pink_noise(RATE, -40.0, 40.0, 6);
    for (n, sample) in sound.iter_mut().enumerate() {
        let t = n as f64 / f64::from(RATE);
        *sample *= 10f64.powf(16.0 * ((t - 10.0) / 15.0).clamp(0.0, 1.0) / 20.0) as f32;
    }
    insta::assert_snapshot!(read(&unbeaten(&sound)));
}

#[test]
fn silence_and_a_snippet_are_told_in_two_sentences() {
    insta::assert_snapshot!(read(&unbeaten(&vec![0.0; RATE as usize * 61])));
    insta::assert_snapshot!(read(&unbeaten(&sine(RATE, 440.0, -20.0, 1.0))));
}

#[test]
fn cut_off_peaks_are_told() {
    let loud: Vec<f32> = sine(RATE, 440.0, 6.0, 12.0).into_iter().map(|x| x.clamp(-1.0, 1.0)).collect();
    assert!(read(&unbeaten(&loud)).contains("cut off"));
    assert!(!read(&unbeaten(&sine(RATE, 440.0, -0.5, 12.0))).contains("cut off"));
}
