//! Whether counts twice or half as fast were found at all: counts that nobody could move to are not.

use crate::grid::Grid;
use crate::grid::mend::Repair;
use crate::units::Beat;

/// So many beats from the place on are looked at.
const BEATS: usize = 4;

/// Why nothing is to be changed, where twice or half as many counts were asked for and the beats from there on stayed as many.
pub(super) fn refused(repair: &Repair, before: &Grid, after: &Grid) -> Option<String> {
    let (from, twice) = match *repair {
        Repair::Double { from } => (from, true),
        Repair::Halve { from } => (from, false),
        _ => return None,
    };
    let (start, end) = (*before.beats().get(from)?, *before.beats().get(from + BEATS)?);
    // Half a beat of either may lie on the wrong side of the place.
    let slack = 0.25 * (end.0 - start.0) / BEATS as f64;
    let inside = |at: f64| at >= start.0 - slack && at < end.0 - slack;
    let many = after.beats().iter().filter(|at| inside(at.0)).count();
    let done = if twice { many > BEATS } else { many < BEATS };
    if done {
        return None;
    }
    let tempo = before.tempo_at(Beat::from(from)).0;
    let (how, factor, than) = if twice { ("twice", 2.0, "quicker") } else { ("half", 0.5, "slower") };
    Some(format!(
        "{how} as fast, {:.0} counts a minute here, would in places be {than} than a class can follow, so nothing was \
         changed; play, and tap with t",
        factor * tempo
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Seconds;

    fn every(gap: f64, beats: usize) -> Grid {
        Grid::new((0..beats).map(|beat| Seconds(beat as f64 * gap)).collect(), vec![], vec![])
            .expect("ascending")
    }

    #[test]
    fn what_was_not_doubled_or_halved_is_said_and_what_was_is_not() {
        let (double, halve) = (Repair::Double { from: 8 }, Repair::Halve { from: 8 });
        let music = every(0.6, 64);
        assert_eq!(refused(&double, &music, &every(0.3, 128)), None);
        assert_eq!(refused(&halve, &music, &every(1.2, 32)), None);
        let why = refused(&double, &music, &music).expect("as it was");
        assert!(why.len() <= 156, "two rows of 80 columns");
        assert!(why.starts_with("twice as fast, 200 counts a minute here,"), "{why}");
        let why = refused(&halve, &every(1.5, 40), &every(1.5, 40)).expect("as it was");
        assert!(why.starts_with("half as fast, 20 counts a minute here,"), "{why}");
        // A beat or two at the end tell nothing.
        assert_eq!(refused(&Repair::Halve { from: 62 }, &music, &music), None);
        assert_eq!(refused(&Repair::AsHeard, &music, &music), None);
    }
}
