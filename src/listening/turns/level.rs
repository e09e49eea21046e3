//! Turns of loudness: crescendo, diminuendo, subito. They need no grid.
//!
//! Rests and the silence at both ends are cut out first, so that a pause is a pause and not a diminuendo; then
//! sudden changes are found and taken out, so that a step does not look like a slope; then slopes.

use super::super::loudness::{BLOCKS, Envelope, loudness, quantile};
use super::super::segments::{Price, Slope, fit, noise, slopes};
use super::super::types::TurnKind;
use super::rests::Quiet;
use super::{Found, sure};
use crate::units::Seconds;

/// Least sudden change in LU.
const SUBITO: f64 = 4.0;
/// Share of a sudden change that must lie inside one beat, or half a second if that is longer.
const INSIDE: f64 = 0.8;
/// Blocks over which a sudden change must last to be more than an accent.
const LASTING: usize = 300;
/// How many times the recording's usual wavering (over [`LASTING`]) a sudden change must be.
const ABOVE_WAVERING: f64 = 2.5;
/// Blocks between two readings of the gradual level, each twice as long.
const CELL: usize = 50;
/// Least gradual change in LU, and least length in readings of 0.5 s.
const GRADUAL: f64 = 4.0;
const GRADUAL_LENGTH: usize = 6;
/// Least slope in LU a second ...
const STEEP: f64 = 0.5;
/// ... or, for a swell of at least twice the least change, this: it is heard in the end however slow it is.
const SLOW: f64 = 0.12;
/// Least noise of one reading in LU (level differences under 0.4 to 1 dB are not noticed).
const LEAST_NOISE: f64 = 0.7;

/// The part of the recording that sounds, end to end.
struct Sounding {
    /// Block of the recording for each block kept.
    block: Vec<usize>,
    /// Running sums of the energies kept.
    sums: Vec<f64>,
}

impl Sounding {
    fn new(envelope: &Envelope, quiet: &Quiet) -> Self {
        let mut block: Vec<usize> = Vec::with_capacity(quiet.music.len());
        let mut from = quiet.music.start;
        for rest in &quiet.rests {
            block.extend(from..rest.start);
            from = rest.end;
        }
        block.extend(from..quiet.music.end);
        let energies = block.iter().map(|&at| f64::from(envelope.energies()[at])).collect();
        let mut sounding = Self { block, sums: Vec::new() };
        sounding.rescale(energies);
        sounding
    }

    fn rescale(&mut self, energies: Vec<f64>) {
        self.sums = vec![0.0];
        let mut sum = 0.0;
        self.sums.extend(energies.into_iter().map(|energy| {
            sum += energy;
            sum
        }));
    }

    fn len(&self) -> usize {
        self.block.len()
    }

    /// Mean loudness of kept blocks `from..to`, cut to what exists.
    fn level(&self, from: usize, to: usize) -> f64 {
        let to = to.min(self.len());
        let from = from.min(to);
        if from == to {
            return loudness(0.0);
        }
        loudness(((self.sums[to] - self.sums[from]) / (to - from) as f64).max(0.0))
    }

    /// How much louder it is in the `span` blocks after `at` than in those before, each `gap` blocks away.
    fn change(&self, at: usize, span: usize, gap: usize) -> f64 {
        let before = at.saturating_sub(gap);
        self.level(at + gap, at + gap + span) - self.level(before.saturating_sub(span), before)
    }

    /// When kept block `at` starts.
    fn seconds(&self, at: usize) -> Seconds {
        let block =
            self.block.get(at).copied().or_else(|| self.block.last().map(|last| last + 1)).unwrap_or(0);
        Seconds(block as f64 / BLOCKS)
    }
}

/// All turns of loudness, in no order. `beat` is the usual length of a beat, or `None` without a grid.
pub(super) fn turns(envelope: &Envelope, quiet: &Quiet, beat: Option<Seconds>) -> Vec<Found> {
    let mut sounding = Sounding::new(envelope, quiet);
    let steps = subito(&sounding, beat);
    let mut found: Vec<Found> = steps
        .iter()
        .map(|step| Found {
            kind: if step.to > step.from { TurnKind::SubitoLoud } else { TurnKind::SubitoSoft },
            start: sounding.seconds(step.at),
            end: sounding.seconds(step.at),
            from: step.from,
            to: step.to,
            sureness: step.sureness,
        })
        .collect();
    found.extend(gradual(&mut sounding, &steps));
    found
}

/// A sudden change at a kept block.
#[derive(Debug, Clone, Copy)]
struct Step {
    at: usize,
    from: f64,
    to: f64,
    sureness: f64,
}

