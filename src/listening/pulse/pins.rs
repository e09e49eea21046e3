//! Pins: what the teacher's anchors ask of the search for beats.
//!
//! A beat given exactly is pinned to its step. A tap is pinned to a window, since hands scatter by some 30 ms and
//! lead by about as much (Repp 2005). Taps that follow one another closely were meant as neighbouring beats: nothing
//! lies between them, which settles the metrical level.

use super::constraints::Constraints;
use super::scores::{HeardJump, Scores};
use super::search::{ANY_TEMPO, STEPS_PER_SECOND, bin_of, bins_near};
use crate::grid::{Anchor, LONGEST_HOLD};
use crate::units::Seconds;
use std::ops::RangeInclusive;

/// How early a tap is taken to come: a tap is meant for a beat this much later (Repp 2005).
pub const TAP_LEAD: Seconds = Seconds(0.03);
/// Scatter of taps: one standard deviation, in seconds.
const SCATTER: f64 = 0.035;
/// A tap's window reaches this far to either side, or less between close taps.
const REACH: f64 = 0.12;
/// The same as a share of the time to the next tap.
const REACH_SHARE: f64 = 0.3;
/// Pins closer than this are one beat; the later word counts.
const CLOSEST: f64 = 0.22;
/// Taps up to this far apart are neighbouring beats.
const NEIGHBOURS: f64 = 1.85;
/// A gap in a run of taps this much longer than usual is a tap that was left out.
const LEFT_OUT: f64 = 1.6;

/// How far the tempo may leave the level that was tapped, in bins: under half of the way to half as fast again.
const LEVEL_ROOM: usize = 10;
/// Farther than this from the tempo that is expected, the beats that were heard without the taps have changed their level.
pub(super) const OTHER_LEVEL: usize = 14;
/// How much more a trusted level costs to leave.
const CERTAIN: f32 = 3.0;
/// Steadiness at which the rhythm breaks off, and from which it goes on.
const BROKEN: f32 = 0.35;
const WHOLE: f32 = 0.6;
/// By how much an event must be likelier than a beat to have been taken for a subdivision, in tempered log-odds.
const TAKEN: f32 = 0.35;
/// Most combinations of jumps that are followed from a tapped place.
const MOST_SUMS: usize = 24;

/// A place that needs exactly one beat.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Pin {
    /// Where it is most likely, seconds.
    pub(crate) at: f64,
    /// Whether it is exactly there, rather than tapped near there.
    pub(crate) exact: bool,
    /// Earliest and latest step.
    pub(crate) window: RangeInclusive<usize>,
    /// Whether the beat of the pin before is held until here.
    pub(crate) held: bool,
}

/// A pin in the making.
#[derive(Debug, Clone, Copy)]
struct Wanted {
    at: f64,
    exact: bool,
    /// From when a beat is held until here.
    held_from: Option<f64>,
}

impl Wanted {
    /// Whether this and what is wanted at `at` are the same beat.
    fn beside(&self, at: f64) -> bool {
        (self.at - at).abs() < CLOSEST
    }
}

/// The pins of a list of anchors, ascending, disjoint, within `steps`.
pub(crate) fn pins(anchors: &[Anchor], steps: usize) -> Vec<Pin> {
    if steps == 0 {
        return Vec::new();
    }
    let last = steps.saturating_sub(1) as f64 / f64::from(STEPS_PER_SECOND) + 0.01;
    let inside = |at: f64| (0.0..=last).contains(&at);
    let mut wanted: Vec<Wanted> = Vec::new();
    for anchor in anchors {
        match *anchor {
            Anchor::Tap { at } if inside(at.0 + TAP_LEAD.0) => want(&mut wanted, at.0 + TAP_LEAD.0, false),
            Anchor::Beat { at } if inside(at.0) => want(&mut wanted, at.0, true),
            Anchor::Hold { at, until }
                if inside(at.0)
                    && inside(until.0)
                    && (CLOSEST..=LONGEST_HOLD.0).contains(&(until.0 - at.0)) =>
            {
                hold(&mut wanted, at.0, until.0);
            }
            _ => {}
        }
    }
    wanted.sort_by(|a, b| a.at.total_cmp(&b.at));
    (0..wanted.len())
        .map(|n| {
            let Wanted { at, exact, held_from } = wanted[n];
            let before = n.checked_sub(1).map(|before| &wanted[before]);
            let gap = |other: Option<&Wanted>| other.map_or(f64::INFINITY, |other| (other.at - at).abs());
            let nearest = gap(before).min(gap(wanted.get(n + 1)));
            let reach = if exact { 0.0 } else { REACH.min(REACH_SHARE * nearest) };
            let step =
                |at: f64| ((at * f64::from(STEPS_PER_SECOND)).max(0.0) as usize).min(steps.saturating_sub(1));
            // Where she has tapped into a hold since, there is none any more.
            let held = held_from.is_some_and(|from| before.is_some_and(|b| b.exact && b.beside(from)));
            Pin { at, exact, window: step(at - reach)..=step(at + reach), held }
        })
        .collect()
}

