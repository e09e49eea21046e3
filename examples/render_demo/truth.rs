//! What is known for certain about a rendering, for tests that listen to it. Times are seconds from the start of
//! the recording, rounded to a tenth of a millisecond; beats count from 0.

use serde::Serialize;

use crate::curve::Stretch;
use crate::performance::Stroke;
use crate::score::{Score, dynamic_mark};

/// Silences shorter than this are gaps between notes, not rests (seconds).
const SHORTEST_REST: f64 = 1.0;

/// The truth about one recording, as written to `NAME.truth.json`.
#[derive(Debug, Serialize)]
pub struct Truth {
    /// Version of this layout.
    pub schema: u32,
    /// File name of the recording.
    pub audio: String,
    /// Its title.
    pub title: String,
    /// Its length.
    pub duration_s: f64,
    /// Every beat (crotchet) up to the last note's, silent ones included.
    pub beats: Vec<f64>,
    /// First beats of bars among them.
    pub downbeats: Vec<f64>,
    /// Metre from a bar on.
    pub metre: Vec<MetreChange>,
    /// Phrases of the form.
    pub phrases: Vec<PhraseSpan>,
    /// Tempo marks.
    pub tempo: Vec<Change<f64>>,
    /// Held beats.
    pub fermatas: Vec<Span>,
    /// Dynamic marks.
    pub dynamics: Vec<Change<&'static str>>,
    /// Where no key is held for a second or more (the sound may still be dying away); not the end of the piece.
    pub rests: Vec<Span>,
    /// Touch from a beat on.
    pub articulation: Vec<TouchSpan>,
    /// Every moment at which notes are heard to begin: the first of those that share a place in the score.
    pub onsets: Vec<f64>,
}

/// Metre in force from `start_s`.
#[derive(Debug, Serialize)]
pub struct MetreChange {
    /// First bar, from 1.
    pub bar: usize,
    /// Its first beat.
    pub start_s: f64,
    /// Beats in a bar.
    pub beats: f64,
}

/// One phrase.
#[derive(Debug, Serialize)]
pub struct PhraseSpan {
    /// Letter of the form.
    pub letter: String,
    /// What it is.
    pub name: String,
    /// First beat, from 0.
    pub start_beat: f64,
    /// Number of beats.
    pub beats: f64,
    /// Time of the first beat.
    pub start_s: f64,
    /// Time of the next phrase's first beat, or of the end of the last bar.
    pub end_s: f64,
}

/// A mark that holds from `start_s`, or that moves until `end_s`.
#[derive(Debug, Serialize)]
pub struct Change<T> {
    /// `start` (the opening mark), `sudden`, or the name of a gradual change.
    pub kind: &'static str,
    /// First beat, from 0.
    pub start_beat: f64,
    /// Time of it.
    pub start_s: f64,
    /// Where the gradual change is complete; `start_s` for a sudden one.
    pub end_s: f64,
    /// Value before.
    pub from: T,
    /// Value after.
    pub to: T,
}

/// A stretch of time.
#[derive(Debug, Serialize)]
pub struct Span {
    /// Start.
    pub start_s: f64,
    /// End.
    pub end_s: f64,
}

/// A touch in force.
#[derive(Debug, Serialize)]
pub struct TouchSpan {
    /// Start.
    pub start_s: f64,
    /// End.
    pub end_s: f64,
    /// `staccato`, `detached`, `tenuto` or `legato`.
    pub touch: &'static str,
}

