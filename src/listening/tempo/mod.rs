//! Tempo over the beats of a grid: what each beat's tempo is, once jitter and held notes are set aside.
//!
//! Works on beat times alone; how beats are found is not known here.

mod words;

pub use words::TempoWord;

use super::segments::{Price, Segment, fit, noise, running_median};
use super::types::TempoPoint;
use crate::grid::Grid;
use crate::units::{Bpm, Seconds};

/// Longer than this many times its neighbours, a beat is held and tells nothing about the tempo.
const HELD: f64 = 1.7;
/// An attack this near a beat, in seconds, is that beat's.
const TOUCHING: f64 = 0.1;
/// How many beats on either side a still stretch may bend.
const BENT: usize = 2;
/// How many beats on either side a held beat is compared with.
const NEIGHBOURS: usize = 4;
/// Beats on either side of the running median from which a player's wavering is told: two bars or three.
const WAVERING: usize = 10;
/// How many beats wavering binds together at most.
const MOST_BOUND: f64 = 4.0;
/// Least noise of one beat's length, as a share: the best ears tell 1.5 % (Drake and Botte 1993).
const LEAST_NOISE: f64 = 0.015;
/// A change of at least this share between one beat and the next is sudden (reference: 4 to 6 % is just noticed over
/// 1 to 2 beats, Drake and Botte 1993; 6 % is ours).
pub(super) const SUDDEN: f64 = 0.06;
/// Width of the smoothing window, in beats (standard deviation).
const SMOOTHING: f64 = 1.6;

/// A beat held much longer than its neighbours.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Hold {
    /// The beat.
    pub beat: usize,
    /// How many times its expected length it lasts.
    pub times: f64,
}

/// The tempo of a grid as straight pieces.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Pace {
    /// Natural logarithm of the BPM from each beat to the next; held beats carry their neighbours' tempo.
    pub logs: Vec<f64>,
    /// Beats that are held.
    pub holds: Vec<Hold>,
    /// Noise of one value of `logs`.
    pub noise: f64,
    /// Level and sloping pieces of `logs`.
    pub pieces: Vec<Segment>,
}

impl Pace {
    /// Reads a grid; empty for fewer than two beats. Beats that pass in one of the `rests` (start and end, ascending) are
    /// counted, not heard: they tell nothing about the tempo.
    /// So do those in `stills` (the same), where the next attack is long in coming, and those they bend.
    pub(super) fn of(grid: &Grid, rests: &[(Seconds, Seconds)], stills: &[(Seconds, Seconds)]) -> Self {
        let mut logs: Vec<f64> =
            grid.beats().windows(2).map(|pair| (60.0 / (pair[1].0 - pair[0].0)).ln()).collect();
        pass_over_rests(&mut logs, grid, rests);
        pass_over_stills(&mut logs, grid, stills);
        let holds = set_aside_holds(&mut logs);
        let jitter = noise(&logs, NEIGHBOURS).max(LEAST_NOISE);
        mend_misplaced(&mut logs, 3.0 * jitter);
        let noise = noise(&logs, WAVERING).max(LEAST_NOISE);
        // Jitter is told beat by beat; a player's freedom binds several beats together, so its pieces must cost more.
        let bound = (noise / LEAST_NOISE).clamp(1.0, MOST_BOUND);
        let price = Price { noise, level: 9.0 * bound, sloping: 14.0 * bound, shortest: 4, longest: 400 };
        let pieces = fit(&logs, &price);
        Self { logs, holds, noise, pieces }
    }

    /// The knots at which the tempo changes suddenly: indices into `pieces` of the piece after.
    pub(super) fn leaps(&self) -> impl Iterator<Item = usize> {
        (1..self.pieces.len()).filter(|&i| self.leap(i).abs() >= self.least_leap())
    }

    /// How far the logarithm leaps before piece `index` (not 0).
    pub(super) fn leap(&self, index: usize) -> f64 {
        self.pieces[index].first - self.pieces[index - 1].last
    }

