//! Beats and cues as tables for spreadsheets and scripts: CSV as RFC 4180 has it, in UTF-8.

use super::Material;
use super::captions::said;
use crate::dance::Side;
use crate::units::{Beat, Seconds};

/// One row a beat: `beat` from 1, `seconds` to a tenth of a millisecond, bar and phrase from 1 (empty in a pickup).
pub(super) fn beats(material: &Material<'_>) -> String {
    let grid = &material.dance.grid;
    let mut out =
        row(&["beat", "seconds", "bar", "beat in bar", "phrase", "letter", "count", "counts a minute"]
            .map(str::to_owned));
    for (index, &at) in grid.beats().iter().enumerate() {
        let beat = Beat::from(index);
        let bar = grid.bar_at(beat);
        let counted = grid.count_at(beat);
        let in_bar = |number: usize| if bar.bar > 0 { number.to_string() } else { String::new() };
        out += &row(&[
            (index + 1).to_string(),
            seconds(at),
            in_bar(bar.bar),
            in_bar(bar.beat),
            counted.phrase.map_or_else(String::new, |phrase| (phrase.index + 1).to_string()),
            counted.phrase.map_or_else(String::new, |phrase| phrase.letter.to_owned()),
            if counted.phrase.is_some() { counted.count.to_string() } else { String::new() },
            format!("{:.2}", grid.tempo_at(beat).0),
        ]);
    }
    out
}

/// One row a cue. `called` is when its words come up; `why` is there only when notes are asked for.
pub(super) fn cues(material: &Material<'_>) -> String {
    let dance = material.dance;
    let grid = &dance.grid;
    let mut head = [
        "cue",
        "beat",
        "phrase",
        "letter",
        "count",
        "seconds",
        "until",
        "called",
        "counts",
        "words",
        "side",
        "move",
        "how",
        "seated",
        "low impact",
        "caution",
    ]
    .map(str::to_owned)
    .to_vec();
    if material.notes {
        head.push("why".into());
    }
    let mut out = row(&head);
    for (index, cue) in dance.cues.iter().enumerate() {
        let counted = grid.count_at(cue.at);
        let entry = dance.move_of(cue);
        let called = grid.seconds_at(Beat(cue.at.0 - dance.lead_of(index).0));
        let mut cells = vec![
            (index + 1).to_string(),
            plain(cue.at.0 + 1.0),
            counted.phrase.map_or_else(String::new, |phrase| (phrase.index + 1).to_string()),
            counted.phrase.map_or_else(String::new, |phrase| phrase.letter.to_owned()),
            counted.count.to_string(),
            seconds(grid.seconds_at(cue.at)),
            seconds(grid.seconds_at(cue.end())),
            seconds(Seconds(called.0.max(0.0))),
            plain(cue.counts.0),
            said(dance, &crate::dance::Cue { side: None, ..cue.clone() }),
            match cue.side {
                Some(Side::Left) => "left".into(),
                Some(Side::Right) => "right".into(),
                None => String::new(),
            },
            cue.movement.as_ref().map_or_else(String::new, |id| id.0.clone()),
            entry.map_or_else(String::new, |entry| entry.how.clone()),
            entry.map_or_else(String::new, |entry| entry.seated.words.clone()),
            entry.map_or_else(String::new, |entry| entry.low_impact.words.clone()),
            entry.and_then(|entry| entry.caution.clone()).unwrap_or_default(),
        ];
        if material.notes {
            cells.push(cue.why.clone().unwrap_or_default());
        }
        out += &row(&cells);
    }
    out
}

/// One record. RFC 4180: lines end with CR LF; a field with a comma, a quote or a line end stands in quotes, in which a
/// quote is doubled.
fn row(cells: &[String]) -> String {
    let quoted = |cell: &String| {
        if cell.contains([',', '"', '\r', '\n']) {
            format!("\"{}\"", cell.replace('"', "\"\""))
        } else {
            cell.clone()
        }
    };
    cells.iter().map(quoted).collect::<Vec<_>>().join(",") + "\r\n"
}

/// Seconds to a tenth of a millisecond, as the dance file has them.
fn seconds(at: Seconds) -> String {
    format!("{:.4}", at.0 + 0.0)
}

/// A number without needless zeros, to a thousandth.
fn plain(number: f64) -> String {
    format!("{}", (number * 1000.0).round() / 1000.0 + 0.0)
}
