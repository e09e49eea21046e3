//! Beats that the class cannot follow.

use crate::check::scene::Scene;
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::check::wording::number;

pub(in crate::check) const RULE: Rule = Rule {
    id: "beat-level",
    name: "Counts too fast or too slow for the age",
    severity: Severity::Warning,
    needs: Needs::Beats,
    asks: "The counts come at a tempo that the age can follow: 100 to 130 a minute up to 4 years, 80 to 160 up to 6, then \
           33 to 200.",
    why: "Children of three and four keep time near two beats a second only; the range widens between four and seven. No one \
          can follow beats closer than 0.3 s or further apart than 1.8 s for long. Half or double the counts are always \
          to be had from the same music.",
    source: "80 to 160: van Noorden and De Bruyn (421 children); 3 and 4 years: near 2 Hz, Frontiers in Psychology 2020, band \
             ours; 33: Repp 2006 (1800 ms); 200: our decision",
    look,
};

/// Fewer counts than this outside are a passing ritardando. Our decision: two bars of four.
const PASSING: usize = 8;

/// Counts a minute that an age can follow, in the sources above.
fn range(age: u8) -> (f64, f64) {
    match age {
        0..=4 => (100.0, 130.0),
        5 | 6 => (80.0, 160.0),
        _ => (33.0, 200.0),
    }
}

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let age = scene.dance.profile.age;
    let (low, high) = range(age);
    let tempi = scene.tempi();
    // Whole beats a minute: a measured 160.04 is 160.
    let slow = tempi.iter().filter(|tempo| tempo.0.round() < low).count();
    let fast = tempi.iter().filter(|tempo| tempo.0.round() > high).count();
    let follow = format!("at {age} years, {low:.0} to {high:.0} can be followed");
    let enough = PASSING.min(tempi.len());
    let finding = |counts: usize, than: String, remedy: &str| {
        let message = format!("{} of {} come {than}; {follow}.", number(counts, "count"), tempi.len());
        (counts >= enough).then(|| RULE.about_dance(message, remedy))
    };
    let too_slow = finding(
        slow,
        format!("slower than {low:.0} a minute"),
        "Double the grid: count the beats in between.",
    );
    let too_fast =
        finding(fast, format!("faster than {high:.0} a minute"), "Halve the grid: count every second beat.");
    too_slow.into_iter().chain(too_fast).collect()
}

#[cfg(test)]
mod tests {
    use crate::check::sketch::{dance_at, found};

    /// Published for 5 and 6 years: 80 to 160 BPM.
    #[test]
    fn young_children_follow_80_to_160() {
        let at = |bpm, age| found("beat-level", &dance_at(bpm, 64).aged(age)).len();
        assert_eq!([80.0, 120.0, 160.0].map(|bpm| at(bpm, 6)), [0, 0, 0]);
        assert_eq!([78.0, 162.0].map(|bpm| at(bpm, 6)), [1, 1]);
        assert_eq!([78.0, 162.0].map(|bpm| at(bpm, 7)), [0, 0]);
        assert_eq!([90.0, 120.0, 140.0].map(|bpm| at(bpm, 4)), [1, 0, 1]);
        assert_eq!([30.0, 210.0].map(|bpm| at(bpm, 30)), [1, 1]);
    }

    #[test]
    fn the_figures_are_in_the_sentence() {
        assert_eq!(
            found("beat-level", &dance_at(176.0, 64).aged(6))[0].message,
            "64 counts of 64 come faster than 160 a minute; at 6 years, 80 to 160 can be followed."
        );
    }
}
