//! The recording's details as they may be printed: what it is, how long and how fast, never where it lies.

use crate::dance::Dance;
use crate::units::{Bpm, Seconds};

/// A label and what is printed beside it.
pub(super) type Fact = (&'static str, String);

/// Details of the recording and the class, in the order in which they are printed. Those that are unknown are left out.
pub(super) fn facts(dance: &Dance) -> Vec<Fact> {
    let mut facts: Vec<Fact> = Vec::new();
    let mut add = |label, value: Option<String>| {
        facts.extend(value.filter(|value| !value.trim().is_empty()).map(|value| (label, value)));
    };
    add("Recording", dance.recording.title.clone());
    add("Performer", dance.recording.performer.clone());
    add("First published", dance.recording.year.map(|year| year.to_string()));
    add("Length", Some(dance.recording.length()).filter(|length| length.0 > 0.0).map(Seconds::minutes));
    add("Tempo", tempo(dance));
    let phrases = dance.grid.phrases().len();
    let form: Vec<&str> = dance.grid.phrases().iter().map(|phrase| phrase.letter.as_str()).collect();
    add("Form", (phrases > 0).then(|| form.join(" ")));
    add("Counts", Some(dance.grid.len().to_string()));
    add("For", Some(format!("age {} and up", dance.profile.age)));
    facts
}

/// The tempo, or the slowest and the fastest where they differ by more than a tenth: `100 counts a minute`.
fn tempo(dance: &Dance) -> Option<String> {
    let grid = &dance.grid;
    let mut tempi: Vec<Bpm> = grid
        .phrase_spans()
        .map(|span| grid.tempo_at(crate::units::Beat(0.5 * (span.start.0 + span.end.0))))
        .collect();
    if tempi.is_empty() && grid.len() > 1 {
        tempi.push(grid.tempo_at(grid.end()));
    }
    tempi.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (slowest, fastest) = (tempi.first()?.0, tempi.last()?.0);
    Some(if fastest > 1.1 * slowest {
        format!("{slowest:.0} to {fastest:.0} counts a minute")
    } else {
        format!("{:.0} counts a minute", tempi[tempi.len() / 2].0)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn minutes_carry() {
        assert_eq!(Seconds(59.6).minutes(), "1:00");
        assert_eq!(Seconds(93.4).minutes(), "1:33");
        assert_eq!(Seconds(-1.0).minutes(), "0:00");
    }
}
