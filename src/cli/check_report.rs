//! A check's report, in plain text for a terminal of 80 columns and as JSON.

use super::output::count;
use crate::check::{Finding, Fix, Hushed, Landing, Report, Severity};
use crate::dance::Dance;
use crate::grid::Grid;
use crate::units::{Beat, Seconds};
use crate::words::wrapped;
use serde::Serialize;
use std::fmt::Write;

/// Version of the JSON form of a report.
pub(super) const REPORT_SCHEMA: u32 = 1;

/// Columns of a line of text.
const WIDTH: usize = 78;

/// The whole report in words: findings about the whole dance first, then by place, then the figures. Ends with a newline.
pub(super) fn text(dance: &Dance, report: &Report) -> String {
    let mut out = String::new();
    // Writing into a string cannot fail, so the results are let go here and below.
    let _ = writeln!(out, "{}: {}", dance.title, tally(report));
    let placed = report.findings.partition_point(|finding| finding.at.is_none() && finding.cue.is_none());
    let (whole, placed) = report.findings.split_at(placed);
    if !whole.is_empty() {
        let _ = writeln!(out, "\nThe whole dance");
        whole.iter().for_each(|finding| describe(&mut out, finding));
    }
    for group in placed.chunk_by(|a, b| a.cue == b.cue && same_place(a.at, b.at)) {
        let Some(first) = group.first() else { continue };
        let _ = writeln!(out, "\n{}", heading(dance, first));
        group.iter().for_each(|finding| describe(&mut out, finding));
    }
    if !report.hushed.is_empty() {
        let _ = writeln!(out, "\nSilenced");
    }
    for hushed in &report.hushed {
        let at = hushed.finding.at.filter(|at| at.0.is_finite());
        let at = at.map_or_else(String::new, |at| format!(" at {}", place(&dance.grid, at)));
        let reason = if hushed.reason.trim().is_empty() { "no reason given" } else { hushed.reason.trim() };
        for line in wrapped(&format!("[{}]{at}: {reason}", hushed.finding.rule), WIDTH - 2) {
            let _ = writeln!(out, "  {line}");
        }
    }
    let _ = writeln!(out, "\n{}", figures(report));
    out
}

/// The report as JSON, schema version first. Ends with a newline.
///
/// # Errors
/// None in practice: a report holds nothing that JSON cannot. A number that is not finite is written as null.
pub(super) fn json(dance: &Dance, report: &Report) -> Result<String, serde_json::Error> {
    let findings = report
        .findings
        .iter()
        .map(|finding| {
            let at = finding.at.filter(|at| at.0.is_finite());
            PlacedFinding {
                rule: finding.rule,
                severity: finding.severity,
                cue: finding.cue,
                beat: at,
                place: at.map(|at| place(&dance.grid, at)),
                seconds: at.filter(|_| !dance.grid.is_empty()).map(|at| dance.grid.seconds_at(at)),
                message: &finding.message,
                remedy: &finding.remedy,
                fix: finding.fix.as_ref(),
            }
        })
        .collect();
    let whole = JsonReport {
        schema: REPORT_SCHEMA,
        title: &dance.title,
        findings,
        silenced: report.silenced,
        hushed: &report.hushed,
        turns: JsonTurns {
            of: report.turns,
            met: report.turns_met,
            median_distance_counts: report.median_distance.map(|distance| distance.0),
            each: report
                .landings
                .iter()
                .map(|landing| JsonLanding {
                    landing,
                    place: place(&dance.grid, landing.at),
                    seconds: dance.grid.seconds_at(landing.at),
                })
                .collect(),
        },
    };
    Ok(serde_json::to_string_pretty(&whole)? + "\n")
}

#[derive(Serialize)]
struct JsonReport<'a> {
    schema: u32,
    title: &'a str,
    findings: Vec<PlacedFinding<'a>>,
    silenced: usize,
    hushed: &'a [Hushed],
    turns: JsonTurns<'a>,
}

#[derive(Serialize)]
struct JsonTurns<'a> {
    of: usize,
    met: usize,
    median_distance_counts: Option<f64>,
    each: Vec<JsonLanding<'a>>,
}

/// A turn with the cue nearest to it, and its place in words and clock time.
#[derive(Serialize)]
struct JsonLanding<'a> {
    #[serde(flatten)]
    landing: &'a Landing,
    place: String,
    seconds: Seconds,
}

/// A finding with its place in words and clock time; `null` where it has none.
#[derive(Serialize)]
struct PlacedFinding<'a> {
    rule: &'a str,
    severity: Severity,
    cue: Option<usize>,
    beat: Option<Beat>,
    place: Option<String>,
    seconds: Option<Seconds>,
    message: &'a str,
    remedy: &'a str,
    fix: Option<&'a Fix>,
}

