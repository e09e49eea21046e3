//! Leaving: what a beat is worth towards every tempo and subdivision that the next may have.

use super::scores::Scores;
use super::search::{BINS, NEVER, ROW};
use super::settings::Settings;

/// Drift of tempo between beats: at most so many bins.
pub(super) const DRIFT: usize = 4;
/// Farthest jump: a ratio of 1.59, so that no jump changes the metrical level by an octave.
pub(super) const JUMP: usize = 24;
/// Price of any change at all, where the teacher's own beats call for it.
pub(super) const FORCED: f32 = 60.0;

/// Bins with room for the farthest jump on either side.
const WIDE: usize = BINS + 2 * JUMP;
type Wide = [f32; WIDE];

/// Prices of drifting by so many bins.
pub(super) fn drifts(settings: &Settings) -> [f32; DRIFT + 1] {
    std::array::from_fn(|bins| {
        settings.drift * bins as f32 + settings.drift_square * (bins.saturating_sub(1) as f32).powi(2)
    })
}

/// What leaving costs.
pub(super) struct Leaving<'a> {
    scores: &'a Scores,
    drifts: [f32; DRIFT + 1],
    resubdivide: f32,
    /// Whether any jump is heard, by step: few are, and all of them need not be asked at every step.
    heard: Vec<bool>,
}

impl<'a> Leaving<'a> {
    pub(super) fn new(settings: &Settings, scores: &'a Scores) -> Self {
        let mut heard = vec![false; scores.beat.len()];
        for jump in &scores.heard_jumps {
            if let Some(steps) = heard.get_mut(jump.steps.clone()) {
                steps.fill(true);
            }
        }
        Self { scores, drifts: drifts(settings), resubdivide: settings.resubdivide, heard }
    }

    /// Appends the scores with which a beat at `t`, as good as `row` in each state and `best` in one, can be left towards
    /// each; where it is `loose`, any change may be bought.
    #[inline(always)]
    pub(super) fn leave(&self, t: usize, row: &[f32; ROW], best: f32, loose: bool, rows: &mut Vec<f32>) {
        if best <= NEVER {
            rows.extend_from_slice(&[NEVER; ROW]);
            return;
        }
        let mut two = [NEVER; BINS];
        let mut three = [NEVER; BINS];
        self.change_tempo(t, &row[..BINS], &mut two);
        self.change_tempo(t, &row[BINS..], &mut three);
        let least = if loose { best - FORCED } else { f32::MIN };
        for (a, b) in two.iter_mut().zip(&mut three) {
            let (x, y) = (*a, *b);
            *a = larger(larger(x, y - self.resubdivide), least);
            *b = larger(larger(y, x - self.resubdivide), least);
        }
        rows.extend_from_slice(&two);
        rows.extend_from_slice(&three);
    }

    /// The same within one subdivision.
    #[inline(always)]
    fn change_tempo(&self, t: usize, half: &[f32], out: &mut [f32; BINS]) {
        // Every sum is made from a row that is not written to: a vector that straddles two just written has to wait.
        let mut row: Wide = [NEVER; WIDE];
        row[JUMP..JUMP + BINS].copy_from_slice(half);
        let mut widest: Wide = [NEVER; WIDE];
        let mut other: Wide = [NEVER; WIDE];
        // The largest of 2, 4, 8, 16 and 32 bins from each on.
        widen::<1>(&row, &mut widest);
        widen::<2>(&widest, &mut other);
        widen::<4>(&other, &mut widest);
        widen::<8>(&widest, &mut other);
        widen::<16>(&other, &mut widest);
        let jump = self.scores.jump[t];
        const SECOND: usize = 2 * JUMP + 1 - 32;
        for (bin, out) in out.iter_mut().enumerate() {
            let here = bin + JUMP;
            // Both ends of a jump's range: 32 bins from its first, 32 up to its last.
            let mut best = larger(widest[bin], widest[bin + SECOND]) - jump;
            best = larger(best, row[here]);
            for (by, price) in self.drifts.iter().enumerate().skip(1) {
                best = larger(best, larger(row[here - by], row[here + by]) - price);
            }
            *out = best;
        }
        if self.heard[t] {
            for heard in self.scores.heard_jumps.iter().filter(|heard| heard.steps.contains(&t)) {
                // One bin to either side, since the jump is not heard more finely.
                for bins in heard.bins - 1..=heard.bins + 1 {
                    shift(out, half, isize::from(bins), heard.price);
                }
            }
        }
    }
}

/// Raises `out` to what comes from `half`, so many bins away, at a price.
fn shift(out: &mut [f32; BINS], half: &[f32], bins: isize, price: f32) {
    for (bin, out) in out.iter_mut().enumerate() {
        if let Some(source) = bin.checked_add_signed(-bins).and_then(|source| half.get(source)) {
            *out = larger(*out, source - price);
        }
    }
}

/// The larger of each and the one `BY` further on.
#[inline(always)]
fn widen<const BY: usize>(from: &Wide, to: &mut Wide) {
    for ((to, near), far) in to[..WIDE - BY].iter_mut().zip(from).zip(&from[BY..]) {
        *to = larger(*near, *far);
    }
}

/// The larger of two scores: there is no other than numbers, which need no more than one instruction.
#[inline(always)]
pub(super) fn larger(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}
