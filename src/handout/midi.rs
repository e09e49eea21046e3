//! The grid as a Standard MIDI File (MIDI 1.0, RP-001): a tempo map that follows the beats of the recording, so that a
//! notation or sequencing program can be laid beside it.
//!
//! Every beat is a quarter note. Tempo changes with every beat, rounded so that no beat is off by more than a
//! microsecond however long the piece. A beat that is held for longer than a tempo can say (16.777215 s a quarter note, 24
//! bits) takes several quarter notes; a marker says so, and its bar is as many longer. Phrases, turns and questions are markers, cues are cue points, and a wood block
//! plays the counts.

use super::Material;
use super::captions::{one_line, said};
use super::cautions::GENERAL;
use crate::grid::Grid;
use crate::trail::Trail;
use crate::units::Beat;
use midly::num::{u4, u7, u15, u24, u28};
use midly::{Format, Header, MetaMessage, MidiMessage, Smf, Timing, Track, TrackEvent, TrackEventKind};

/// Ticks in a quarter note.
const QUARTER: u32 = 480;

/// The longest quarter note that a tempo can say, in microseconds: 24 bits.
const SLOWEST: f64 = 16_777_215.0;

/// The shortest: no program counts faster than this. Our decision.
const FASTEST: f64 = 1_000.0;

/// The furthest tick that one distance in a file can reach: 28 bits, some 80 hours at 120 beats a minute.
const LONGEST: u32 = 0x0FFF_FFFF;

/// The channel of percussion, counted from 0, and its high and low wood block (General MIDI 1).
const PERCUSSION: u8 = 9;
const HIGH: u8 = 76;
const LOW: u8 = 77;

/// The marker that stands on the first beat: what comes before it only fills the time up to there.
pub(crate) const FIRST_BEAT: &str = "first beat";

/// The marker that stands on the first bar: what comes before it has bars of one beat, which are none.
pub(crate) const FIRST_BAR: &str = "first bar";

/// The marker on a beat of several quarter notes: `held beat: 2 quarter notes`.
pub(crate) const HELD: &str = "held beat: ";

/// Where the beats lie in ticks, and the tempo in force from some ticks on.
struct Map {
    /// Tick of each beat, and of the end of the last.
    beats: Vec<u32>,
    /// Ticks with the length of a quarter note from there on, in microseconds.
    tempi: Vec<(u32, u32)>,
}

impl Map {
    fn of(grid: &Grid) -> Self {
        let mut map = Self { beats: Vec::new(), tempi: Vec::new() };
        let (mut tick, mut now) = (0u32, 0.0f64);
        let first = grid.beats().first().map_or(0.0, |beat| beat.0);
        let usual = grid.seconds_at(Beat(1.0)).0 - first;
        // Whole quarter notes of about the first tempo fill the time before the first beat.
        map.stretch(&mut tick, &mut now, first, (first / usual.max(0.05)).round().max(1.0));
        map.beats.push(tick);
        for beat in 1..=grid.len() {
            map.stretch(&mut tick, &mut now, grid.seconds_at(Beat::from(beat)).0, 1.0);
            map.beats.push(tick);
        }
        map
    }

    /// Fills the time from `now` until `until` seconds with `quarters` quarter notes, or more where they would be too slow.
    /// What rounding leaves over goes into the next stretch.
    fn stretch(&mut self, tick: &mut u32, now: &mut f64, until: f64, quarters: f64) {
        let span = (until - *now) * 1e6;
        if span < FASTEST {
            return;
        }
        let quarters = quarters.max((span / SLOWEST).ceil());
        let length = (span / quarters).round().clamp(FASTEST, SLOWEST);
        if quarters > 1.0 && length * quarters != span {
            // The last one takes up what rounding would add up to over many.
            let most = quarters - 1.0;
            self.stretch_evenly(tick, now, most, length);
            return self.stretch(tick, now, until, 1.0);
        }
        self.stretch_evenly(tick, now, quarters, length);
    }

    /// Fills time with quarter notes of a length in microseconds.
    fn stretch_evenly(&mut self, tick: &mut u32, now: &mut f64, quarters: f64, length: f64) {
        if self.tempi.last().is_none_or(|last| f64::from(last.1) != length) {
            self.tempi.push((*tick, length as u32));
        }
        // A file cannot count further than this; the time of such a grid is past following anyway.
        *tick = tick.saturating_add((quarters as u32).saturating_mul(QUARTER)).min(LONGEST);
        *now += quarters * length / 1e6;
    }

    /// Quarter notes from one beat to another.
    fn quarters(&self, from: usize, to: usize) -> usize {
        let last = self.beats.len() - 1;
        ((self.beats[to.min(last)] - self.beats[from.min(last)]) / QUARTER) as usize
    }

    /// The tick of a position, which may lie between beats or outside them.
    fn tick(&self, at: Beat) -> u32 {
        let last = self.beats.len() - 1;
        let place = at.0.clamp(0.0, last as f64);
        let from = place.floor() as usize;
        let to = (from + 1).min(last);
        let span = f64::from(self.beats[to]) - f64::from(self.beats[from]);
        (f64::from(self.beats[from]) + (place - from as f64) * span).round() as u32
    }
}

/// Events of one track, in no order yet.
struct Events<'a>(Vec<(u32, TrackEventKind<'a>)>);

impl<'a> Events<'a> {
    fn add(&mut self, tick: u32, message: MetaMessage<'a>) {
        self.0.push((tick, TrackEventKind::Meta(message)));
    }

