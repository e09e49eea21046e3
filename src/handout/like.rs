//! What a phrase is like, in the pairs a class moves to: loud or soft, quick or slow, short or smooth.

use crate::listening::{Articulation, Dynamic, Listening};
use crate::units::Bpm;

/// `loud (f), 100 a minute, short notes (staccato)`; what was not heard is left out. `tempo` is the dance's own.
pub(super) fn words(heard: Option<&Listening>, phrase: usize, tempo: Bpm) -> String {
    // Where all is about equally loud, a mark of its own would say more than was heard.
    let flat = heard.is_some_and(|heard| heard.dynamics.flat());
    let heard = heard.and_then(|heard| heard.phrases.get(phrase));
    let loud = heard.and_then(|heard| heard.dynamic).map(|mark| {
        if flat {
            return "as loud as the rest".to_owned();
        }
        let word = match mark {
            Dynamic::Pp => "very soft",
            Dynamic::P => "soft",
            Dynamic::Mp => "rather soft",
            Dynamic::Mf => "rather loud",
            Dynamic::F => "loud",
            Dynamic::Ff => "very loud",
        };
        format!("{word} ({mark})")
    });
    let notes = heard.and_then(|heard| match heard.articulation {
        Articulation::Staccato => Some("short notes (staccato)".to_owned()),
        Articulation::Detached => Some("separate notes".to_owned()),
        Articulation::Legato => Some("smooth notes (legato)".to_owned()),
        Articulation::Unclear => None,
    });
    let quick = Some(format!("{:.0} a minute", tempo.0));
    [loud, quick, notes].into_iter().flatten().collect::<Vec<_>>().join(", ")
}
