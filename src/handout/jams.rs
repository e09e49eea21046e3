//! Beats and phrases for music research: JAMS 0.3 (Humphrey and others, "JAMS: A JSON Annotated Music Specification",
//! ISMIR 2014), which many analysis programs read.

use super::Material;
use super::captions::one_line;
use super::cautions::GENERAL;
use super::rights;
use crate::grid::Grid;
use crate::units::{Beat, Seconds};
use serde_json::{Value, json};

/// The version of the published schema that this keeps to.
const VERSION: &str = "0.3.5";

/// The whole file: beats with their place in the bar, phrases with their letters, the calls as segments of their own.
pub(super) fn jams(material: &Material<'_>) -> String {
    let dance = material.dance;
    let grid = &dance.grid;
    let end = grid.seconds_at(grid.end());
    let length = Seconds(dance.recording.length().0.max(end.0));
    let mut file = json!({
        "duration": rounded(length),
        "identifiers": {},
        "jams_version": VERSION,
        "title": dance.recording.title.as_deref().map_or_else(|| one_line(&dance.title), one_line),
        "artist": dance.recording.performer.as_deref().map_or_else(String::new, one_line),
        "release": "",
    });
    if let Some(year) = dance.recording.year {
        file["identifiers"] = json!({ "year_of_first_publication": year });
    }
    let calls: Vec<Value> = dance
        .cues
        .iter()
        .filter_map(|cue| {
            let (from, until) = (grid.seconds_at(cue.at), grid.seconds_at(cue.end()));
            let from = Seconds(from.0.max(0.0));
            let words = super::captions::said(dance, cue);
            (until.0 > from.0 && !words.is_empty())
                .then(|| observation(from, Seconds(until.0 - from.0), json!(words)))
        })
        .collect();
    let annotation = |namespace: &str, rules: &str, data: Vec<Value>| {
        json!({
            "namespace": namespace,
            "data": data,
            "annotation_metadata": {
                "annotation_tools": "Farandole",
                "annotation_rules": rules,
                "data_source": "program, corrected by hand",
                "version": "1",
                "corpus": "",
                "validation": "",
                "annotator": {},
            },
            "sandbox": {},
            "time": 0.0,
            "duration": rounded(length),
        })
    };
    let whole = json!({
        "file_metadata": file,
        "annotations": [
            annotation("beat", "value: place of the beat in its bar, from 1; null before the first bar", beats(grid)),
            annotation("segment_open", "phrases; those that sound alike share a letter", phrases(grid)),
            annotation("segment_open", "moves of the dance, as they are called", calls),
        ],
        "sandbox": { "farandole": { "cautions": GENERAL, "rights": rights::note(dance.recording.year) } },
    });
    serde_json::to_string_pretty(&whole).unwrap_or_default() + "\n"
}

fn beats(grid: &Grid) -> Vec<Value> {
    let place = |index: usize| {
        let bar = grid.bar_at(Beat::from(index));
        if bar.bar > 0 { json!(bar.beat) } else { Value::Null }
    };
    let beats = grid.beats().iter().enumerate();
    beats.map(|(index, &at)| observation(at, Seconds(0.0), place(index))).collect()
}

fn phrases(grid: &Grid) -> Vec<Value> {
    grid.phrase_spans()
        .map(|span| {
            let (from, until) = (grid.seconds_at(span.start), grid.seconds_at(span.end));
            observation(from, Seconds(until.0 - from.0), json!(one_line(span.letter)))
        })
        .collect()
}

fn observation(at: Seconds, lasts: Seconds, value: Value) -> Value {
    json!({ "time": rounded(at), "duration": rounded(lasts), "value": value, "confidence": null })
}

/// To a tenth of a millisecond, as the dance file has times.
fn rounded(at: Seconds) -> f64 {
    (at.0 * 1e4).round() / 1e4 + 0.0
}
