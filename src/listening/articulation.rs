//! Articulation: how much of the time to the next note a note sounds, read from the energy envelope.
//!
//! Pedal, room, thick texture and disc noise hide the gaps between notes, so the answer is often, and honestly,
//! "unclear". Class bounds follow Bresin and Battel (2000): staccato near 40 % of the time to the next note,
//! repeated notes near 60 %, legato up to the next note; the bounds between are ours (`docs/turns.md`).

use super::loudness::{Envelope, loudness};
use super::types::Articulation;
use std::ops::Range;

/// Under this share a note is short, under the next it is detached.
const STACCATO: f64 = 0.50;
const DETACHED: f64 = 0.80;
/// From this share on it is joined to the next; between, it is undecided.
const LEGATO: f64 = 0.90;
/// Least rise in LU over 40 ms that is taken for a new note.
const RISE: f64 = 4.0;
/// Blocks between two notes at least, and at most: 0.1 s to 2.5 s.
const GAP: Range<usize> = 10..250;
/// A gap shallower than this is none ...
const SHALLOW: f64 = 5.0;
/// ... and one shallower than this may be a real gap that noise or the room has filled (reference: confidence must
/// fall when the noise is less than 10 dB below the notes).
const DEEP: f64 = 10.0;
/// A level that falls more slowly than this (LU a second) is a string or bar ringing on, not a note let go; a hall
/// of 1 s reverberation falls by 60.
const LETTING_GO: f64 = 35.0;
/// Share of the time that must agree.
const AGREED: f64 = 0.55;

/// What was read, and how much of the time agreed (0 to 1).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Reading {
    pub articulation: Articulation,
    pub sureness: f64,
    /// New notes a second, as far as the envelope shows them.
    pub notes: f64,
}

/// Reads blocks `span` of the envelope. Unclear for an empty span.
pub(super) fn read(envelope: &Envelope, span: Range<usize>) -> Reading {
    let span = span.start.min(envelope.len())..span.end.min(envelope.len());
    let levels = smooth(&envelope.energies()[span]);
    let onsets = onsets(&levels);
    let seconds = levels.len() as f64 / 100.0;
    let notes = if seconds > 0.0 { onsets.len() as f64 / seconds } else { 0.0 };
    let unclear = Reading { articulation: Articulation::Unclear, sureness: 0.0, notes };
    if seconds < 1.0 {
        return unclear;
    }
    if notes < 0.5 {
        // No note stands out: one unbroken sound, or nothing to tell.
        let steady = steady_share(&levels);
        let joined = steady >= 0.9;
        return if joined {
            Reading { articulation: Articulation::Legato, sureness: 0.5 * steady, notes }
        } else {
            unclear
        };
    }
    let (mut short, mut detached, mut joined, mut all) = (0.0, 0.0, 0.0, 0.0);
    for pair in onsets.windows(2) {
        let length = pair[1] - pair[0];
        if !GAP.contains(&length) {
            continue;
        }
        let weight = length as f64;
        all += weight;
        match sounding_share(&levels, pair[0], pair[1]) {
            Some(share) if share < STACCATO => short += weight,
            Some(share) if share < DETACHED => detached += weight,
            Some(share) if share >= LEGATO => joined += weight,
            _ => {}
        }
    }
    if all < 0.3 * levels.len() as f64 {
        return unclear;
    }
    let (short, detached, joined) = (short / all, detached / all, joined / all);
    let (articulation, sureness) = if joined >= AGREED {
        (Articulation::Legato, joined)
    } else if short >= AGREED {
        (Articulation::Staccato, short)
    } else if short + detached >= AGREED && detached >= short {
        (Articulation::Detached, detached + 0.5 * short)
    } else {
        (Articulation::Unclear, 0.0)
    };
    Reading { articulation, sureness, notes }
}

/// Levels over 30 ms.
fn smooth(energies: &[f32]) -> Vec<f64> {
    (0..energies.len())
        .map(|i| {
            let near = &energies[i.saturating_sub(1)..(i + 2).min(energies.len())];
            loudness(near.iter().map(|e| f64::from(*e)).sum::<f64>() / near.len() as f64)
        })
        .collect()
}

