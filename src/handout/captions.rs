//! The calls as captions for a video player: WebVTT and SubRip.
//!
//! A caption says what to do now, what comes next while its call is up, and what is asked. Captions never overlap, because
//! SubRip players may drop one of two.

use super::Material;
use super::cautions::GENERAL;
use super::rights;
use crate::dance::reading::{SHORTEST_SHOWN, time_needed};
use crate::dance::{Cue, Dance, Side};
use crate::units::{Beat, Seconds};
use std::fmt::Write;

/// Lines that are up from one instant to another, in milliseconds.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Caption {
    from: u64,
    until: u64,
    lines: Vec<String>,
}

/// What a cue says, with its side where it has one: `step-touch (left first)`. On one line, whatever was typed.
pub(super) fn said(dance: &Dance, cue: &Cue) -> String {
    let words = one_line(dance.words_of(cue));
    match cue.side {
        _ if words.is_empty() => words,
        Some(Side::Left) => format!("{words} (left first)"),
        Some(Side::Right) => format!("{words} (right first)"),
        None => words,
    }
}

/// Text on one line, with single spaces and without control characters.
pub(super) fn one_line(text: &str) -> String {
    let printable: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    printable.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// WebVTT (W3C Candidate Recommendation of 4 April 2019), with the cautions and the note on rights as comments.
pub(super) fn webvtt(material: &Material<'_>) -> String {
    let dance = material.dance;
    let mut out = "WEBVTT\n".to_owned();
    let mut note = |lines: &[String]| {
        let lines: Vec<String> = lines.iter().map(|line| escaped(&one_line(line))).collect();
        // Writing into a string cannot fail, so the results are let go here and below.
        let _ = write!(out, "\nNOTE\n{}\n", lines.join("\n"));
    };
    note(&[format!("The calls of the dance: {}", dance.title)]);
    note(&GENERAL.iter().map(|&line| line.to_owned()).collect::<Vec<_>>());
    note(&rights::note(dance.recording.year));
    for (index, caption) in captions(dance).iter().enumerate() {
        let lines: Vec<String> = caption.lines.iter().map(|line| escaped(line)).collect();
        let _ = write!(
            out,
            "\n{}\n{} --> {}\n{}\n",
            index + 1,
            clock(caption.from, '.'),
            clock(caption.until, '.'),
            lines.join("\n")
        );
    }
    out
}

/// SubRip. It has no standard and no way to escape: brackets that players take for markup become other brackets.
pub(super) fn subrip(material: &Material<'_>) -> String {
    let mut out = String::new();
    for (index, caption) in captions(material.dance).iter().enumerate() {
        let lines: Vec<String> = caption.lines.iter().map(|line| unmarked(line)).collect();
        let _ = write!(
            out,
            "{}\r\n{} --> {}\r\n{}\r\n\r\n",
            index + 1,
            clock(caption.from, ','),
            clock(caption.until, ','),
            lines.join("\r\n")
        );
    }
    out
}

/// Text in a WebVTT cue: the three characters that could begin a tag, an escape or an arrow.
fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

fn unmarked(text: &str) -> String {
    text.replace('<', "\u{2039}").replace('>', "\u{203A}").replace('{', "(").replace('}', ")")
}

/// `00:01:07.250`; hours may have more than two digits.
fn clock(milliseconds: u64, point: char) -> String {
    let (seconds, rest) = (milliseconds / 1000, milliseconds % 1000);
    format!("{:02}:{:02}:{:02}{point}{rest:03}", seconds / 3600, seconds / 60 % 60, seconds % 60)
}

fn milliseconds(at: Seconds) -> u64 {
    (at.0 * 1000.0).round().max(0.0) as u64
}

/// The captions of a dance, in order, none over another, each with something to read.
fn captions(dance: &Dance) -> Vec<Caption> {
    let lines = lines(dance);
    let mut edges: Vec<u64> = lines.iter().flat_map(|line| [line.from, line.until]).collect();
    edges.sort_unstable();
    edges.dedup();
    let mut captions: Vec<Caption> = Vec::new();
    for pair in edges.windows(2) {
        let (from, until) = (pair[0], pair[1]);
        let up: Vec<String> = lines
            .iter()
            .filter(|line| line.from <= from && line.until >= until)
            .flat_map(|line| line.lines.clone())
            .collect();
        match captions.last_mut() {
            _ if up.is_empty() => {}
            Some(last) if last.until == from && last.lines == up => last.until = until,
            _ => captions.push(Caption { from, until, lines: up }),
        }
    }
    captions
}

/// Every line with the time it is up: what is danced first, then what comes next, then what is asked.
fn lines(dance: &Dance) -> Vec<Caption> {
    let at = |beat: Beat| milliseconds(dance.grid.seconds_at(beat));
    let mut lines = Vec::new();
    let mut add = |from: u64, until: u64, text: String| {
        if from < until && !text.is_empty() {
            lines.push(Caption { from, until, lines: vec![text] });
        }
    };
    for cue in &dance.cues {
        add(at(cue.at), at(cue.end()), said(dance, cue));
    }
    for (index, cue) in dance.cues.iter().enumerate() {
        let words = said(dance, cue);
        // One call at a time: the next one waits until this one is danced.
        let before = index.checked_sub(1).map_or(0, |before| at(dance.cues[before].at));
        let called = at(Beat(cue.at.0 - dance.lead_of(index).0)).max(before);
        add(called, at(cue.at), if words.is_empty() { words } else { format!("next: {words}") });
    }
    for prompt in &dance.prompts {
        let question = one_line(&prompt.question);
        let shown = time_needed(&question, dance.profile.age).0.max(SHORTEST_SHOWN.0);
        let from = dance.grid.seconds_at(prompt.at);
        add(milliseconds(from), milliseconds(from.plus(Seconds(shown))), question);
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clocks_carry_and_grow_past_a_day() {
        assert_eq!(clock(0, '.'), "00:00:00.000");
        assert_eq!(clock(3_599_999, ','), "00:59:59,999");
        assert_eq!(clock(360_000_000, '.'), "100:00:00.000");
        assert_eq!(milliseconds(Seconds(-3.0)), 0);
    }

    #[test]
    fn nothing_typed_becomes_markup_or_another_caption() {
        assert_eq!(escaped("a --> b <c> & d"), "a --&gt; b &lt;c&gt; &amp; d");
        assert_eq!(one_line(" up\n\n2\r\n00:00 \u{0} down "), "up 2 00:00 down");
        assert_eq!(unmarked("<i>{\\an8}up"), "\u{2039}i\u{203A}(\\an8)up");
    }
}
