//! Turns of loudness: crescendo, diminuendo, subito. They need no grid.
//!
//! Rests and the silence at both ends are cut out first, so that a pause is a pause and not a diminuendo; then
//! sudden changes are found and taken out, so that a step does not look like a slope; then slopes.

use super::super::loudness::{BLOCKS, Envelope, loudness, quantile};
use super::super::segments::{Price, Segment, Slope, fit, noise, running_median, slopes};
use super::super::types::TurnKind;
use super::climbs::{LARGEST_PART, climbs};
use super::rests::Quiet;
use super::{Found, sure};
use crate::units::Seconds;

/// Blocks between two readings of the level, and in one reading.
const HOP: usize = 50;
const WINDOW: usize = 100;
/// Least noise of one reading in LU (level differences under 0.4 to 1 dB are not noticed).
const LEAST_NOISE: f64 = 0.7;
/// How many readings in a row music's wavering binds together (2 s, a bar or so): prices of pieces are for
/// independent readings.
const BOUND: f64 = 4.0;
/// Readings on either side of the running median from which wavering is told: 10 s, more than a phrase.
const WAVERING: usize = 20;
/// Half the readings of a running median that takes accents away: what is over in a second is no turn.
const ACCENT: usize = 2;
/// Least sudden change in LU.
const SUBITO: f64 = 4.0;
/// Share of a sudden change that must lie inside one beat, or half a second if that is longer.
const INSIDE: f64 = 0.8;
/// How far from a knot between two pieces its exact moment is looked for, in blocks.
const NEAR: usize = 200;
/// Least gradual change in LU, and its least length in seconds.
const GRADUAL: f64 = 4.0;
const GRADUAL_LENGTH: f64 = 3.0;
/// Least slope in LU a second ...
const STEEP: f64 = 0.5;
/// ... or, for a swell of at least twice the least change, this: it is heard in the end however slow it is.
const SLOW: f64 = 0.12;

/// The last note dies away, which is no diminuendo: the end of the music is where the loudness, read over `TAIL_WINDOW`
/// blocks, was last within this many LU of the loudest of the `TAIL` blocks before. A fade-out is slower than that.
const DIES_AWAY: f64 = 12.0;
const TAIL: usize = 300;
const TAIL_WINDOW: usize = 40;

/// The part of the recording that sounds, end to end, as far as its last note.
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
        let mut all = Self { block, sums };
        let end = all.last_note();
        all.block.truncate(end);
        all.sums.truncate(end + 1);
        all
    }

    /// The block at which the last note begins to die away.
    fn last_note(&self) -> usize {
        let level = |to: usize| self.level(to.saturating_sub(TAIL_WINDOW), to);
        let sounds = |to: &usize| {
            let loudest = (to.saturating_sub(TAIL)..*to).step_by(TAIL_WINDOW / 4).map(level);
            level(*to) >= loudest.fold(f64::NEG_INFINITY, f64::max) - DIES_AWAY
        };
        (TAIL_WINDOW..=self.len()).rev().find(sounds).unwrap_or(self.len())
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
    let sounding = Sounding::new(envelope, quiet);
    let readings: Vec<f64> = (0..(sounding.len() + 1).saturating_sub(WINDOW))
        .step_by(HOP)
        .map(|from| sounding.level(from, from + WINDOW))
        .collect();
    let mut sorted = readings.clone();
    sorted.sort_by(f64::total_cmp);
    let Some(usual) = quantile(&sorted, 0.5) else { return Vec::new() };
    // What is inaudible beside the rest may be any number of decibels down; the depth is of no interest.
    let readings: Vec<f64> = readings.into_iter().map(|level| level.max(usual - 40.0)).collect();
    let noise = noise(&readings, WAVERING).max(LEAST_NOISE);
    let price = Price { noise, level: 9.0 * BOUND, sloping: 12.0 * BOUND, shortest: 4, longest: 480 };
    let pieces = fit(&running_median(&readings, ACCENT), &price);
    let rule = Slope { moving: 2.0, slack: 2.0, leap: SUBITO, part: 0.4, plateau: 6 };
    // A piece that only leads from one level to another within a moment is no piece of its own.
    let settled: Vec<Segment> = pieces
        .iter()
        .filter(|piece| piece.rise().abs() < SUBITO || seconds(piece.len() - 1) >= GRADUAL_LENGTH)
        .copied()
        .collect();
    let climbs: Vec<Segment> = climbs(&settled, GRADUAL).into_iter().filter(long_and_large).collect();
    let mut slopes: Vec<Segment> = slopes(&pieces, &rule)
        .into_iter()
        .filter(|slope| long_and_large(slope) && !climbs.iter().any(|climb| covers(climb, slope)))
        .collect();
    slopes.extend(climbs);
    let mut found: Vec<Found> = slopes.iter().map(|slope| gradual(&sounding, slope, noise)).collect();
    for (before, after) in settled.iter().zip(settled.iter().skip(1)) {
        let jump = after.first - before.last;
        let part_of = |slope: &Segment| {
            let same = |a: f64, b: f64| (a - b).abs() < 1e-9;
            // A climb may begin or end with a step, and then its first or last level is that of the piece beside it.
            let begins = slope.from < after.from || same(slope.first, before.last);
            let ends = before.to < slope.to || same(slope.last, after.first);
            let overlap = slope.from <= after.from && before.to <= slope.to && begins && ends;
            let one_way = slope.rise().signum() == jump.signum();
            overlap && one_way && jump.abs() < LARGEST_PART * slope.rise().abs()
        };
        if jump.abs() >= SUBITO && !slopes.iter().any(part_of) {
            let sudden = subito(&sounding, before, after, beat, noise);
            found.extend(sudden.or_else(|| brief(&sounding, before, after)));
        }
    }
    found
}

