//! Beats in JSON: JAMS (Humphrey and others, ISMIR 2014; namespaces `beat` and `beat_position` of its published schema
//! 0.3), and what this program itself prints and keeps as JSON.

use super::{Form, Incoming, Mark, Refusal, gathered, without_empty_bars};
use crate::grid::Grid;
use serde_json::Value;

/// Reads the first list of beats in a JSON text.
pub(super) fn read(text: &str) -> Result<Incoming, Refusal> {
    let whole: Value =
        serde_json::from_str(text).map_err(|error| Refusal::NotJson { line: error.line().max(1) })?;
    if let Some(grid) = whole.get("grid").and_then(|grid| serde_json::from_value::<Grid>(grid.clone()).ok()) {
        return gathered(Form::Json, of_grid(&grid), Vec::new());
    }
    // A bare list of times, or one beside its downbeats.
    if let Some(beats) = whole.as_array().or_else(|| whole.get("beats")?.as_array()) {
        let downbeats: Vec<f64> = numbers(whole.get("downbeats"));
        let first = |at: f64| downbeats.iter().any(|bar| (bar - at).abs() < 1e-3);
        let bar = |at: f64| (!downbeats.is_empty()).then(|| first(at));
        return gathered(Form::Json, marks(beats.iter().map(|beat| (beat.as_f64(), bar)))?, Vec::new());
    }
    let annotations = whole.get("annotations").and_then(Value::as_array).ok_or(Refusal::NoBeats)?;
    let space =
        |annotation: &Value| annotation.get("namespace").and_then(Value::as_str).unwrap_or("").to_owned();
    let lists: Vec<&Value> =
        annotations.iter().filter(|list| matches!(space(list).as_str(), "beat" | "beat_position")).collect();
    let list = lists.first().ok_or(Refusal::NoBeats)?;
    let mut notes = Vec::new();
    if lists.len() > 1 {
        notes.push(format!("the file holds {} lists of beats; the first is taken", lists.len()));
    }
    let observations = observations(list);
    let whole_positions =
        observations.iter().filter_map(|(_, value)| position(value)).all(|position| position.fract() == 0.0);
    let mut beats = marks(observations.iter().filter_map(|(time, value)| {
        let position = position(value);
        // Positions between beats, as 1.5, are halves of beats.
        let whole = position.is_none_or(|position| position.fract() == 0.0);
        whole.then_some((*time, move |_| position.map(|position| position == 1.0)))
    }))?;
    if !whole_positions {
        notes.push("what the file has between the beats is left out".into());
    }
    if !ours(list) {
        without_empty_bars(&mut beats);
    }
    phrases(annotations, &mut beats);
    gathered(Form::Json, beats, notes)
}

/// Marks of beats with what tells whether they start a bar; they must ascend.
fn marks<B: Fn(f64) -> Option<bool>>(
    beats: impl Iterator<Item = (Option<f64>, B)>,
) -> Result<Vec<Mark>, Refusal> {
    let mut marks: Vec<Mark> = Vec::new();
    for (index, (at, bar)) in beats.enumerate() {
        let at = at.filter(|at| at.is_finite()).ok_or(Refusal::BeatWithoutTime { index: index + 1 })?;
        if let Some(before) = marks.last().map(|mark| mark.at).filter(|before| *before > at) {
            return Err(Refusal::BeatBack { index: index + 1, before, at });
        }
        marks.push(Mark { at, bar: bar(at), phrase: None });
    }
    Ok(marks)
}

fn of_grid(grid: &Grid) -> Vec<Mark> {
    let beats = grid.beats().iter().enumerate();
    beats
        .map(|(index, at)| {
            let phrase = grid.phrases().iter().find(|phrase| phrase.start == index);
            Mark {
                at: at.0,
                bar: Some(grid.bars().binary_search(&index).is_ok()),
                phrase: phrase.map(|phrase| phrase.letter.clone()),
            }
        })
        .collect()
}

fn numbers(list: Option<&Value>) -> Vec<f64> {
    list.and_then(Value::as_array).into_iter().flatten().filter_map(Value::as_f64).collect()
}

/// Time and value of each observation: a list of objects, or an object of lists, as the schema allows both.
fn observations(annotation: &Value) -> Vec<(Option<f64>, Value)> {
    match annotation.get("data") {
        Some(Value::Array(list)) => list
            .iter()
            .map(|one| {
                let time = one.get("time").and_then(Value::as_f64);
                (time, one.get("value").cloned().unwrap_or(Value::Null))
            })
            .collect(),
        Some(Value::Object(lists)) => {
            let times = lists.get("time").and_then(Value::as_array).into_iter().flatten();
            let values = lists.get("value").and_then(Value::as_array);
            let value = |index: usize| values.and_then(|all| all.get(index)).cloned().unwrap_or(Value::Null);
            times.enumerate().map(|(index, time)| (time.as_f64(), value(index))).collect()
        }
        _ => Vec::new(),
    }
}

/// Which beat of its bar: the value itself in `beat`, one of its parts in `beat_position`.
fn position(value: &Value) -> Option<f64> {
    value.as_f64().or_else(|| value.get("position")?.as_f64())
}

/// Whether this program wrote an annotation.
fn ours(annotation: &Value) -> bool {
    let tool = annotation.get("annotation_metadata").and_then(|about| about.get("annotation_tools"));
    tool.and_then(Value::as_str) == Some("Farandole")
}

/// Phrases, of our own files alone: sections in those of others are mostly longer than what dancers count.
fn phrases(annotations: &[Value], beats: &mut [Mark]) {
    let space = |list: &&Value| list.get("namespace").and_then(Value::as_str) == Some("segment_open");
    let Some(list) = annotations.iter().find(|list| ours(list) && space(list)) else { return };
    for (time, letter) in observations(list) {
        let Some(time) = time else { continue };
        if let Some(beat) = beats.iter_mut().find(|beat| (beat.at - time).abs() < 1e-3) {
            beat.phrase = Some(letter.as_str().unwrap_or("").to_owned());
        }
    }
}
