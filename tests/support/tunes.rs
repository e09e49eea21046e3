//! Tunes with harmony, made up note by note from a letter, and performances of them whose beats are known.

#![allow(dead_code, reason = "every test binary uses its own share of these")]

use crate::signals::Random;
use std::f64::consts::TAU;

/// Beats in a section.
pub(crate) const SECTION: usize = 16;

/// How a tune is played.
pub(crate) struct Manner<'a> {
    /// Tempo by beat, beats a minute.
    pub(crate) bpm: &'a dyn Fn(usize) -> f64,
    /// When the first beat comes, seconds.
    pub(crate) start: f64,
    /// Semitones up.
    pub(crate) up: f64,
    /// Strength of each overtone: what it is played on.
    pub(crate) overtones: &'a [f64],
    /// How long a note rings, as a share of its length.
    pub(crate) ring: f64,
}

/// Plays one section of sixteen beats for each letter, the same letter always the same music. Gives mono samples and
/// the time of every beat.
pub(crate) fn play(rate: u32, sections: &str, manner: &Manner<'_>) -> (Vec<f32>, Vec<f64>) {
    let phrases: Vec<(u8, usize)> = sections.bytes().map(|letter| (letter, SECTION / 4)).collect();
    play_phrases(rate, &phrases, false, manner)
}

/// The same with phrases of any number of bars of four; with a pickup, each begins with the beat before its first bar.
pub(crate) fn play_phrases(
    rate: u32,
    phrases: &[(u8, usize)],
    pickup: bool,
    manner: &Manner<'_>,
) -> (Vec<f32>, Vec<f64>) {
    let before = usize::from(pickup);
    let beats = before + phrases.iter().map(|phrase| 4 * phrase.1).sum::<usize>();
    let mut times = vec![manner.start];
    for beat in 0..beats {
        times.push(times[beat] + 60.0 / (manner.bpm)(beat));
    }
    let mut out = vec![0.0f32; ((times[beats] + 1.0) * f64::from(rate)) as usize];
    let mut first = before;
    for &(letter, bars) in phrases {
        let mut random = Random(u64::from(letter) * 7919);
        // `Random` gives -1 to 1.
        let mut pick =
            |from: &[i32]| from[((0.5 + 0.5 * random.next()) * from.len() as f64) as usize % from.len()];
        if pickup {
            let (at, next) = (times[first - 1], times[first]);
            note(&mut out, rate, manner, (at, 0.5 * (at + next)), 79, 0.15);
            note(&mut out, rate, manner, (0.5 * (at + next), next), 81, 0.12);
        }
        for bar in 0..bars {
            // Steps of the major scale; the last bar comes home.
            let root = if bar + 1 == bars { 0 } else { pick(&[0, 5, 7, 9, 2]) };
            for beat in 0..4 {
                let index = first + bar * 4 + beat;
                let (at, next) = (times[index], times[index + 1]);
                if beat == 0 {
                    note(&mut out, rate, manner, (at, times[(index + 2).min(beats)]), 48 + root, 0.3);
                    note(&mut out, rate, manner, (at, next), 60 + root + 4, 0.12);
                }
                let accent = if beat == 0 { 0.3 } else { 0.2 };
                let (tune, rest) = (pick(&[0, 4, 7, 2, 11]), pick(&[0, 1]) == 1);
                // The next phrase's pickup is in the place of the last beat.
                let taken = pickup && bar + 1 == bars && beat == 3;
                if !taken {
                    note(&mut out, rate, manner, (at, next), 72 + root + tune, accent);
                }
                if rest {
                    let half = 72 + root + pick(&[0, 4, 7]);
                    if !taken {
                        note(&mut out, rate, manner, (0.5 * (at + next), next), half, 0.12);
                    }
                }
            }
        }
        first += 4 * bars;
    }
    (out, times[..beats].to_vec())
}

fn note(out: &mut [f32], rate: u32, manner: &Manner<'_>, (at, next): (f64, f64), pitch: i32, level: f64) {
    let hz = 440.0 * ((f64::from(pitch - 69) + manner.up) / 12.0).exp2();
    let seconds = (next - at) * manner.ring;
    let first = (at * f64::from(rate)) as usize;
    for n in 0..(1.5 * seconds * f64::from(rate)) as usize {
        let Some(sample) = out.get_mut(first + n) else { return };
        let t = n as f64 / f64::from(rate);
        let shape = level * (t / 0.005).min(1.0) * (-3.0 * t / seconds).exp();
        let tones = manner.overtones.iter().enumerate();
        *sample +=
            (shape * tones.map(|(k, a)| a * (TAU * hz * (k + 1) as f64 * t).sin()).sum::<f64>()) as f32;
    }
}
