//! Turns of loudness: crescendo, diminuendo, subito. They need no grid.
//!
//! Rests and the silence at both ends are cut out first, so that a pause is a pause and not a diminuendo; then
//! sudden changes are found and taken out, so that a step does not look like a slope; then slopes.

use super::super::loudness::{BLOCKS, Envelope, loudness, quantile};
use super::super::segments::{Price, Segment, Slope, fit, noise, slopes};
use super::super::types::TurnKind;
use super::rests::Quiet;
use super::{Found, sure};
use crate::units::Seconds;

/// Least sudden change in LU.
const SUBITO: f64 = 4.0;
/// Share of a sudden change that must lie inside one beat, or half a second if that is longer.
const INSIDE: f64 = 0.8;
/// Blocks over which a recording's wavering is read.
const LASTING: usize = 300;
/// How many times the recording's usual wavering (over [`LASTING`]) a sudden change must be.
const ABOVE_WAVERING: f64 = 2.5;
/// How many spans on either side must lie apart, and by which share of the least change.
const SPANS: usize = 4;
const APART: f64 = 0.5;
/// Blocks between two readings of the wavering.
const CELL: usize = 50;
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
        let mut sum = 0.0;
        let sums = std::iter::once(0.0)
            .chain(block.iter().map(|&at| {
                sum += f64::from(envelope.energies()[at]);
                sum
            }))
            .collect();
        Self { block, sums }
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

    /// How far what follows `at` lies above what went before in the `span` blocks times [`SPANS`] on either side: the
    /// second lowest of one side over the second highest of the other, so that one accent or one gap makes no
    /// step. Signed; 0 when the two sides overlap.
    fn apart(&self, at: usize, span: usize) -> f64 {
        let mut before: Vec<f64> = (1..=SPANS)
            .map_while(|i| at.checked_sub(i * span))
            .map(|from| self.level(from, from + span))
            .collect();
        let mut after: Vec<f64> = (0..SPANS)
            .map(|i| at + i * span)
            .take_while(|from| from + span <= self.len())
            .map(|from| self.level(from, from + span))
            .collect();
        before.sort_by(f64::total_cmp);
        after.sort_by(f64::total_cmp);
        let second = |side: &[f64], from_top: bool| match side.len() {
            0 => f64::NAN,
            1 | 2 => side[if from_top { side.len() - 1 } else { 0 }],
            n => side[if from_top { n - 2 } else { 1 }],
        };
        let up = second(&after, false) - second(&before, true);
        let down = second(&before, false) - second(&after, true);
        if up > 0.0 {
            up
        } else if down > 0.0 {
            -down
        } else {
            0.0
        }
    }

    /// How much the level wavers over [`LASTING`]: the standard deviation that a difference of two neighbouring
    /// stretches has when nothing happens. Read from second differences, so that slopes do not count.
    fn wavering(&self) -> f64 {
        let mut second: Vec<f64> = (0..(self.len() + 1).saturating_sub(3 * LASTING))
            .step_by(CELL)
            .map(|at| {
                let level = |i: usize| self.level(at + i * LASTING, at + (i + 1) * LASTING);
                (level(0) - 2.0 * level(1) + level(2)).abs()
            })
            .collect();
        second.sort_by(f64::total_cmp);
        // A second difference of equal noises has three times the variance of a first one.
        1.4826 * quantile(&second, 0.5).unwrap_or(0.0) / 3f64.sqrt()
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
    let sounding = Sounding::new(envelope, quiet);
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
    found.extend(gradual(&sounding, &steps));
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
    let least = SUBITO.max(ABOVE_WAVERING * sounding.wavering());
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
        let apart = sounding.apart(at, span);
        let one_way = near.signum() == apart.signum() && near.signum() == wide.signum();
        if !one_way || apart.abs() < APART * least || near.abs() < INSIDE * wide.abs() {
            continue;
        }
        let (from, to) = (sounding.level(at - span, at), sounding.level(at, at + span));
        let sureness = sure(near.abs(), least) * (near / wide).clamp(0.0, 1.0);
        steps.push(Step { at, from, to, sureness });
    }
    steps.sort_by_key(|step| step.at);
    steps
}

