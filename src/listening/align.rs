//! Two performances of one piece laid side by side: which instant of the one is which instant of the other.
//!
//! Dynamic time warping of harmony (pitch classes) with attacks, in two passes: the whole piece in steps of a second, then a
//! narrow band around that in steps of 40 ms. A disc that runs off pitch is turned to the key that fits best.
//!
//! Sources: Müller, *Fundamentals of Music Processing*, chapter 3 (warping of chroma features); Ewert, Müller and
//! Grosche 2009 (attacks beside chroma for a finer place); Prätzlich, Driedger and Müller 2016 (coarse to fine, and
//! steps that cost 1.5, 1.5 and 2). All from memory; the sizes below are ours, from the trials in `docs/measurements.md`.

use super::evidence::{Evidence, Passage, TEXTURE_FPS};
use crate::units::Seconds;

/// Rows a second of the first pass.
const COARSE: f64 = 1.0;
/// Rows a second of the second pass.
const FINE: f64 = TEXTURE_FPS as f64;
/// Seconds of music behind one row of each pass: long enough for a chord to be told from a passing note.
const COARSE_WINDOW: f64 = 2.0;
const FINE_WINDOW: f64 = 0.16;
/// How far the second pass may leave the first, in seconds to either side.
const BAND: f64 = 2.5;
/// How much an attack that only one of the two has costs, where a wholly different harmony costs 1.
const ATTACK: f32 = 0.6;
/// How quickly an attack fades, as a share kept from one fine row to the next.
const FADING: f32 = 0.75;
/// What leaving out a row at the beginning or the end costs, as a share of what rows cost that do not belong together:
/// applause, a spoken word or a fade that only one of the two has.
const LEFT_OUT: f32 = 0.5;
/// Seconds over which steadiness is judged.
const STRETCH: f64 = 2.0;
/// Under this share of the loudest row, a row has no harmony.
const FAINT: f32 = 1e-4;

/// Which instant of one recording is which instant of another.
#[derive(Debug, Clone, PartialEq)]
pub struct Alignment {
    /// Instants in both, ascending in both, one for each fine row of the first.
    pairs: Vec<(f64, f64)>,
    /// How unlike the two sound at each pair, 0 to about 1.
    unlike: Vec<f32>,
    /// The same for instants that have nothing to do with each other.
    by_chance: f32,
    /// Semitones, 0 to 11, by which the second sounds higher.
    transposed: usize,
}

impl Alignment {
    /// The stretch of the first recording that the second plays too, from and to.
    #[must_use]
    pub fn covered(&self) -> (Seconds, Seconds) {
        (Seconds(self.pairs[0].0), Seconds(self.pairs[self.pairs.len() - 1].0))
    }

    /// When the second recording plays what the first plays `at`. Ascending; beyond either end the clocks run alike.
    #[must_use]
    pub fn at(&self, at: Seconds) -> Seconds {
        let after = self.pairs.partition_point(|pair| pair.0 <= at.0);
        let last = self.pairs.len() - 1;
        let (a, b) = match after {
            0 => return Seconds((self.pairs[0].1 + at.0 - self.pairs[0].0).max(0.0)),
            n if n > last => return Seconds(self.pairs[last].1 + at.0 - self.pairs[last].0),
            n => (self.pairs[n - 1], self.pairs[n]),
        };
        Seconds(a.1 + (b.1 - a.1) * (at.0 - a.0) / (b.0 - a.0))
    }

    /// How unlike the two sound from one instant of the first recording to another: 0 for the same sound, 1 for instants
    /// picked at random. Another piece comes to .2 to .3, since the best way through it was looked for.
    #[must_use]
    pub fn unlike(&self, from: Seconds, to: Seconds) -> f64 {
        let first = self.pairs.partition_point(|pair| pair.0 < from.0).min(self.pairs.len() - 1);
        let after = self.pairs.partition_point(|pair| pair.0 < to.0).max(first + 1);
        let span = &self.unlike[first..after];
        f64::from(span.iter().sum::<f32>() / span.len() as f32 / self.by_chance)
    }

    /// How many times faster (over 1) or slower the second plays the stretch between two instants of the first.
    #[must_use]
    pub fn speed(&self, from: Seconds, to: Seconds) -> f64 {
        (to.0 - from.0) / (self.at(to).0 - self.at(from).0)
    }