/// `2 problems, 1 note (3 silenced)`, or that nothing was found.
fn tally(report: &Report) -> String {
    let parts: Vec<String> = [Severity::Problem, Severity::Warning, Severity::Note]
        .into_iter()
        .filter_map(|severity| match report.count(severity) {
            0 => None,
            n => Some(count(n, word(severity))),
        })
        .collect();
    let found = if parts.is_empty() { "nothing to mend".to_owned() } else { parts.join(", ") };
    if report.silenced == 0 { found } else { format!("{found} ({} silenced)", report.silenced) }
}

/// `5 of 6 turns met within one count, median distance 0.3 counts.`
fn figures(report: &Report) -> String {
    if report.turns == 0 {
        return "No turns to meet.".into();
    }
    let median = report.median_distance.map_or_else(
        || "no cue to measure from".to_owned(),
        |distance| format!("median distance {:.1} counts", distance.0),
    );
    format!("{} of {} met within one count, {median}.", report.turns_met, count(report.turns, "turn"))
}

/// Where a finding is and which cue it is about: `phrase 2 (B), count 5, at 0:12.3: cue 4 'march'`.
fn heading(dance: &Dance, finding: &Finding) -> String {
    let at = finding.at.filter(|at| at.0.is_finite()).map(|at| {
        let place = place(&dance.grid, at);
        if dance.grid.is_empty() { place } else { format!("{place}, at {}", dance.grid.seconds_at(at)) }
    });
    let cue = finding.cue.and_then(|index| {
        let words = dance.words_of(dance.cues.get(index)?);
        Some(if words.is_empty() {
            format!("cue {}", index + 1)
        } else {
            format!("cue {} '{words}'", index + 1)
        })
    });
    let parts: Vec<String> = [at, cue].into_iter().flatten().collect();
    let heading = parts.join(": ");
    let mut letters = heading.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// A position as dancers say it; by bar where there are no phrases, by beat where there are no bars.
fn place(grid: &Grid, at: Beat) -> String {
    if at.0 < -0.0015 {
        return "before the first beat".into();
    }
    if at.0 > grid.end().0 && !grid.is_empty() {
        return "after the end".into();
    }
    // A thousandth before a beat is that beat: positions are saved to a thousandth.
    let at = if at.is_whole() { Beat(at.0.round()) } else { at };
    match (grid.phrases().is_empty(), grid.bars().is_empty()) {
        (false, _) => grid.count_at(at).to_string(),
        (true, false) => grid.bar_at(at).to_string(),
        (true, true) => format!("beat {:.0}", at.0.floor() + 1.0),
    }
}

fn same_place(a: Option<Beat>, b: Option<Beat>) -> bool {
    match (a, b) {
        (Some(a), Some(b)) => (a.0 - b.0).abs() < 0.0015,
        (None, None) => true,
        _ => false,
    }
}

/// Severity, sentence, way out and the rule's identifier, which is what a dance silences.
fn describe(out: &mut String, finding: &Finding) {
    let indent = " ".repeat(11);
    let mut lines = wrapped(&finding.message, WIDTH - indent.len());
    lines.extend(wrapped(&format!("{} [{}]", finding.remedy, finding.rule), WIDTH - indent.len()));
    for (row, line) in lines.iter().enumerate() {
        let margin = if row == 0 { format!("  {:<9}", word(finding.severity)) } else { indent.clone() };
        let _ = writeln!(out, "{margin}{line}");
    }
}

fn word(severity: Severity) -> &'static str {
    match severity {
        Severity::Problem => "problem",
        Severity::Warning => "warning",
        Severity::Note => "note",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::listening::TurnKind;
    use crate::units::Counts;

    /// Sixteen beats at 120 BPM from 1.0 s, a phrase of two bars and another.
    fn dance() -> Dance {
        let dance = serde_json::json!({
            "schema": 1,
            "title": "Cold morning",
            "recording": {"path": "a.wav", "hash": "", "frames": 432_000, "rate": 48_000},
            "profile": {"age": 7, "distance": 3.0},
            "grid": {
                "beats": (0..16).map(|beat| 1.0 + 0.5 * f64::from(beat)).collect::<Vec<_>>(),
                "bars": [0, 4, 8, 12],
                "phrases": [{"start": 0, "letter": "A"}, {"start": 8, "letter": "B"}],
            },
            "moves": [],
            "cues": [{"at": 0.0, "counts": 8.0, "words": "march tall"}, {"at": 12.0, "counts": 8.0, "words": ""}],
        });
        serde_json::from_value(dance).expect("a dance")
    }

    fn report() -> Report {
        let finding = |rule, severity, at, cue, message: &str| Finding {
            rule,
            severity,
            at,
            cue,
            message: message.into(),
            remedy: "Do it another way.".into(),
            fix: None,
        };
        Report {
            findings: vec![
                finding(
                    "clipped",
                    Severity::Note,
                    None,
                    None,
                    "The loudest sample is at 0.0 dB of full scale.",
                ),
                finding(
                    "too-little-time",
                    Severity::Warning,
                    Some(Beat(0.0)),
                    Some(0),
                    "'march tall' takes 2.8 s to read and answer, but its call appears 1.0 s before it (2 counts).",
                ),
                finding(
                    "turn-missed",
                    Severity::Warning,
                    Some(Beat(10.2)),
                    None,
                    "No move shows the crescendo.",
                ),
                finding("past-end", Severity::Problem, Some(Beat(12.0)), Some(1), "It goes on for 4 counts."),
                finding(
                    "no-words",
                    Severity::Problem,
                    Some(Beat(12.0)),
                    Some(1),
                    "The cue has no words to read.",
                ),
            ],
            silenced: 2,
            hushed: vec![
                Hushed {
                    finding: finding("off-grid", Severity::Note, Some(Beat(9.0)), Some(0), "Off."),
                    reason: "meant so, before the beat".into(),
                },
                Hushed {
                    finding: finding("too-quiet", Severity::Note, None, None, "Quiet."),
                    reason: String::new(),
                },
            ],
            turns_met: 1,
            turns: 2,
            median_distance: Some(Counts(1.1)),
            landings: vec![Landing {
                kind: TurnKind::Crescendo,
                at: Beat(9.9),
                cue: Some(1),
                off: Some(Counts(2.1)),
                met: false,
            }],
        }
    }

    #[test]
    fn a_report_names_phrase_count_and_clock_time() {
        let expected = "\
Cold morning: 2 problems, 2 warnings, 1 note (2 silenced)

The whole dance
  note     The loudest sample is at 0.0 dB of full scale.
           Do it another way. [clipped]

Phrase 1 (A), count 1, at 0:01.0: cue 1 'march tall'
  warning  'march tall' takes 2.8 s to read and answer, but its call appears
           1.0 s before it (2 counts).
           Do it another way. [too-little-time]

Phrase 2 (B), count 3, at 0:06.1
  warning  No move shows the crescendo.
           Do it another way. [turn-missed]

Phrase 2 (B), count 5, at 0:07.0: cue 2
  problem  It goes on for 4 counts.
           Do it another way. [past-end]
  problem  The cue has no words to read.
           Do it another way. [no-words]

Silenced
  [off-grid] at phrase 2 (B), count 2: meant so, before the beat
  [too-quiet]: no reason given

1 of 2 turns met within one count, median distance 1.1 counts.
";
        assert_eq!(text(&dance(), &report()), expected);
    }

    #[test]
    fn a_report_without_findings_is_two_sentences() {
        let nothing = Report {
            findings: vec![],
            silenced: 0,
            hushed: vec![],
            turns_met: 0,
            turns: 0,
            median_distance: None,
            landings: vec![],
        };
        assert_eq!(text(&dance(), &nothing), "Cold morning: nothing to mend\n\nNo turns to meet.\n");
    }

    #[test]
    fn json_states_its_schema_and_every_place() {
        let written = json(&dance(), &report()).expect("JSON");
        let value: serde_json::Value = serde_json::from_str(&written).expect("JSON");
        assert!(written.starts_with("{\n  \"schema\": 1,"));
        assert_eq!(
            value["turns"],
            serde_json::json!({
                "of": 2, "met": 1, "median_distance_counts": 1.1,
                "each": [{
                    "kind": "crescendo", "at": 9.9, "cue": 1, "off": 2.1, "met": false,
                    "place": "phrase 2 (B), count 2", "seconds": 5.95,
                }],
            })
        );
        assert_eq!(
            value["findings"][1],
            serde_json::json!({
                "rule": "too-little-time", "severity": "warning", "cue": 0, "beat": 0.0,
                "place": "phrase 1 (A), count 1", "seconds": 1.0, "remedy": "Do it another way.", "fix": null,
                "message":
                    "'march tall' takes 2.8 s to read and answer, but its call appears 1.0 s before it (2 counts).",
            })
        );
        assert_eq!(value["findings"][0]["place"], serde_json::Value::Null);
    }

    #[test]
    fn places_outside_the_music_are_named_so() {
        let grid = dance().grid;
        assert_eq!(place(&grid, Beat(-1.0)), "before the first beat");
        assert_eq!(place(&grid, Beat(1e300)), "after the end");
        assert_eq!(place(&grid, Beat(7.9995)), "phrase 2 (B), count 1");
        assert_eq!(place(&Grid::default(), Beat(4.5)), "beat 5");
    }
}