fn subito(sounding: &Sounding, beat: Option<Seconds>) -> Vec<Step> {
    let blocks = |seconds: f64| (seconds * BLOCKS) as usize;
    // At least a second each side; at least two beats, so that a strong beat is not louder than a weak one.
    let span = blocks(beat.map_or(1.0, |beat| 2.0 * beat.0).clamp(1.0, 2.0));
    let inside = blocks(beat.map_or(0.5, |beat| beat.0).clamp(0.5, 1.0));
    if sounding.len() < 2 * span {
        return Vec::new();
    }
    let inner = span..sounding.len() - span + 1;
    let mut wavering: Vec<f64> =
        inner.clone().step_by(CELL).map(|at| sounding.change(at, LASTING, 0).abs()).collect();
    wavering.sort_by(f64::total_cmp);
    let usual = 1.4826 * quantile(&wavering, 0.5).unwrap_or(0.0);
    let least = SUBITO.max(ABOVE_WAVERING * usual);
    let mut candidates: Vec<(usize, f64)> = inner
        .filter_map(|at| {
            let near = sounding.change(at, span, 0);
            (near.abs() >= least).then_some((at, near))
        })
        .collect();
    candidates.sort_by(|a, b| b.1.abs().total_cmp(&a.1.abs()).then(a.0.cmp(&b.0)));
    let mut steps: Vec<Step> = Vec::new();
    for (at, near) in candidates {
        if steps.iter().any(|step| step.at.abs_diff(at) < span) {
            continue;
        }
        // Over half the transition on either side a step has all its size already, a slope has not.
        let wide = sounding.change(at, span, inside / 2);
        let lasting = sounding.change(at, LASTING, 0);
        let one_way = near.signum() == lasting.signum() && near.signum() == wide.signum();
        if !one_way || lasting.abs() < 0.8 * least || near.abs() < INSIDE * wide.abs() {
            continue;
        }
        let (from, to) = (sounding.level(at - span, at), sounding.level(at, at + span));
        let sureness = sure(near.abs(), least) * (near / wide).clamp(0.0, 1.0);
        steps.push(Step { at, from, to, sureness });
    }
    steps.sort_by_key(|step| step.at);
    steps
}

/// Gradual changes, once the sudden ones are evened out.
fn gradual(sounding: &mut Sounding, steps: &[Step]) -> Vec<Found> {
    let offset = |at: usize| -> f64 {
        steps.iter().take_while(|step| step.at <= at).map(|step| step.to - step.from).sum()
    };
    // The offset changes only at steps, so it is carried along instead of summed for every block.
    let (mut next, mut gain) = (steps.iter().peekable(), 1.0);
    let evened = (0..sounding.len())
        .map(|at| {
            while let Some(step) = next.next_if(|step| step.at <= at) {
                gain *= 10f64.powf((step.from - step.to) / 10.0);
            }
            (sounding.sums[at + 1] - sounding.sums[at]).max(0.0) * gain
        })
        .collect();
    sounding.rescale(evened);
    let readings: Vec<f64> = (CELL..(sounding.len() + 1).saturating_sub(CELL))
        .step_by(CELL)
        .map(|centre| sounding.level(centre - CELL, centre + CELL))
        .collect();
    let mut sorted = readings.clone();
    sorted.sort_by(f64::total_cmp);
    let Some(usual) = quantile(&sorted, 0.5) else { return Vec::new() };
    // What is inaudible beside the rest may be any number of decibels down; the depth is of no interest.
    let readings: Vec<f64> = readings.into_iter().map(|level| level.max(usual - 40.0)).collect();
    let noise = noise(&readings).max(LEAST_NOISE);
    let price = Price { noise, level: 9.0, sloping: 14.0, shortest: 4, longest: 240 };
    let pieces = fit(&readings, &price);
    let rule = Slope { moving: 1.5, slack: 1.5, leap: 3.0, plateau: GRADUAL_LENGTH };
    slopes(&pieces, &rule)
        .into_iter()
        .filter(|slope| {
            let (size, seconds) = (slope.rise().abs(), 0.5 * (slope.len() - 1) as f64);
            let steepness = size / seconds;
            size >= GRADUAL
                && slope.len() > GRADUAL_LENGTH
                && (steepness >= STEEP || (size >= 2.0 * GRADUAL && steepness >= SLOW))
        })
        .map(|slope| {
            let (from, to) = ((slope.from + 1) * CELL, slope.to * CELL);
            Found {
                kind: if slope.rise() > 0.0 { TurnKind::Crescendo } else { TurnKind::Diminuendo },
                start: sounding.seconds(from),
                end: sounding.seconds(to),
                from: slope.first + offset(from),
                to: slope.last + offset(to),
                sureness: sure(slope.rise().abs(), GRADUAL.max(2.0 * noise)),
            }
        })
        .collect()
}
