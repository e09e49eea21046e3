//! Small words: counting, listing, clock times, and what the marks say.

use crate::listening::types::{Articulation, Dynamic};
use crate::units::Seconds;

/// `1 beat`, `3 beats`.
pub(super) fn count(n: usize, one: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{n} {one}s") }
}

/// `once`, `twice`, `3 times`.
pub(super) fn often(n: usize) -> String {
    match n {
        1 => "once".into(),
        2 => "twice".into(),
        n => format!("{n} times"),
    }
}

/// `a`, `a and b`, `a, b and c`.
pub(super) fn list(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// A length as it is said: `45 seconds`, `1 minute`, `2 minutes 5 seconds`.
pub(super) fn spoken(length: Seconds) -> String {
    let seconds = length.0.max(0.0).round() as usize;
    match (seconds / 60, seconds % 60) {
        (0, rest) => count(rest, "second"),
        (minutes, 0) => count(minutes, "minute"),
        (minutes, rest) => format!("{} {}", count(minutes, "minute"), count(rest, "second")),
    }
}

/// A place on the clock: `1:07`.
pub(super) fn clock(at: Seconds) -> String {
    let seconds = at.0.max(0.0).round() as usize;
    format!("{}:{:02}", seconds / 60, seconds % 60)
}

/// A number of beats as it is said: to the half.
pub(super) fn beats(n: f64) -> String {
    let halves = (2.0 * n).round() as usize;
    match (halves / 2, halves % 2) {
        (0, _) => "less than a beat".into(),
        (whole, 0) => count(whole, "beat"),
        (whole, _) => format!("{whole} and a half beats"),
    }
}

/// What a mark says.
pub(super) fn dynamic(mark: Dynamic) -> &'static str {
    match mark {
        Dynamic::Pp => "very soft",
        Dynamic::P => "soft",
        Dynamic::Mp => "rather soft",
        Dynamic::Mf => "medium loud",
        Dynamic::F => "loud",
        Dynamic::Ff => "very loud",
    }
}

/// What an articulation says, as in "the notes are ..."; `None` for unclear.
pub(super) fn articulation(articulation: Articulation) -> Option<&'static str> {
    match articulation {
        Articulation::Staccato => Some("short, with gaps between them (staccato)"),
        Articulation::Detached => Some("separate, but not very short"),
        Articulation::Legato => Some("smooth and joined (legato)"),
        Articulation::Unclear => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_agree_with_their_nouns() {
        assert_eq!(spoken(Seconds(1.0)), "1 second");
        assert_eq!(spoken(Seconds(59.6)), "1 minute");
        assert_eq!(spoken(Seconds(61.0)), "1 minute 1 second");
        assert_eq!(spoken(Seconds(125.2)), "2 minutes 5 seconds");
        assert_eq!([often(1), often(2), often(3)], ["once", "twice", "3 times"]);
        assert_eq!(beats(0.1), "less than a beat");
        assert_eq!(beats(1.0), "1 beat");
        assert_eq!(beats(2.4), "2 and a half beats");
        assert_eq!(clock(Seconds(59.7)), "1:00");
        assert_eq!(list(&["a".into(), "b".into(), "c".into()]), "a, b and c");
    }
}