/// The truth about a performance of `score` in the file `audio`.
pub fn truth(score: &Score, strokes: &[Stroke], audio: &str) -> Truth {
    let seconds = |beat: f64| round(score.seconds_at(beat));
    let last = score.last_onset();
    let bars = &score.metre.bars;
    let mut metre: Vec<MetreChange> = Vec::new();
    for (bar, pair) in bars.windows(2).enumerate() {
        let beats = pair[1] - pair[0];
        if metre.last().is_none_or(|m| m.beats != beats) {
            metre.push(MetreChange { bar: bar + 1, start_s: seconds(pair[0]), beats });
        }
    }
    let ends =
        |starts: Vec<f64>| -> Vec<f64> { starts.into_iter().skip(1).chain([score.metre.end()]).collect() };
    let phrase_ends = ends(score.phrases.iter().map(|p| p.start).collect());
    let touch_ends = ends(score.touches.iter().map(|t| t.0).collect());
    Truth {
        schema: 1,
        audio: audio.to_owned(),
        title: score.title.clone(),
        duration_s: round(score.duration()),
        beats: (0..=last.floor() as u32).map(|beat| seconds(f64::from(beat))).collect(),
        downbeats: bars.iter().filter(|bar| **bar <= last).map(|bar| seconds(*bar)).collect(),
        metre,
        phrases: score
            .phrases
            .iter()
            .zip(phrase_ends)
            .map(|(phrase, end)| PhraseSpan {
                letter: phrase.letter.clone(),
                name: phrase.name.clone(),
                start_beat: phrase.start,
                beats: end - phrase.start,
                start_s: seconds(phrase.start),
                end_s: seconds(end),
            })
            .collect(),
        tempo: changes(score, score.tempo.curve().stretches(), ["accelerando", "ritardando"], round),
        fermatas: score
            .tempo
            .holds()
            .iter()
            .map(|hold| Span { start_s: seconds(hold.beat), end_s: seconds(hold.beat + 1.0) })
            .collect(),
        dynamics: changes(score, score.dynamics.stretches(), ["crescendo", "diminuendo"], dynamic_mark),
        rests: rests(strokes),
        articulation: score
            .touches
            .iter()
            .zip(touch_ends)
            .map(|((start, touch), end)| TouchSpan {
                start_s: seconds(*start),
                end_s: seconds(end),
                touch: touch.word(),
            })
            .collect(),
        onsets: onsets(strokes),
    }
}

/// A mark may be a jump, a ramp, or a jump and then a ramp: each is told apart, in order.
fn changes<T: Copy>(
    score: &Score,
    stretches: &[Stretch],
    [rising, falling]: [&'static str; 2],
    value: impl Fn(f64) -> T,
) -> Vec<Change<T>> {
    let mut changes = Vec::new();
    let mut before: Option<f64> = None;
    for stretch in stretches {
        let mut push = |kind, end, from: f64, to: f64| {
            changes.push(Change {
                kind,
                start_beat: stretch.start,
                start_s: round(score.seconds_at(stretch.start)),
                end_s: round(score.seconds_at(end)),
                from: value(from),
                to: value(to),
            });
        };
        match before {
            None => push("start", stretch.start, stretch.from, stretch.from),
            Some(old) if old != stretch.from => push("sudden", stretch.start, old, stretch.from),
            Some(_) => {}
        }
        if stretch.is_ramp() {
            let kind = if stretch.to > stretch.from { rising } else { falling };
            push(kind, stretch.end, stretch.from, stretch.to);
        }
        before = Some(stretch.to);
    }
    changes
}

fn rests(strokes: &[Stroke]) -> Vec<Span> {
    let mut rests = Vec::new();
    let mut held_until = f64::INFINITY;
    // Drum keys stay down long after the sound: a stroke's own moment is all that counts of them.
    let silent_from = |s: &Stroke| if s.channel == 9 { s.down } else { s.up };
    for stroke in strokes {
        if stroke.down - held_until >= SHORTEST_REST {
            rests.push(Span { start_s: round(held_until), end_s: round(stroke.down) });
        }
        held_until =
            if held_until.is_finite() { held_until.max(silent_from(stroke)) } else { silent_from(stroke) };
    }
    rests
}

fn onsets(strokes: &[Stroke]) -> Vec<f64> {
    let mut by_place: Vec<(f64, f64)> = strokes.iter().map(|s| (s.beat, s.heard)).collect();
    by_place.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    by_place.dedup_by(|later, first| (later.0 - first.0).abs() < 1e-6);
    by_place.into_iter().map(|(_, heard)| round(heard)).collect()
}

fn round(seconds: f64) -> f64 {
    (seconds * 10_000.0).round() / 10_000.0
}
