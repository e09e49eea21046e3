//! Reading on at another level, or on the off-beat, from where the teacher says so.
//!
//! "Twice as fast from here" refers to beats that were heard. They are searched for first without it; what she asks
//! for is then laid out from them, and the second search has to keep near that, except around her own beats.

use super::constraints::Constraints;
use super::pins::Pin;
use super::search::{BINS_PER_OCTAVE, STEPS_PER_SECOND, bin_of, bins_near};
use crate::grid::{Anchor, Level};
use std::ops::Range;

/// Beat lengths, in seconds, that are laid out.
const QUICKEST: f64 = 0.24;
const SLOWEST: f64 = 1.7;
/// Seconds around a pin in which the pin alone decides.
const PINNED: f64 = 4.0;
/// How far from where it was laid out a beat may be found, as a share of the beat, and how far its tempo, in bins.
const ROOM: f64 = 0.12;
/// The same in seconds for a beat that was heard already: it is where it is, whatever the beats around it are called.
const HEARD_ROOM: f64 = 0.04;
const TEMPO_ROOM: usize = (BINS_PER_OCTAVE / 4.0) as usize;

/// What is asked from some instant on.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Reading {
    Double,
    Half,
    OffBeat,
}

/// Everything that is asked, by ascending instant (seconds).
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Rereading {
    wishes: Vec<(f64, Reading)>,
}

impl Rereading {
    /// What `anchors` ask, or `None` if nothing.
    pub(crate) fn new(anchors: &[Anchor]) -> Option<Self> {
        let mut wishes: Vec<(f64, Reading)> = anchors
            .iter()
            .filter_map(|anchor| match *anchor {
                Anchor::Level { from, level: Level::Double } => Some((from.0, Reading::Double)),
                Anchor::Level { from, level: Level::Half } => Some((from.0, Reading::Half)),
                Anchor::ShiftHalf { from } => Some((from.0, Reading::OffBeat)),
                _ => None,
            })
            .filter(|(from, _)| from.is_finite())
            .collect();
        wishes.sort_by(|a, b| a.0.total_cmp(&b.0));
        (!wishes.is_empty()).then_some(Self { wishes })
    }

    /// From when on anything is asked.
    pub(crate) fn from(&self) -> f64 {
        self.wishes.first().map_or(f64::INFINITY, |wish| wish.0)
    }

    /// The beats that are asked for, from those heard without the wishes (seconds, ascending). `every_second` picks those that
    /// count, the first among them, where every second does.
    pub(super) fn laid_out(&self, heard: &[f64], every_second: impl Fn(&[f64]) -> Vec<f64>) -> Vec<f64> {
        let mut beats = heard.to_vec();
        for &(from, reading) in &self.wishes {
            // A wish at a beat means that beat, even if it is a little late.
            let slack = beats.windows(2).map(|w| w[1] - w[0]).fold(1.0, f64::min) * 0.3;
            let first = beats.partition_point(|&beat| beat < from - slack);
            let (kept, after) = beats.split_at(first);
            let middles = after.windows(2).map(|w| 0.5 * (w[0] + w[1]));
            let mut next = kept.to_vec();
            match reading {
                Reading::Double => {
                    next.extend(after.iter().copied().chain(middles));
                    next.sort_by(f64::total_cmp);
                }
                Reading::Half => next.extend(every_second(after)),
                Reading::OffBeat => next.extend(middles),
            }
            // Counts that nobody could move to are not laid out.
            let mut lengths: Vec<f64> = next.windows(2).skip(first).map(|w| w[1] - w[0]).collect();
            lengths.sort_by(f64::total_cmp);
            let usual = lengths.get(lengths.len() / 2).copied().unwrap_or(1.0);
            if next.len() >= 4 && (QUICKEST..=SLOWEST).contains(&usual) {
                beats = next;
            }
        }
        beats
    }

    /// Keeps the search near the beats that are asked for.
    pub(crate) fn constrain(
        &self,
        heard: &[f64],
        every_second: impl Fn(&[f64]) -> Vec<f64>,
        pins: &[Pin],
        constraints: &mut Constraints,
    ) {
        keep_near(&self.laid_out(heard, every_second), heard, 0.0..f64::INFINITY, pins, constraints);
        for &(from, _) in &self.wishes {
            loosen(from, constraints);
        }
    }
}

/// The first of some beats and every second after it, whatever the music says.
pub(super) fn alternate(beats: &[f64]) -> Vec<f64> {
    beats.iter().copied().step_by(2).collect()
}

/// Lets any change of tempo be bought around an instant (seconds).
pub(super) fn loosen(at: f64, constraints: &mut Constraints) {
    let steps = constraints.loose.len();
    let step = |at: f64| ((at * f64::from(STEPS_PER_SECOND)).max(0.0) as usize).min(steps);
    constraints.loose[step(at - 2.0)..step(at + 2.0)].fill(true);
}

