//! Articulation of tone pulses with known length: fixture T9 of the project's reference values, after Bresin and Battel
//! (2000): staccato lasts some 40 % of the time to the next note, repeated notes some 60 %, legato all of it.

#[path = "support/signals.rs"]
#[allow(unreachable_pub, reason = "shared by every test binary")]
mod signals;

use farandole::grid::{Grid, Phrase};
use farandole::listening::{Articulation, Envelope, HeardGrid, Metre, Pulse, Sureness, describe};
use farandole::units::{SampleRate, Seconds};
use signals::{Random, mix, white_noise};

const RATE: u32 = 48_000;

/// Notes every 500 ms that last `duty` of it, over two octaves, faded over 5 ms.
fn notes(duty: f64, count: usize) -> Vec<f32> {
    let rate = f64::from(RATE);
    let mut out = vec![0.0f32; (0.5 * count as f64 * rate) as usize];
    for note in 0..count {
        let hz = 220.0 * 2f64.powf((note * 7 % 24) as f64 / 12.0);
        let (first, length) = ((0.5 * note as f64 * rate) as usize, (0.5 * duty * rate) as usize);
        for n in 0..length.min(out.len() - first) {
            let (t, left) = (n as f64 / rate, (length - n) as f64 / rate);
            let fade = (t / 0.005).min(left / 0.005).min(1.0);
            out[first + n] += (0.1 * fade * (std::f64::consts::TAU * hz * t).sin()) as f32;
        }
    }
    out
}

/// A hall: the direct sound and a tail of random reflections that falls by 60 dB in `seconds`, as strong as it.
fn in_a_hall(dry: &[f32], seconds: f64) -> Vec<f32> {
    let mut random = Random(9);
    let taps: Vec<(usize, f32)> = (0..600)
        .map(|_| {
            let at = 0.5 * (random.next() + 1.0) * seconds;
            let gain = 10f64.powf(-3.0 * at / seconds) * random.next() * 0.2;
            ((at * f64::from(RATE)) as usize, gain as f32)
        })
        .collect();
    let mut out = dry.to_vec();
    for (delay, gain) in taps {
        for n in delay..out.len() {
            out[n] += gain * dry[n - delay];
        }
    }
    out
}

fn articulation(sound: &[f32]) -> Articulation {
    let count = sound.len() / (RATE as usize / 2);
    let beats = (0..count).map(|i| Seconds(0.5 * i as f64)).collect();
    let bars: Vec<usize> = (0..count).step_by(4).collect();
    let sureness = vec![Sureness(1.0); bars.len()];
    let grid = Grid::new(beats, bars, vec![Phrase { start: 0, letter: "A".into() }]).expect("ascending");
    let metres = vec![Metre { from: 0, beats: 4, compound: false }];
    let heard = HeardGrid { pulse: Pulse::Clear, grid, sureness, metres };
    describe(&Envelope::of(sound, 1, SampleRate(RATE)), heard).phrases[0].articulation
}

#[test]
fn t9_dry_notes_are_told_by_their_length() {
    for (duty, told) in [
        (0.25, Articulation::Staccato),
        (0.40, Articulation::Staccato),
        (0.60, Articulation::Detached),
        (0.85, Articulation::Unclear),
        (1.00, Articulation::Legato),
    ] {
        assert_eq!(articulation(&notes(duty, 24)), told, "{duty}");
    }
}

#[test]
fn t9_a_hall_may_hide_the_gaps_but_turns_nothing_into_its_opposite() {
    // The valley before the next note: 60 · gap / RT, here 30 dB less for a short note and 24 for 60 %.
    for (duty, wrong) in [
        (0.25, [Articulation::Legato, Articulation::Detached]),
        (0.40, [Articulation::Legato, Articulation::Legato]),
        (0.60, [Articulation::Legato, Articulation::Staccato]),
        (1.00, [Articulation::Staccato, Articulation::Detached]),
    ] {
        let told = articulation(&in_a_hall(&notes(duty, 24), 1.0));
        assert!(!wrong.contains(&told), "{duty}: {told:?}");
    }
    assert_eq!(articulation(&in_a_hall(&notes(0.25, 24), 1.0)), Articulation::Staccato);
}

#[test]
fn noise_close_under_the_notes_makes_it_unclear() {
    // Reference: confidence must fall when the noise is less than 10 dB below the notes.
    let level_of_notes = -23.0;
    let noisy = mix(notes(0.4, 24), &white_noise(RATE, level_of_notes - 7.0, 12.0, 5));
    assert_eq!(articulation(&noisy), Articulation::Unclear);
    let hiss = mix(notes(0.4, 24), &white_noise(RATE, level_of_notes - 30.0, 12.0, 5));
    assert_eq!(articulation(&hiss), Articulation::Staccato);
}

#[test]
fn speechless_noise_has_no_articulation_that_is_short() {
    let told = articulation(&signals::pink_noise(RATE, -25.0, 12.0, 8));
    assert!(!matches!(told, Articulation::Staccato | Articulation::Detached), "{told:?}");
}