/// Wants a beat at `at` that is held until `until`.
fn hold(wanted: &mut Vec<Wanted>, at: f64, until: f64) {
    wanted.retain(|other| other.beside(at) || other.beside(until) || other.at < at || other.at > until);
    want(wanted, at, true);
    want(wanted, until, true);
    for end in wanted.iter_mut().filter(|wanted| wanted.at == until) {
        end.held_from = Some(at);
    }
}

/// Wants a beat at `at`: an exact beat outranks taps beside it, otherwise the later word does.
fn want(wanted: &mut Vec<Wanted>, at: f64, exact: bool) {
    if !exact && wanted.iter().any(|other| other.exact && other.beside(at)) {
        return;
    }
    // A beat that is nudged is still the one that another is held until.
    let held_from = wanted.iter().filter(|other| other.beside(at)).find_map(|other| other.held_from);
    wanted.retain(|other| !other.beside(at));
    wanted.push(Wanted { at, exact, held_from });
}

/// Makes the search obey `pins`, and adds to `beat` how well each step agrees with the taps.
pub(crate) fn constrain(pins: &[Pin], constraints: &mut Constraints, scores: &mut Scores) {
    let (Some(first), Some(last)) = (pins.first(), pins.last()) else { return };
    hold_level(pins, constraints, scores);
    let counted = constraints.told || !constraints.as_heard.is_empty();
    if counted && taken_for_subdivisions(pins, scores) {
        (scores.beat, scores.sub) = (scores.either.beat.clone(), scores.either.sub.clone());
    }
    let beat = &mut scores.beat;
    let steps = beat.len();
    constraints.begin.end = constraints.begin.end.min(first.window.end() + 1);
    constraints.end_from = constraints.end_from.max(*last.window.start());
    let mut done = 0;
    for t in 0..steps {
        while pins.get(done).is_some_and(|pin| *pin.window.end() < t) {
            done += 1;
        }
        if let Some(pin) = done.checked_sub(1).map(|before| &pins[before]) {
            constraints.earliest[t] = constraints.earliest[t].max(*pin.window.start() as u32);
        }
    }
    let usual = usual_gap(pins);
    for pair in pins.windows(2) {
        if neighbours(pair, usual(pair[0].at)) {
            constraints.allowed[pair[0].window.end() + 1..*pair[1].window.start()].fill(false);
        }
    }
    for pair in pins.windows(2).filter(|pair| pair[1].held) {
        let (from, to) = (*pair[0].window.end(), *pair[1].window.start());
        if from + 1 < to {
            constraints.allowed[from + 1..to].fill(false);
            constraints.holds.push((from, to));
        }
    }
    for pin in pins {
        for t in pin.window.clone() {
            let off = (t as f64 + 0.5) / f64::from(STEPS_PER_SECOND) - pin.at;
            if !pin.exact {
                beat[t] -= (0.5 * (off / SCATTER).powi(2)) as f32;
            }
            constraints.allowed[t] = true;
            constraints.loose[t] = true;
            (constraints.bins[t], constraints.level[t]) = (ANY_TEMPO, ANY_TEMPO);
        }
    }
}

/// Whether the taps lie on what was heard as subdivisions: then she counts the other half of the events, and what was
/// heard as beats and as subdivisions serves for both.
fn taken_for_subdivisions(pins: &[Pin], scores: &Scores) -> bool {
    let best = |odds: &[f32], pin: &Pin| {
        odds.get(pin.window.clone()).unwrap_or_default().iter().copied().fold(f32::MIN, f32::max)
    };
    let taps = pins.iter().filter(|pin| !pin.exact);
    let (mut more, mut all) = (0, 0);
    for pin in taps {
        all += 1;
        more += usize::from(best(&scores.either.beat, pin) > best(&scores.beat, pin) + TAKEN);
    }
    2 * more > all
}

/// Whether no beat lies between `before` and `pin`, which follows it in `pins`: one is held, or they were tapped in a run.
pub(crate) fn nothing_between(before: &Pin, pin: &Pin, pins: &[Pin]) -> bool {
    pin.held || neighbours(&[before.clone(), pin.clone()], usual_gap(pins)(before.at))
}

