//! From a score to what is played: when each key goes down and up, and how hard, with the small unevenness
//! of people playing together. The unevenness depends on the score's seed alone, so a performance repeats exactly.

use crate::score::{Score, Voice};

/// Greatest distance of a note from its place in the score, in seconds; truth files rely on it.
pub const GREATEST_DEVIATION: f64 = 0.008;
/// Spread of the notes round their places (one standard deviation, seconds); ours, well below what is
/// heard as untidy.
const TIMING_SPREAD: f64 = 0.003;
/// Spread of velocity round the dynamics, one standard deviation.
const VELOCITY_SPREAD: f64 = 2.5;
/// Velocity that a written accent adds.
const ACCENT: f64 = 13.0;
/// Velocity that the first beat of a bar adds.
const METRICAL_ACCENT: f64 = 4.0;
/// How long drum keys without a touch of their own stay down, in seconds: releasing one sooner would cut
/// cymbals short.
const DRUM_LENGTH: f64 = 2.5;
/// A key must be up this long before it is struck again, in seconds.
const KEY_GAP: f64 = 0.004;

/// A key struck and let go.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stroke {
    /// MIDI channel, 0 to 15; 9 is the drum kit.
    pub channel: u8,
    /// MIDI key.
    pub key: u8,
    /// MIDI velocity, 1 to 127.
    pub velocity: u8,
    /// Where the score puts the note, in beats.
    pub beat: f64,
    /// When the key goes down, in seconds from the start of the recording.
    pub down: f64,
    /// When it goes up; always after `down`.
    pub up: f64,
    /// When it is meant to be heard: `down` plus what a slow instrument needs to speak.
    pub heard: f64,
}

/// The MIDI channel of every part, in order: drums on 9, the others on the rest.
pub fn channels(score: &Score) -> Vec<u8> {
    let mut free = (0u8..16).filter(|c| *c != 9);
    score
        .parts
        .iter()
        .map(|part| match part.voice {
            Voice::Drums => 9,
            Voice::Program(_) => free.next().unwrap_or(15),
        })
        .collect()
}

/// Every stroke of a performance, in order of time.
pub fn perform(score: &Score) -> Vec<Stroke> {
    let mut strokes = Vec::new();
    for (index, (part, channel)) in score.parts.iter().zip(channels(score)).enumerate() {
        for (number, note) in part.notes.iter().enumerate() {
            let mut chance = Chance::new(score.seed, index as u64, number as u64);
            let shift = (chance.bell() * TIMING_SPREAD).clamp(-GREATEST_DEVIATION, GREATEST_DEVIATION);
            let heard = (score.seconds_at(note.at) + shift).max(0.0);
            let down = (heard - part.ahead).max(0.0);
            let written = note.touch.or(part.touch);
            let up = match (part.voice, written) {
                (Voice::Drums, None) => down + DRUM_LENGTH,
                _ => {
                    let touch = written.unwrap_or_else(|| score.touch_at(note.at));
                    score.seconds_at(note.at + note.length * touch.share()) + shift
                }
            };
            let first_beat = score.metre.bars.iter().any(|bar| (bar - note.at).abs() < 1e-6);
            let velocity = score.dynamics.at(note.at)
                + part.louder
                + if note.accent { ACCENT } else { 0.0 }
                + if first_beat { METRICAL_ACCENT } else { 0.0 }
                + chance.bell() * VELOCITY_SPREAD;
            strokes.push(Stroke {
                channel,
                key: note.key,
                velocity: velocity.round().clamp(6.0, 127.0) as u8,
                beat: note.at,
                down,
                up: up.max(down + 0.02),
                heard,
            });
        }
    }
    strokes.sort_by(|a, b| a.down.total_cmp(&b.down).then(a.channel.cmp(&b.channel)).then(a.key.cmp(&b.key)));
    release_before_striking_again(&mut strokes);
    strokes
}

/// Letting a key go ends every sound of that key on its channel, also one struck in the meantime.
fn release_before_striking_again(strokes: &mut [Stroke]) {
    let mut next_down = [[f64::INFINITY; 128]; 16];
    for stroke in strokes.iter_mut().rev() {
        let next = &mut next_down[usize::from(stroke.channel)][usize::from(stroke.key)];
        stroke.up = stroke.up.min(*next - KEY_GAP).max(stroke.down + 0.001);
        *next = stroke.down;
    }
}

/// Random numbers that depend only on the seed, the part and the note: adding a part leaves the others as
/// they were. The mixing function is SplitMix64 (Steele, Lea and Flood, 2014).
struct Chance(u64);

impl Chance {
    fn new(seed: u64, part: u64, note: u64) -> Self {
        Self(seed ^ (part << 40) ^ (note << 8))
    }

    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((mixed ^ (mixed >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    /// About normal with mean 0 and standard deviation 1: three uniform numbers, each of variance 1/12, summed.
    fn bell(&mut self) -> f64 {
        (self.uniform() + self.uniform() + self.uniform() - 1.5) * 2.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chance_is_level_headed() {
        let draws: Vec<f64> = (0..20_000).map(|n| Chance::new(7, 1, n).bell()).collect();
        let mean = draws.iter().sum::<f64>() / draws.len() as f64;
        let variance = draws.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / draws.len() as f64;
        assert!(mean.abs() < 0.03, "{mean}");
        assert!((variance - 1.0).abs() < 0.05, "{variance}");
    }

    #[test]
    fn a_key_is_up_before_it_is_struck_again() {
        let stroke =
            |down, up| Stroke { channel: 0, key: 60, velocity: 80, beat: 0.0, down, up, heard: down };
        let mut strokes = vec![stroke(0.0, 2.0), stroke(1.0, 1.5)];
        release_before_striking_again(&mut strokes);
        assert_eq!(strokes[0].up, 1.0 - KEY_GAP);
        assert_eq!(strokes[1].up, 1.5);
    }
}