    /// The least leap that is more than this player's own freedom.
    pub(super) fn least_leap(&self) -> f64 {
        (1.0 + SUDDEN).ln().max(1.5 * self.noise)
    }

    /// The smoothed tempo of every beat of the grid it was read from: a local line through the beat lengths around,
    /// not across sudden changes, so that a step stays a step; a single beat out of place is evened out.
    pub(super) fn curve(&self, grid: &Grid) -> Vec<TempoPoint> {
        if self.logs.is_empty() {
            return grid
                .beats()
                .iter()
                .map(|&at| TempoPoint { at, bpm: grid.tempo_at(grid.beat_at(at)) })
                .collect();
        }
        let mut edges: Vec<usize> = vec![0];
        edges.extend(self.leaps().map(|piece| self.pieces[piece].from));
        edges.push(self.logs.len());
        grid.beats()
            .iter()
            .enumerate()
            .map(|(beat, &at)| {
                let stretch = edges.partition_point(|&edge| edge <= beat).clamp(1, edges.len() - 1);
                let bpm = self.smooth(beat as f64, edges[stretch - 1], edges[stretch]).exp();
                TempoPoint { at, bpm: Bpm(bpm) }
            })
            .collect()
    }

    /// A line through `logs[from..to]` around beat `at`, weighted by distance, with wild values weighted down.
    fn smooth(&self, at: f64, from: usize, to: usize) -> f64 {
        let reach = 3.0 * SMOOTHING;
        let first = from.max((at - reach).max(0.0) as usize);
        let window = first..to.min((at + reach) as usize + 1).max(first + 1);
        // The value at index i is the mean tempo over beat i to i + 1, so it stands half-way.
        let distance = |i: usize| i as f64 + 0.5 - at;
        let line = |weight: &dyn Fn(usize) -> f64| {
            let (mut w, mut x, mut y, mut xx, mut xy) = (0.0, 0.0, 0.0, 0.0, 0.0);
            for i in window.clone() {
                let (weight, d, v) = (weight(i), distance(i), self.logs[i]);
                w += weight;
                x += weight * d;
                y += weight * v;
                xx += weight * d * d;
                xy += weight * d * v;
            }
            let spread = w * xx - x * x;
            let slope = if spread > 1e-9 * w * w { (w * xy - x * y) / spread } else { 0.0 };
            ((y - slope * x) / w, slope)
        };
        let near = |i: usize| (-0.5 * (distance(i) / SMOOTHING).powi(2)).exp();
        let (level, slope) = line(&near);
        let calm = |i: usize| {
            let off = (self.logs[i] - level - slope * distance(i)) / (4.0 * self.noise);
            near(i) * if off.abs() < 1.0 { (1.0 - off * off).powi(2) } else { 0.0 }.max(1e-3)
        };
        let (level, _) = line(&calm);
        // A line may overshoot where little lies on one side; the neighbours bound it.
        let (least, most) = window
            .map(|i| self.logs[i])
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)));
        level.clamp(least, most)
    }
}

/// Gives every beat of which more than half is silent the tempo that was last heard: the next is known when the music
/// goes on.
fn pass_over_rests(logs: &mut [f64], grid: &Grid, rests: &[(Seconds, Seconds)]) {
    for (i, pair) in grid.beats().windows(2).enumerate().skip(1) {
        let (start, end) = (pair[0].0, pair[1].0);
        let silent: f64 = rests.iter().map(|rest| (rest.1.0.min(end) - rest.0.0.max(start)).max(0.0)).sum();
        if silent > 0.5 * (end - start) {
            logs[i] = logs[i - 1];
        }
    }
}