/// Taps that follow one another as neighbouring beats, run by run.
pub(super) fn runs(pins: &[Pin]) -> impl Iterator<Item = &[Pin]> {
    let usual = usual_gap(pins);
    pins.chunk_by(move |a, b| neighbours(&[a.clone(), b.clone()], usual(a.at)))
}

/// Whether two neighbouring pins are neighbouring beats.
fn neighbours(pair: &[Pin], usual: f64) -> bool {
    let taps = !pair[0].exact && !pair[1].exact;
    taps && pair[1].at - pair[0].at <= NEIGHBOURS.min(LEFT_OUT * usual)
}

/// Keeps the whole piece at the level that was tapped: its tempo is that of the nearest tapped beats, changed by as
/// much as the pace of the music has changed since, with room for freedom but not for another level. Where the taps count
/// what was heard without them otherwise, the tempo is that of those beats, counted so: it drifts less than the pace does.
/// Taps that only say again how quick it is mend the beats around them and leave the level of all others alone.
fn hold_level(pins: &[Pin], constraints: &mut Constraints, scores: &Scores) {
    let usual = usual_gap(pins);
    let steps = constraints.bins.len();
    let as_heard = |pair: &[Pin]| constraints.as_heard.iter().any(|taps| taps.contains(&pair[0].at));
    let tapped: Vec<(usize, isize)> = pins
        .windows(2)
        .filter(|pair| neighbours(pair, usual(pair[0].at)) && !as_heard(pair))
        .filter_map(|pair| {
            let middle = (0.5 * (pair[0].at + pair[1].at) * f64::from(STEPS_PER_SECOND)) as usize;
            let bin = bin_of((usual(pair[0].at) * f64::from(STEPS_PER_SECOND)) as f32);
            Some((middle, bin as isize - isize::from(*scores.slowing.get(middle)?)))
        })
        .collect();
    if tapped.is_empty() {
        return;
    }
    constraints.told = true;
    let trust = trust(&scores.steadiness, &tapped);
    let mut known: Option<((usize, usize), Vec<isize>)> = None;
    for (t, &trust) in trust.iter().enumerate().take(steps) {
        let Some(&(at, level)) = nearest_tapped(&tapped, t) else { continue };
        let between = scores
            .heard_jumps
            .iter()
            .filter(|j| j.steps.end > at.min(t) && j.steps.start < at.max(t))
            .count();
        let jumps = match &known {
            Some((key, jumps)) if *key == (at, between) => jumps,
            _ => &known.insert(((at, between), jumps_between(&scores.heard_jumps, at, t))).1,
        };
        let expected = level + isize::from(scores.slowing[t]);
        let bins = jumps.iter().fold(0, |bins, jump| bins | bins_near(expected + jump, LEVEL_ROOM));
        let counted = constraints.counted.get(t).copied().flatten();
        // Where the tempo is heard to jump on the way, the jumps are the better guide: theirs is what differs so much.
        if let Some(bin) = counted.filter(|bin| bin.abs_diff(expected) <= OTHER_LEVEL) {
            constraints.level[t] = bins_near(bin, LEVEL_ROOM);
            constraints.level_price[t] = 1.0 + CERTAIN;
        } else if bins != 0 {
            constraints.level[t] = bins;
            constraints.level_price[t] = 1.0 + CERTAIN * trust;
        }
    }
}

fn nearest_tapped(tapped: &[(usize, isize)], t: usize) -> Option<&(usize, isize)> {
    let after = tapped.partition_point(|&(at, _)| at < t);
    let near = [after.checked_sub(1), (after < tapped.len()).then_some(after)];
    near.into_iter().flatten().map(|n| &tapped[n]).min_by_key(|(at, _)| at.abs_diff(t))
}

/// How far the tapped level can be trusted at each step, 0 to 1: wholly, until the rhythm breaks off in a way that
/// no change of tempo explains.
fn trust(steadiness: &[f32], tapped: &[(usize, isize)]) -> Vec<f32> {
    let mut trust = vec![0.0f32; steadiness.len()];
    for &(at, _) in tapped {
        for direction in [-1isize, 1] {
            let mut least = 1.0f32;
            let mut t = at;
            while t < steadiness.len() {
                least = least.min(((steadiness[t] - BROKEN) / (WHOLE - BROKEN)).clamp(0.0, 1.0));
                // Beyond a place that another pair of taps has reached as well, nothing new is learnt.
                if least <= trust[t] && t != at {
                    break;
                }
                trust[t] = trust[t].max(least);
                let Some(next) = t.checked_add_signed(direction) else { break };
                t = next;
            }
        }
    }
    trust
}