    /// How unsteadily the second follows the first: by how much, in octaves of tempo, stretches of two seconds differ from
    /// the middle one (mean). Performances of one piece come to under a quarter; two pieces forced together to more.
    #[must_use]
    pub fn unsteadiness(&self) -> f64 {
        let (from, to) = self.covered();
        let stretches = ((to.0 - from.0) / STRETCH) as usize;
        let mut speeds: Vec<f64> = (0..stretches)
            .map(|n| {
                let at = from.0 + n as f64 * STRETCH;
                self.speed(Seconds(at), Seconds(at + STRETCH)).log2()
            })
            .collect();
        speeds.sort_by(f64::total_cmp);
        let Some(&middle) = speeds.get(speeds.len() / 2) else { return f64::INFINITY };
        speeds.iter().map(|speed| (speed - middle).abs()).sum::<f64>() / speeds.len() as f64
    }

    /// By how many semitones the second sounds higher, -5 to 6.
    #[must_use]
    pub fn transposed(&self) -> i32 {
        let up = i32::try_from(self.transposed).unwrap_or_default();
        if up > 6 { up - 12 } else { up }
    }
}

/// Lays `to` along `from`; `None` if either has no sound to go by.
#[must_use]
pub fn align(from: &Evidence, to: &Evidence) -> Option<Alignment> {
    let (a, b) = (Rows::of(from, COARSE, COARSE_WINDOW)?, Rows::of(to, COARSE, COARSE_WINDOW)?);
    let everywhere: Vec<(usize, usize)> = vec![(0, b.len()); a.len()];
    // Old discs run up to a semitone or so off pitch, and singers choose their key.
    let rotations = (0..12).map(|up| (up, warp(&a, &b.lowered(up), &everywhere, by_chance(&a, &b))));
    let (transposed, (_, coarse)) = rotations.min_by(|x, y| x.1.0.total_cmp(&y.1.0))?;

    let (a, b) = (Rows::of(from, FINE, FINE_WINDOW)?, Rows::of(to, FINE, FINE_WINDOW)?.lowered(transposed));
    let band = band(&coarse, a.len(), b.len());
    let by_chance = by_chance(&a, &b);
    let (_, path) = warp(&a, &b, &band, by_chance);
    let mut pairs: Vec<(f64, f64)> = Vec::with_capacity(a.len());
    let mut unlike = Vec::with_capacity(a.len());
    for row in path.chunk_by(|x, y| x.0 == y.0) {
        // A row that stands against several is in their middle.
        let middle = row.iter().map(|step| step.1 as f64).sum::<f64>() / row.len() as f64;
        let cost = row.iter().map(|&(i, j)| a.unlike(i, &b, j)).sum::<f32>() / row.len() as f32;
        let pair = (row[0].0 as f64 / FINE, middle / FINE);
        // Several rows that stand against one would make time stand still; the first of them is kept.
        if pairs.last().is_none_or(|last| pair.1 > last.1) {
            pairs.push(pair);
            unlike.push(cost);
        }
    }
    Some(Alignment { pairs, unlike, by_chance, transposed })
}

/// How unlike rows are that do not belong together: each of the first against one of the second, taken in strides that
/// come round to all parts of it. At least a little, so that it can be divided by.
fn by_chance(a: &Rows, b: &Rows) -> f32 {
    const STRIDE: f64 = 0.618_034;
    let strange =
        (0..a.len()).map(|i| a.unlike(i, b, ((i as f64 * STRIDE).fract() * b.len() as f64) as usize));
    (strange.sum::<f32>() / a.len() as f32).max(0.01)
}

/// Harmony and attacks of one recording, a row a step.
#[derive(Clone)]
struct Rows {
    chroma: Vec<[f32; 12]>,
    attacks: Vec<f32>,
}

impl Rows {
    fn of(evidence: &Evidence, rows_a_second: f64, window: f64) -> Option<Self> {
        let count = (evidence.length.0 * rows_a_second) as usize;
        if count < 2 || evidence.silent {
            return None;
        }
        let passages: Vec<Passage> = (0..count)
            .map(|row| {
                let at = row as f64 / rows_a_second;
                evidence.texture.passage(at - 0.5 * window, at + 0.5 * window)
            })
            .collect();
        let sums = passages.iter().map(|passage| passage.chroma.iter().sum::<f32>());
        let loudest = sums.fold(0.0, f32::max);
        let chroma = passages.iter().map(|passage| direction(&passage.chroma, loudest)).collect();
        Some(Self { chroma, attacks: attacks(evidence, count, rows_a_second) })
    }