/// Where the level rises by [`RISE`] or more: the steepest block of each rise, ascending.
fn onsets(levels: &[f64]) -> Vec<usize> {
    let rise = |i: usize| levels[(i + 2).min(levels.len() - 1)] - levels[i.saturating_sub(2)];
    let mut found: Vec<usize> = Vec::new();
    for i in 0..levels.len() {
        let here = rise(i);
        if here < RISE {
            continue;
        }
        match found.last().copied() {
            Some(last) if i - last < GAP.start => {
                if here > rise(last) {
                    *found.last_mut().unwrap_or(&mut 0) = i;
                }
            }
            _ => found.push(i),
        }
    }
    found
}

/// Which share of the time from one note to the next the first one sounds; `None` where that cannot be told.
fn sounding_share(levels: &[f64], from: usize, to: usize) -> Option<f64> {
    let length = to - from;
    let attack = from..from + (length / 2).clamp(5, 30).min(length);
    let top = attack.max_by(|&a, &b| levels[a].total_cmp(&levels[b]))?;
    let low = (top..to).min_by(|&a, &b| levels[a].total_cmp(&levels[b]))?;
    let depth = levels[top] - levels[low];
    if depth < SHALLOW {
        return Some(1.0);
    }
    if depth < DEEP {
        return None;
    }
    // Where the fall from the note into the gap begins: a line through two points of the fall, drawn back to the top.
    let passes = |below: f64| (top..=low).rev().find(|&i| levels[i] >= levels[top] - below).unwrap_or(top);
    let (upper, lower) = (3.0, 0.8 * depth.min(20.0));
    let (early, late) = (passes(upper) as f64, passes(lower) as f64);
    let speed = 100.0 * (lower - upper) / (late - early).max(1.0);
    if speed < LETTING_GO {
        return None;
    }
    let let_go = (early - upper / speed * 100.0).max(top as f64);
    Some((let_go - from as f64 + 1.0) / length as f64)
}

/// Share of blocks that lie within 6 LU of the loudest within half a second.
fn steady_share(levels: &[f64]) -> f64 {
    let steady = (0..levels.len())
        .filter(|&i| {
            let near = &levels[i.saturating_sub(25)..(i + 26).min(levels.len())];
            levels[i] > super::loudness::SILENCE && near.iter().all(|level| *level <= levels[i] + 6.0)
        })
        .count();
    steady as f64 / levels.len().max(1) as f64
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::SampleRate;

    /// Noise bursts every 500 ms that last `duty` of it and then fall by 60 dB in `reverberation` seconds.
    fn bursts(duty: f64, reverberation: f64) -> Reading {
        let mut state = 1u32;
        let sound: Vec<f32> = (0..48_000 * 12)
            .map(|n| {
                // A linear congruential generator (Numerical Recipes): any noise will do.
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let noise = f64::from(state) / f64::from(u32::MAX) - 0.5;
                let t = f64::from(n % 24_000) / 48_000.0;
                let gone = (t - 0.5 * duty).max(0.0);
                (0.2 * noise * 10f64.powf(-3.0 * gone / reverberation)) as f32
            })
            .collect();
        let envelope = Envelope::of(&sound, 1, SampleRate(48_000));
        read(&envelope, 0..envelope.len())
    }

    #[test]
    fn a_longer_hall_makes_it_less_sure() {
        // Valley before the next note: 60 dB times the gap over the reverberation time.
        let short = bursts(0.4, 0.1);
        assert_eq!(short.articulation, Articulation::Staccato);
        assert!(short.sureness > 0.9, "{short:?}");
        // A gap of 0.3 s in a hall of 2.5 s leaves a valley of 7 dB: too shallow to tell.
        let hidden = bursts(0.4, 2.5);
        assert_eq!(hidden.articulation, Articulation::Unclear);
        assert!(hidden.sureness < short.sureness);
    }

    #[test]
    fn notes_are_counted() {
        // Two bursts a second.
        assert!((bursts(0.4, 0.1).notes - 2.0).abs() < 0.1);
    }
}