/// Gives every beat that passes in a still stretch the tempo before, and so the beats beside it that are like neither
/// the tempo before nor the tempo after: the decoder bends them to reach across.
fn pass_over_stills(logs: &mut [f64], grid: &Grid, stills: &[(Seconds, Seconds)]) {
    let beats = grid.beats();
    for &(start, end) in stills {
        // An attack is a little off its beat.
        let first = beats.partition_point(|beat| beat.0 <= start.0 + TOUCHING).saturating_sub(1);
        let after = beats.partition_point(|beat| beat.0 < end.0 - TOUCHING).min(logs.len());
        let middle = |from: usize, to: usize| {
            let mut part = logs.get(from..to.min(logs.len())).unwrap_or_default().to_vec();
            part.sort_by(f64::total_cmp);
            part.get(part.len() / 2).copied()
        };
        let Some(before) = middle(first.saturating_sub(2 * NEIGHBOURS), first) else { continue };
        let later = middle(after + BENT, after + BENT + NEIGHBOURS).unwrap_or(before);
        let strange = |log: f64| (log - before).abs().min((log - later).abs()) > (1.0 + SUDDEN).ln();
        for i in first.saturating_sub(BENT)..(after + BENT).min(logs.len()) {
            if (first..after).contains(&i) || strange(logs[i]) {
                logs[i] = if i < after { before } else { later };
            }
        }
    }
}

/// Finds beats held much longer than their neighbours and gives them their neighbours' tempo instead.
fn set_aside_holds(logs: &mut [f64]) -> Vec<Hold> {
    let mut holds = Vec::new();
    for i in 0..logs.len() {
        let around = i.saturating_sub(NEIGHBOURS)..(i + NEIGHBOURS + 1).min(logs.len());
        let mut near: Vec<f64> = around.filter(|&k| k != i).map(|k| logs[k]).collect();
        if near.len() < 2 {
            continue;
        }
        near.sort_by(f64::total_cmp);
        let usual = 0.5 * (near[(near.len() - 1) / 2] + near[near.len() / 2]);
        let times = (usual - logs[i]).exp();
        // Slower beats on one side mean that the tempo changes here: held is only what sticks out on both.
        let beside = |k: Option<usize>| {
            k.and_then(|k| logs.get(k)).is_none_or(|side| logs[i] < side - HELD.ln() / 2.0)
        };
        if times >= HELD && beside(i.checked_sub(1)) && beside(Some(i + 1)) {
            holds.push(Hold { beat: i, times });
        }
    }
    for hold in &holds {
        let calm = |k: &usize| *k < logs.len() && holds.iter().all(|other| other.beat != *k);
        let before = (0..hold.beat).rev().find(|k| calm(k)).map(|k| logs[k]);
        let after = (hold.beat + 1..logs.len()).find(|k| calm(k)).map(|k| logs[k]);
        logs[hold.beat] = match (before, after) {
            (Some(a), Some(b)) => 0.5 * (a + b),
            (a, b) => a.or(b).unwrap_or(logs[hold.beat]),
        };
    }
    holds
}

/// A beat out of place makes one length too long and the next too short by as much: gives both their mean, where
/// each is more than `far` from the median of the five lengths around it.
fn mend_misplaced(logs: &mut [f64], far: f64) {
    let off: Vec<f64> =
        running_median(logs, 2).iter().zip(&*logs).map(|(median, log)| log - median).collect();
    for i in 1..logs.len() {
        let (a, b) = (off[i - 1], off[i]);
        if a * b < 0.0 && a.abs().min(b.abs()) > far && (a + b).abs() < 0.4 * a.abs().max(b.abs()) {
            let together = -(0.5 * ((-logs[i - 1]).exp() + (-logs[i]).exp())).ln();
            logs[i - 1] = together;
            logs[i] = together;
        }
    }
}

/// Median tempo of the beats in `from..to` of a curve; `None` when it is empty.
pub(super) fn median(curve: &[TempoPoint]) -> Option<Bpm> {
    let mut all: Vec<f64> = curve.iter().map(|point| point.bpm.0).collect();
    all.sort_by(f64::total_cmp);
    super::loudness::quantile(&all, 0.5).map(Bpm)
}

/// The length of a beat at an instant, from a tempo curve; `None` for an empty one.
pub(super) fn beat_length(curve: &[TempoPoint], at: Seconds) -> Option<Seconds> {
    let last = curve.len().checked_sub(1)?;
    let index = curve.partition_point(|point| point.at.0 <= at.0).saturating_sub(1).min(last);
    Some(curve[index].bpm.beat_length())
}