/// Keeps the search, over a stretch of time, near the `beats` that are laid out, and makes it take each of them; around pins
/// the pins alone decide. `heard` are the beats that they were laid out from. All in seconds, ascending.
pub(super) fn keep_near(
    beats: &[f64],
    heard: &[f64],
    stretch: Range<f64>,
    pins: &[Pin],
    constraints: &mut Constraints,
) {
    let steps = constraints.allowed.len();
    let per_second = f64::from(STEPS_PER_SECOND);
    let step = |at: f64| ((at * per_second).max(0.0) as usize).min(steps);
    let Some(&last) = beats.last() else { return };
    let free = |at: f64| !stretch.contains(&at) || pins.iter().any(|pin| (pin.at - at).abs() < PINNED);
    let mut wanted = vec![false; steps];
    let mut asked: Vec<Range<usize>> = Vec::new();
    for (n, &beat) in beats.iter().enumerate() {
        let length = match (beats.get(n + 1), n.checked_sub(1)) {
            (Some(next), _) => next - beat,
            (None, Some(before)) => beat - beats[before],
            (None, None) => 0.5,
        };
        let here = heard.partition_point(|&other| other < beat - 1e-6);
        let was_heard = heard.get(here).is_some_and(|&other| other < beat + 1e-6);
        let most = if was_heard { HEARD_ROOM } else { f64::INFINITY };
        let room = (ROOM * length).min(most).max(1.5 / per_second);
        let window = step(beat - room)..step(beat + room + 1.0 / per_second);
        wanted[window.clone()].fill(true);
        // Each of them is asked for: none is left out to be spared a change of tempo.
        if !free(beat) {
            asked.push(window.clone());
            constraints.begin.end = constraints.begin.end.min(window.end + 1);
            constraints.end_from = constraints.end_from.max(window.start);
        }
        let bins = |length: f64| bins_near(bin_of((length * per_second) as f32) as isize, TEMPO_ROOM);
        // A beat is reached in the tempo before it and left in the one after.
        let before = n.checked_sub(1).map_or(length, |before| beat - beats[before]);
        let allowed = bins(length) | bins(before);
        let around = step(beat - 0.5 * length)..step(beat + 0.5 * length);
        for t in around.filter(|t| !free(*t as f64 / per_second)) {
            constraints.bins[t] = allowed;
        }
    }
    let mut done = 0;
    for (t, earliest) in constraints.earliest.iter_mut().enumerate() {
        while asked.get(done).is_some_and(|window| window.end <= t) {
            done += 1;
        }
        if let Some(window) = done.checked_sub(1).and_then(|last| asked.get(last)) {
            *earliest = (*earliest).max(window.start as u32);
        }
    }
    constraints.told = true;
    // Where the music goes on after what was laid out, it is searched as ever; but after the last of all beats nothing was
    // heard that counts, unless she tapped there.
    let goes_on = stretch.end.is_finite() || pins.iter().any(|pin| pin.at > last);
    let beyond = if goes_on { step(last + 1.0) } else { steps };
    for (t, (allowed, wanted)) in constraints.allowed.iter_mut().zip(&wanted).enumerate().take(beyond) {
        if !free(t as f64 / per_second) {
            *allowed &= wanted;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Seconds;

    fn laid_out(anchors: &[Anchor]) -> Vec<f64> {
        let heard: Vec<f64> = (0..6).map(|n| 0.6 * f64::from(n)).collect();
        Rereading::new(anchors).expect("something is asked").laid_out(&heard, alternate)
    }

    /// Times in beats of 0.6 s.
    fn in_beats(beats: &[f64]) -> Vec<f64> {
        beats.iter().map(|beat| (beat / 0.6 * 1e6).round() / 1e6).collect()
    }

    #[test]
    fn wishes_hold_from_where_they_are_made() {
        let from = Seconds(1.86);
        let double = Anchor::Level { from, level: Level::Double };
        for (wish, beats) in [
            (Anchor::ShiftHalf { from }, vec![0.0, 1.0, 2.0, 3.5, 4.5]),
            (Anchor::Level { from, level: Level::Half }, vec![0.0, 1.0, 2.0, 3.0, 5.0]),
            (double, vec![0.0, 1.0, 2.0, 3.0, 3.5, 4.0, 4.5, 5.0]),
        ] {
            assert_eq!(in_beats(&laid_out(&[wish])), beats);
        }
    }

    #[test]
    fn later_wishes_refer_to_what_earlier_ones_made() {
        let double = Anchor::Level { from: Seconds(0.6), level: Level::Double };
        let half = Anchor::Level { from: Seconds(1.8), level: Level::Half };
        assert_eq!(in_beats(&laid_out(&[half, double])), [0.0, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0]);
        assert!(Rereading::new(&[Anchor::Beat { at: Seconds(1.0) }]).is_none());
    }

    #[test]
    fn counts_that_nobody_could_move_to_are_not_laid_out() {
        let heard: Vec<f64> = (0..6).map(f64::from).collect();
        let half = Anchor::Level { from: Seconds(0.0), level: Level::Half };
        assert_eq!(Rereading::new(&[half]).expect("asked").laid_out(&heard, alternate), heard);
    }
}