/// At which scale gradual changes are looked for.
struct Scale {
    /// Blocks between two readings.
    hop: usize,
    /// Blocks in a reading.
    window: usize,
    /// Least change in LU.
    least: f64,
    /// Least length in seconds.
    seconds: f64,
    /// Least slope in LU a second.
    steep: f64,
}

/// A change heard as it goes on, and a swell so long that it is only heard in the end.
const SCALES: [Scale; 2] = [
    Scale { hop: 300, window: 300, least: 8.0, seconds: 12.0, steep: 0.12 },
    Scale { hop: 50, window: 100, least: 4.0, seconds: 3.0, steep: 0.5 },
];

/// Gradual changes at both scales; a shorter one inside a longer one of the same kind is part of it.
fn gradual(sounding: &Sounding, steps: &[Step]) -> Vec<Found> {
    let mut found: Vec<Found> = Vec::new();
    for scale in &SCALES {
        let here = at_scale(sounding, steps, scale);
        let apart: Vec<Found> = here
            .into_iter()
            .filter(|turn| {
                let shared = |other: &Found| {
                    (turn.end.0.min(other.end.0) - turn.start.0.max(other.start.0))
                        / (turn.end.0 - turn.start.0)
                };
                !found.iter().any(|other| other.kind == turn.kind && shared(other) > 0.5)
            })
            .collect();
        found.extend(apart);
    }
    found
}

fn at_scale(sounding: &Sounding, steps: &[Step], scale: &Scale) -> Vec<Found> {
    // Read between the sudden changes, never across one.
    let edges: Vec<usize> =
        std::iter::once(0).chain(steps.iter().map(|step| step.at)).chain([sounding.len()]).collect();
    let stretches: Vec<(usize, Vec<f64>)> = edges
        .windows(2)
        .map(|edge| {
            let starts = (edge[0]..(edge[1] + 1).saturating_sub(scale.window)).step_by(scale.hop);
            (edge[0], starts.map(|from| sounding.level(from, from + scale.window)).collect())
        })
        .filter(|(_, readings): &(usize, Vec<f64>)| !readings.is_empty())
        .collect();
    let all: Vec<f64> = stretches.iter().flat_map(|stretch| stretch.1.iter().copied()).collect();
    let mut sorted = all.clone();
    sorted.sort_by(f64::total_cmp);
    let Some(usual) = quantile(&sorted, 0.5) else { return Vec::new() };
    // What is inaudible beside the rest may be any number of decibels down; the depth is of no interest.
    let audible =
        |readings: &[f64]| readings.iter().map(|level| level.max(usual - 40.0)).collect::<Vec<f64>>();
    let noise = noise(&audible(&all)).max(LEAST_NOISE);
    let price = Price { noise, level: 9.0, sloping: 14.0, shortest: 4, longest: 240 };
    let (mut pieces, mut blocks) = (Vec::new(), Vec::new());
    for (edge, readings) in &stretches {
        let before = blocks.len();
        pieces.extend(fit(&audible(readings), &price).into_iter().map(|piece| Segment {
            from: piece.from + before,
            to: piece.to + before,
            ..piece
        }));
        blocks.extend((0..readings.len()).map(|i| edge + i * scale.hop + scale.window / 2));
    }
    let rule = Slope { moving: 1.5, slack: 1.5, leap: 3.0, plateau: 6 };
    slopes(&pieces, &rule)
        .into_iter()
        .filter_map(|slope| {
            let (from, to) = (sounding.seconds(blocks[slope.from]), sounding.seconds(blocks[slope.to - 1]));
            let (size, seconds) = (slope.rise().abs(), (to.0 - from.0).max(1e-3));
            let enough = size >= scale.least && seconds >= scale.seconds && size / seconds >= scale.steep;
            enough.then(|| Found {
                kind: if slope.rise() > 0.0 { TurnKind::Crescendo } else { TurnKind::Diminuendo },
                start: from,
                end: to,
                from: slope.first,
                to: slope.last,
                sureness: sure(size, scale.least.max(2.0 * noise)),
            })
        })
        .collect()
}