    fn len(&self) -> usize {
        self.chroma.len()
    }

    /// The same, `up` semitones lower.
    fn lowered(&self, up: usize) -> Self {
        let chroma =
            self.chroma.iter().map(|row| std::array::from_fn(|class| row[(class + up) % 12])).collect();
        Self { chroma, attacks: self.attacks.clone() }
    }

    fn unlike(&self, i: usize, other: &Self, j: usize) -> f32 {
        let alike: f32 = self.chroma[i].iter().zip(&other.chroma[j]).map(|(a, b)| a * b).sum();
        (1.0 - alike) + ATTACK * (self.attacks[i] - other.attacks[j]).abs()
    }
}

/// A row of pitch classes with length 1, weak ones raised; all alike where there is next to nothing.
fn direction(chroma: &[f32; 12], loudest: f32) -> [f32; 12] {
    let sum: f32 = chroma.iter().sum();
    let even = [(1.0f32 / 12.0).sqrt(); 12];
    if sum <= FAINT * loudest {
        return even;
    }
    let raised = chroma.map(|c| (1.0 + 100.0 * c.max(0.0) / sum).ln());
    let length = raised.iter().map(|c| c * c).sum::<f32>().sqrt();
    if length > 0.0 { raised.map(|c| c / length) } else { even }
}

/// Attacks, 0 to 1, fading away; none in the coarse pass, whose rows are longer than notes.
fn attacks(evidence: &Evidence, count: usize, rows_a_second: f64) -> Vec<f32> {
    let frames_a_second = evidence.onset.len() as f64 / evidence.length.0;
    if rows_a_second < FINE {
        return vec![0.0; count];
    }
    let mut fading = 0.0f32;
    (0..count)
        .map(|row| {
            let frame = |row: usize| {
                ((row as f64 / rows_a_second * frames_a_second) as usize).min(evidence.onset.len())
            };
            let here = evidence.onset[frame(row)..frame(row + 1)].iter().copied().fold(0.0, f32::max);
            fading = (fading * FADING).max((here / (1.0 + here)).clamp(0.0, 1.0));
            fading
        })
        .collect()
}

/// For each fine row of the first recording, the rows of the second that the fine pass may use.
fn band(coarse: &[(usize, usize)], rows: usize, columns: usize) -> Vec<(usize, usize)> {
    let scale = FINE / COARSE;
    let at = |row: f64| {
        let after = coarse.partition_point(|step| step.0 as f64 <= row);
        match (after.checked_sub(1).map(|n| coarse[n]), coarse.get(after)) {
            (Some(a), Some(b)) => a.1 as f64 + (b.1 as f64 - a.1 as f64) * (row - a.0 as f64),
            (Some(a), None) => a.1 as f64 + row - a.0 as f64,
            (None, Some(b)) => b.1 as f64 + row - b.0 as f64,
            (None, None) => row,
        }
    };
    let reach = BAND * FINE;
    let mut band: Vec<(usize, usize)> = (0..rows)
        .map(|row| {
            let middle = at(row as f64 / scale) * scale;
            let slope = (at(row as f64 / scale + 1.0) - at(row as f64 / scale - 1.0)).abs() * scale;
            let reach = reach + slope;
            let from = (middle - reach).max(0.0) as usize;
            (from.min(columns - 1), ((middle + reach) as usize + 1).clamp(1, columns))
        })
        .collect();
    band[0].0 = 0;
    band[rows - 1].1 = columns;
    // Both edges ascend and neighbours overlap, so that there always is a way.
    for row in 1..rows {
        band[row].1 = band[row].1.max(band[row - 1].1);
    }
    for row in (0..rows - 1).rev() {
        band[row].0 = band[row].0.min(band[row + 1].0);
        band[row].1 = band[row].1.max(band[row + 1].0 + 1);
    }
    band
}