    fn key(&mut self, tick: u32, key: u8, velocity: u8) {
        let message = MidiMessage::NoteOn { key: u7::new(key), vel: u7::new(velocity) };
        self.0.push((tick, TrackEventKind::Midi { channel: u4::new(PERCUSSION), message }));
    }

    /// In order, as distances, closed at `end`.
    fn track(mut self, end: u32) -> Track<'a> {
        // Stable: what was added first at a tick stays first.
        self.0.sort_by_key(|event| event.0);
        let last = self.0.last().map_or(0, |event| event.0).max(end);
        self.add(last, MetaMessage::EndOfTrack);
        let mut before = 0;
        self.0
            .into_iter()
            .map(|(tick, kind)| {
                let delta = u28::new(tick - before);
                before = tick;
                TrackEvent { delta, kind }
            })
            .collect()
    }
}

/// The whole file, format 1: tempo and markers, cue points, counts.
pub(super) fn midi(material: &Material<'_>) -> Vec<u8> {
    let dance = material.dance;
    let grid = &dance.grid;
    let map = Map::of(grid);
    let end = map.tick(grid.end());
    let title = one_line(&dance.title);
    let trail = Trail::new(grid, material.heard, dance.recording.length());
    let markers = markers(material, &map, &trail);
    let cues: Vec<(u32, String)> = dance
        .cues
        .iter()
        .map(|cue| (map.tick(cue.at), said(dance, cue)))
        .filter(|(_, words)| !words.is_empty())
        .collect();

    let mut conductor = Events(Vec::new());
    conductor.add(0, MetaMessage::TrackName(title.as_bytes()));
    for caution in GENERAL {
        conductor.add(0, MetaMessage::Text(caution.as_bytes()));
    }
    for (tick, beats) in signatures(grid, &map) {
        conductor.add(tick, MetaMessage::TimeSignature(beats, 2, 24, 8));
    }
    for &(tick, length) in &map.tempi {
        conductor.add(tick, MetaMessage::Tempo(u24::new(length)));
    }
    for (tick, words) in &markers {
        conductor.add(*tick, MetaMessage::Marker(words.as_bytes()));
    }
    let mut calls = Events(Vec::new());
    calls.add(0, MetaMessage::TrackName(b"cues"));
    for (tick, words) in &cues {
        calls.add(*tick, MetaMessage::CuePoint(words.as_bytes()));
    }
    let mut counts = Events(Vec::new());
    counts.add(0, MetaMessage::TrackName(b"counts"));
    for (beat, pair) in map.beats.windows(2).enumerate() {
        let (key, velocity) = if grid.bars().binary_search(&beat).is_ok() { (HIGH, 110) } else { (LOW, 80) };
        counts.key(pair[0], key, velocity);
        counts.key(pair[0] + (pair[1] - pair[0]).min(QUARTER) / 4, key, 0);
    }
    let tracks = vec![conductor.track(end), calls.track(end), counts.track(end)];
    let timing = Timing::Metrical(u15::new(QUARTER as u16));
    let mut bytes = Vec::new();
    // Writing into memory cannot fail.
    let _ = Smf { header: Header::new(Format::Parallel, timing), tracks }.write_std(&mut bytes);
    bytes
}

/// The first beat, phrases, turns and questions, in that order where they fall together.
fn markers(material: &Material<'_>, map: &Map, trail: &Trail) -> Vec<(u32, String)> {
    let grid = &material.dance.grid;
    let mut markers = vec![(map.tick(Beat(0.0)), FIRST_BEAT.to_owned())];
    markers.extend(grid.bars().first().map(|&bar| (map.beats[bar], FIRST_BAR.to_owned())));
    for (beat, quarters) in (0..grid.len()).map(|beat| (beat, map.quarters(beat, beat + 1))) {
        if quarters > 1 {
            markers.push((map.beats[beat], format!("{HELD}{quarters} quarter notes")));
        }
    }
    for span in grid.phrase_spans() {
        markers
            .push((map.tick(span.start), format!("phrase {} ({})", span.index + 1, one_line(span.letter))));
    }
    for landmark in trail.landmarks() {
        markers.push((map.tick(grid.beat_at(landmark.at)), format!("turn: {}", landmark.word)));
    }
    for prompt in &material.dance.prompts {
        markers.push((map.tick(prompt.at), format!("question: {}", one_line(&prompt.question))));
    }
    markers
}

/// Bars as time signatures, only where they change. What comes before the first bar has bars of one beat, so that every bar
/// of the recording is a bar here; a held beat of several quarter notes makes its bar as many longer.
fn signatures(grid: &Grid, map: &Map) -> Vec<(u32, u8)> {
    let bars = grid.bars();
    let mut signatures: Vec<(u32, u8)> = Vec::new();
    if bars.first().is_none_or(|&first| map.beats[first] > 0) {
        signatures.push((0, 1));
    }
    let mut before = None;
    for (index, &from) in bars.iter().enumerate() {
        // The last bar is taken to be as many beats long as the one before it.
        let beats = match (bars.get(index + 1), before) {
            (Some(next), _) => next - from,
            (None, Some(before)) => before,
            (None, None) => grid.len() - from,
        };
        before = Some(beats);
        let held = map.quarters(from, from + beats).saturating_sub(beats.min(grid.len() - from));
        let length = u8::try_from((beats + held).max(1)).unwrap_or(u8::MAX);
        if signatures.last().is_none_or(|last| last.1 != length) {
            signatures.push((map.beats[from], length));
        }
    }
    signatures
}