/// By how many bins the tempo may have jumped from step `from` to step `to`, given what was clearly heard.
fn jumps_between(heard: &[HeardJump], from: usize, to: usize) -> Vec<isize> {
    let mut sums = vec![0isize];
    let (low, high, sign) = if from <= to { (from, to, 1) } else { (to, from, -1) };
    let mut until = 0;
    let mut before: Vec<isize> = sums.clone();
    for jump in heard.iter().filter(|jump| jump.clear && jump.steps.end > low && jump.steps.start < high) {
        // Rivals for one and the same jump overlap: only one of them happened, or none.
        if jump.steps.start >= until {
            before.clone_from(&sums);
        }
        until = until.max(jump.steps.end);
        for sum in &before {
            let sum = sum + sign * isize::from(jump.bins);
            if sums.len() < MOST_SUMS && !sums.contains(&sum) {
                sums.push(sum);
            }
        }
    }
    sums
}

/// The usual gap between the taps around an instant: the median of those within four seconds.
fn usual_gap(pins: &[Pin]) -> impl Fn(f64) -> f64 {
    let gaps: Vec<(f64, f64)> = pins
        .windows(2)
        .map(|pair| (pair[0].at, pair[1].at - pair[0].at))
        .filter(|&(_, gap)| gap <= NEIGHBOURS)
        .collect();
    move |at| {
        let mut near: Vec<f64> =
            gaps.iter().filter(|(from, _)| (from - at).abs() <= 4.0).map(|&(_, gap)| gap).collect();
        near.sort_by(f64::total_cmp);
        near.get(near.len() / 2).copied().unwrap_or(NEIGHBOURS)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tap(at: f64) -> Anchor {
        Anchor::Tap { at: Seconds(at) }
    }

    #[test]
    fn pins_are_disjoint_and_exact_beats_outrank_taps() {
        let anchors =
            [tap(1.0), Anchor::Beat { at: Seconds(1.1) }, tap(1.2), tap(2.0), tap(f64::NAN), tap(-4.0)];
        let pins = pins(&anchors, 500);
        assert_eq!(pins.len(), 2);
        assert_eq!((pins[0].at, pins[0].exact, &pins[0].window), (1.1, true, &(55..=55)));
        assert!(pins[0].window.end() < pins[1].window.start());
    }

    #[test]
    fn nothing_lies_between_neighbouring_taps_but_where_one_was_left_out() {
        let pins = pins(&[0.97, 1.47, 1.97, 2.97, 3.47].map(tap), 500);
        let mut constraints = Constraints::none(500);
        let mut scores = Scores {
            beat: vec![0.0; 500],
            slowing: vec![0; 500],
            steadiness: vec![1.0; 500],
            ..Scores::default()
        };
        constrain(&pins, &mut constraints, &mut scores);
        assert!(!constraints.allowed[62] && constraints.allowed[125]);
        assert_eq!(constraints.earliest[90], *pins[1].window.start() as u32);
    }

    #[test]
    fn a_hold_lasts_until_she_says_otherwise() {
        let hold = Anchor::Hold { at: Seconds(1.0), until: Seconds(4.0) };
        let held = |anchors: &[Anchor]| -> Vec<(f64, bool)> {
            pins(anchors, 500).iter().map(|pin| (pin.at, pin.held)).collect()
        };
        assert_eq!(held(&[tap(2.0), hold.clone()]), [(1.0, false), (4.0, true)]);
        // Its end, nudged, is still its end; a tap inside it ends it.
        let nudged = Anchor::Beat { at: Seconds(4.05) };
        assert_eq!(held(&[hold.clone(), nudged]), [(1.0, false), (4.05, true)]);
        assert_eq!(held(&[hold.clone(), tap(1.97)]).len(), 3);
        assert!(held(&[hold.clone(), tap(1.97)]).iter().all(|(_, held)| !held));
        let on = Anchor::Hold { at: Seconds(4.0), until: Seconds(6.0) };
        assert_eq!(held(&[hold, on]), [(1.0, false), (4.0, true), (6.0, true)]);
        for nonsense in [(4.0, 1.0), (1.0, 1.1), (1.0, 600.0), (f64::NAN, 2.0)] {
            let hold = Anchor::Hold { at: Seconds(nonsense.0), until: Seconds(nonsense.1) };
            assert_eq!(held(&[hold]), []);
        }
    }
}