/// The cheapest way through, with its cost: steps along one recording cost 1.5, along both 2, and what is left out at
/// either end [`LEFT_OUT`] of `by_chance` a row.
///
/// `band` has, for each row of `a`, the rows of `b` from (included) to (excluded).
fn warp(a: &Rows, b: &Rows, band: &[(usize, usize)], by_chance: f32) -> (f32, Vec<(usize, usize)>) {
    const BOTH: u8 = 0;
    const FIRST: u8 = 1;
    const SECOND: u8 = 2;
    const BEGIN: u8 = 3;
    let skipped = LEFT_OUT * by_chance;
    let last_row = a.len() - 1;
    let mut end = (f32::INFINITY, (last_row, b.len() - 1));
    let mut came: Vec<Vec<u8>> = Vec::with_capacity(a.len());
    let mut before: Vec<f32> = Vec::new();
    for (i, &(from, to)) in band.iter().enumerate() {
        let mut row = vec![f32::INFINITY; to - from];
        let mut how = vec![BOTH; to - from];
        for j in from..to {
            let cost = a.unlike(i, b, j);
            let up = |j: usize| {
                let (start, end) = if i > 0 { band[i - 1] } else { (0, 0) };
                if (start..end).contains(&j) { before[j - start] } else { f32::INFINITY }
            };
            // A way begins where at least one of the two does.
            let begun = if i == 0 || j == 0 { cost + skipped * (i + j) as f32 } else { f32::INFINITY };
            let mut best = (begun, BEGIN);
            let mut consider = |total: f32, way: u8| {
                if total < best.0 {
                    best = (total, way);
                }
            };
            if j > 0 {
                consider(up(j - 1) + 2.0 * cost, BOTH);
            }
            consider(up(j) + 1.5 * cost, FIRST);
            if j > from {
                consider(row[j - 1 - from] + 1.5 * cost, SECOND);
            }
            (row[j - from], how[j - from]) = best;
            if i == last_row || j + 1 == b.len() {
                let total = best.0 + skipped * (last_row - i + b.len() - 1 - j) as f32;
                if total < end.0 {
                    end = (total, (i, j));
                }
            }
        }
        came.push(how);
        before = row;
    }
    let (total, (mut i, mut j)) = end;
    let mut path = vec![(i, j)];
    loop {
        match came[i][j - band[i].0] {
            BEGIN => break,
            FIRST => i -= 1,
            SECOND => j -= 1,
            _ => (i, j) = (i - 1, j - 1),
        }
        path.push((i, j));
    }
    path.reverse();
    (total, path)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(classes: &[usize]) -> Rows {
        let chroma =
            classes.iter().map(|&class| std::array::from_fn(|n| f32::from(u8::from(n == class)))).collect();
        Rows { chroma, attacks: vec![0.0; classes.len()] }
    }

    /// Worked by hand: the second recording holds each of its notes twice as long.
    #[test]
    fn a_slower_copy_is_followed_note_by_note() {
        let (a, b) = (rows(&[0, 2, 4, 5]), rows(&[0, 0, 2, 2, 4, 4, 5, 5]));
        let (cost, path) = warp(&a, &b, &[(0, 8); 4], 1.0);
        assert_eq!(cost, 0.0);
        assert!(path.iter().all(|&(i, j)| i == j / 2), "{path:?}");
    }

    #[test]
    fn what_only_one_of_them_has_is_left_out_at_either_end() {
        let (a, b) = (rows(&[7, 7, 7, 0, 2, 4]), rows(&[0, 2, 4, 11, 11, 11, 11]));
        let (_, path) = warp(&a, &b, &[(0, 7); 6], 1.0);
        assert_eq!(path, [(3, 0), (4, 1), (5, 2)]);
    }

    #[test]
    fn another_key_is_turned_back() {
        let (a, b) = (rows(&[0, 4, 7]), rows(&[2, 6, 9]));
        assert_eq!(b.lowered(2).chroma, a.chroma);
    }

    #[test]
    fn a_band_always_has_a_way_through() {
        for coarse in [vec![(0, 0), (1, 0), (2, 0), (3, 9)], vec![(0, 0), (0, 9), (1, 9), (3, 9)]] {
            let band = band(&coarse, 80, 240);
            let same = rows(&[0; 240]);
            let (cost, path) = warp(&rows(&[0; 80]), &same, &band, 1.0);
            assert!(cost.is_finite());
            assert_eq!((path[0], path[path.len() - 1]), ((0, 0), (79, 239)));
        }
    }
}
