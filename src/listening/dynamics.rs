//! Dynamic marks, pp to ff, relative to the recording: no published standard ties a mark to a level, and
//! neighbours matter more than decibels (Kosta and others 2016-2018, on 2000 recordings of mazurkas).
//! The rule here is ours; `docs/turns.md` says why. Gain changes no mark.

use super::loudness::{Envelope, SILENCE, quantile};
use super::types::{Dynamic, Dynamics};
use crate::units::Lufs;

/// Smallest distance between the middles of neighbouring marks, in LU (common practice: 3 to 6 dB a mark).
const STEP: f64 = 3.0;

/// Marks by loudness range: p stands at the 20th percentile of short-term loudness and f at the 80th, the rest
/// evenly between and beyond; the fewer marks, the smaller the range. Empty in silence.
pub(super) fn dynamics(envelope: &Envelope) -> Dynamics {
    use Dynamic::{F, Ff, Mf, Mp, P, Pp};
    let levels = envelope.played_short_term();
    let q = |share| quantile(&levels, share);
    let (Some(low), Some(soft), Some(loud), Some(high)) = (q(0.10), q(0.20), q(0.80), q(0.95)) else {
        return Dynamics { marks: Vec::new() };
    };
    // Each mark with its place on a line where p is 0 and f is 1.
    let marks: &[(Dynamic, f64)] = match high - low {
        range if range >= 15.0 => {
            &[(Pp, -1.0 / 3.0), (P, 0.0), (Mp, 1.0 / 3.0), (Mf, 2.0 / 3.0), (F, 1.0), (Ff, 4.0 / 3.0)]
        }
        range if range >= 10.0 => &[(Pp, -0.5), (P, 0.0), (Mf, 0.5), (F, 1.0), (Ff, 1.5)],
        range if range >= 6.0 => &[(P, 0.0), (Mf, 0.5), (F, 1.0)],
        range if range >= 4.0 => &[(P, 0.0), (F, 1.0)],
        _ => &[(Mf, 0.5)],
    };
    let apart = marks.get(1).map_or(1.0, |second| second.1 - marks[0].1);
    let unit = (loud - soft).max(STEP / apart);
    let place = |at: f64| 0.5 * (soft + loud) + (at - 0.5) * unit;
    let lowest = |index: usize| match index {
        0 => SILENCE,
        _ => place(0.5 * (marks[index - 1].1 + marks[index].1)),
    };
    Dynamics { marks: marks.iter().enumerate().map(|(i, (mark, _))| (*mark, Lufs(lowest(i)))).collect() }
}