/// Seconds that so many readings are apart.
fn seconds(readings: usize) -> f64 {
    (readings * HOP) as f64 / BLOCKS
}

/// Whether a slope is one that is heard as going somewhere.
fn long_and_large(slope: &Segment) -> bool {
    let (size, seconds) = (slope.rise().abs(), seconds(slope.len() - 1));
    size >= GRADUAL
        && seconds >= GRADUAL_LENGTH
        && (size >= STEEP * seconds || (size >= 2.0 * GRADUAL && size >= SLOW * seconds))
}

/// Whether most of `part` lies inside `whole`, going the same way.
fn covers(whole: &Segment, part: &Segment) -> bool {
    let shared = whole.to.min(part.to).saturating_sub(whole.from.max(part.from));
    2 * shared > part.len() && whole.rise().signum() == part.rise().signum()
}

fn gradual(sounding: &Sounding, slope: &Segment, noise: f64) -> Found {
    // A reading describes the middle of its window.
    let middle = |reading: usize| sounding.seconds(reading * HOP + WINDOW / 2);
    Found {
        kind: if slope.rise() > 0.0 { TurnKind::Crescendo } else { TurnKind::Diminuendo },
        start: middle(slope.from),
        end: middle(slope.to - 1),
        from: slope.first,
        to: slope.last,
        sureness: sure(slope.rise().abs(), GRADUAL.max(1.5 * noise)),
    }
}

/// A large change that is neither sudden nor long: told as gradual, if there is any time between the two levels.
fn brief(sounding: &Sounding, before: &Segment, after: &Segment) -> Option<Found> {
    let jump = after.first - before.last;
    (after.from > before.to && jump.abs() >= 2.0 * GRADUAL).then(|| {
        let slope = Segment { from: before.to, to: after.from, first: before.last, last: after.first };
        Found { sureness: 0.5, ..gradual(sounding, &slope, GRADUAL) }
    })
}

/// The sudden change between two pieces, if it is sudden.
fn subito(
    sounding: &Sounding,
    before: &Segment,
    after: &Segment,
    beat: Option<Seconds>,
    noise: f64,
) -> Option<Found> {
    let blocks = |seconds: f64| (seconds * BLOCKS) as usize;
    // At least a second each side; at least two beats, so that a strong beat is not louder than a weak one.
    let span = blocks(beat.map_or(1.0, |beat| 2.0 * beat.0).clamp(1.0, 2.0));
    let inside = blocks(beat.map_or(0.5, |beat| beat.0).clamp(0.5, 1.0));
    let way = (after.first - before.last).signum();
    let knot = after.from * HOP + (WINDOW - HOP) / 2;
    let search = knot.saturating_sub(NEAR).max(span)..(knot + NEAR).min(sounding.len().saturating_sub(span));
    let at = search.max_by(|&a, &b| {
        let size = |at| way * sounding.change(at, span, 0);
        size(a).total_cmp(&size(b))
    })?;
    let near = way * sounding.change(at, span, 0);
    // Over half the transition on either side a step has all its size already, a slope has not.
    let wide = way * sounding.change(at, span, inside / 2);
    if near < SUBITO || near < INSIDE * wide {
        return None;
    }
    let moment = sounding.seconds(at);
    Some(Found {
        kind: if way > 0.0 { TurnKind::SubitoLoud } else { TurnKind::SubitoSoft },
        start: moment,
        end: moment,
        from: before.last,
        to: after.first,
        sureness: sure((after.first - before.last).abs(), SUBITO.max(noise)),
    })
}
