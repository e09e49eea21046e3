//! Reads a score from its text. The format is described in `docs/demo.md`; this module must not make music.

use std::collections::BTreeMap;

use crate::curve::{Curve, Stretch};
use crate::notes::{Touch, Tune};
use crate::score::{DYNAMICS, Metre, Part, Phrase, Score, Voice};
use crate::tempo::{Hold, TempoMap};

/// What is wrong with a score, and where; the writer of the score can mend it.
#[derive(Debug, thiserror::Error, PartialEq)]
#[error("line {line}: {what}")]
pub struct ScoreError {
    /// Line number from 1; 0 where the whole score is meant.
    pub line: usize,
    /// The fault as a sentence.
    pub what: String,
}

/// A section of the text: its heading's words and its lines with their numbers.
struct Section<'a> {
    line: usize,
    heading: Vec<&'a str>,
    lines: Vec<(usize, &'a str)>,
}

type Outcome<T> = Result<T, ScoreError>;

/// Turns a sentence into an error at a line.
fn on(line: usize) -> impl Fn(String) -> ScoreError {
    move |what| ScoreError { line, what }
}

fn fault<T>(line: usize, what: impl Into<String>) -> Outcome<T> {
    Err(ScoreError { line, what: what.into() })
}

/// The score that `text` describes.
///
/// Errors name the line of the first fault: an unknown word, a bar that is not full, a place outside the piece.
pub fn parse(text: &str) -> Outcome<Score> {
    let sections = sections(text);
    let head = settings(&sections[0])?;
    let metre = metre(find(&sections, "metre")?)?;
    let (tempo, holds) = tempo(find(&sections, "tempo")?, &metre)?;
    let dynamics = find(&sections, "dynamics")?;
    let dynamics = Curve::new(marks(dynamics, &metre, velocity)?).map_err(on(dynamics.line))?;
    let touches = touches(find(&sections, "touch")?, &metre)?;
    let phrases = phrases(find(&sections, "phrases")?, &metre)?;
    let mut tunes = BTreeMap::new();
    for section in sections.iter().filter(|s| s.heading.first() == Some(&"tune")) {
        let [_, name] = section.heading[..] else {
            return fault(section.line, "a tune needs one name");
        };
        if tunes.insert(name, tune(section)?).is_some() {
            return fault(section.line, format!("there are two tunes '{name}'"));
        }
    }
    let mut parts = Vec::new();
    for section in sections.iter().filter(|s| s.heading.first() == Some(&"part")) {
        parts.push(part(section, &metre, &tunes)?);
    }
    if parts.iter().filter(|p: &&Part| p.voice != Voice::Drums).count() > 15 {
        return fault(0, "there are more than fifteen pitched parts");
    }
    for section in &sections[1..] {
        let known = ["metre", "tempo", "dynamics", "touch", "phrases", "tune", "part"];
        if !section.heading.first().is_some_and(|word| known.contains(word)) {
            return fault(section.line, format!("'{}' is not a section", section.heading.join(" ")));
        }
    }
    Ok(Score {
        title: head.word("title")?.to_owned(),
        artist: head.word("artist")?.to_owned(),
        seed: head.number("seed")? as u64,
        loudness: head.number("loudness")?,
        lead_in: head.number("lead-in")?,
        tail: head.number("tail")?,
        metre,
        tempo: TempoMap::new(tempo, holds).map_err(on(0))?,
        dynamics,
        touches,
        phrases,
        parts,
    })
}

fn sections(text: &str) -> Vec<Section<'_>> {
    let mut sections = vec![Section { line: 0, heading: vec![], lines: vec![] }];
    for (index, line) in text.lines().enumerate() {
        let line = line.split(" # ").next().unwrap_or("").trim();
        if line.is_empty() || line.starts_with('#') {
            continue;
        }
        if let Some(heading) = line.strip_prefix('[').and_then(|l| l.strip_suffix(']')) {
            let heading = heading.split_whitespace().collect();
            sections.push(Section { line: index + 1, heading, lines: vec![] });
        } else if let Some(section) = sections.last_mut() {
            section.lines.push((index + 1, line));
        }
    }
    sections
}

fn find<'a, 'b>(sections: &'b [Section<'a>], name: &str) -> Outcome<&'b Section<'a>> {
    match sections.iter().find(|s| s.heading == [name]) {
        Some(section) => Ok(section),
        None => fault(0, format!("the section '[{name}]' is missing")),
    }
}

/// The `word value` lines before the first section.
struct Settings<'a>(BTreeMap<&'a str, (usize, &'a str)>);

impl Settings<'_> {
    fn word(&self, name: &str) -> Outcome<&str> {
        match self.0.get(name) {
            Some((_, value)) => Ok(value),
            None => fault(0, format!("'{name}' is missing")),
        }
    }

    fn number(&self, name: &str) -> Outcome<f64> {
        let value = self.word(name)?;
        number(self.0.get(name).map_or(0, |(line, _)| *line), value)
    }
}

fn settings<'a>(section: &Section<'a>) -> Outcome<Settings<'a>> {
    let mut values = BTreeMap::new();
    for &(line, text) in &section.lines {
        let (name, value) = text.split_once(char::is_whitespace).unwrap_or((text, ""));
        if !["title", "artist", "seed", "loudness", "lead-in", "tail"].contains(&name) {
            return fault(line, format!("'{name}' is not a setting"));
        }
        values.insert(name, (line, value.trim()));
    }
    Ok(Settings(values))
}

fn number(line: usize, word: &str) -> Outcome<f64> {
    match word.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        _ => fault(line, format!("'{word}' is not a number")),
    }
}

fn metre(section: &Section) -> Outcome<Metre> {
    let mut changes: Vec<(usize, f64)> = Vec::new();
    let mut bars = vec![0.0];
    for &(line, text) in &section.lines {
        let words: Vec<&str> = text.split_whitespace().collect();
        let bar = match words[..] {
            [_, bar] if words[0] == "end" => bar,
            [bar, _] => bar,
            _ => return fault(line, "a metre line is 'BAR BEATS/4' or 'end BAR'"),
        };
        let bar = match bar.parse::<usize>() {
            Ok(bar) if (1..=2000).contains(&bar) && bar >= bars.len() => bar,
            _ => return fault(line, format!("'{bar}' is not a later bar")),
        };
        match changes.last() {
            None if bar != 1 || words[0] == "end" => {
                return fault(line, "the first metre must stand at bar 1");
            }
            None => {}
            Some((_, beats)) => {
                while bars.len() < bar {
                    bars.push(bars[bars.len() - 1] + beats);
                }
            }
        }
        if words[0] == "end" {
            return Ok(Metre { bars });
        }
        match words[1].strip_suffix("/4").and_then(|b| b.parse::<u8>().ok()) {
            Some(beats @ 2..=6) => changes.push((bar, f64::from(beats))),
            _ => return fault(line, format!("'{}' is not a metre of 2/4 to 6/4", words[1])),
        }
    }
    fault(section.line, "the metre has no 'end'")
}

/// `BAR` or `BAR:BEAT`, both from 1, as beats from the start of the piece.
fn place(line: usize, word: &str, metre: &Metre) -> Outcome<f64> {
    let (bar, beat) = word.split_once(':').unwrap_or((word, "1"));
    let beat = bar.parse().ok().zip(beat.parse().ok()).and_then(|(bar, beat)| metre.beat(bar, beat));
    match beat {
        Some(beat) => Ok(beat),
        None => fault(line, format!("'{word}' is not a place in the piece")),
    }
}

/// Lines `PLACE VALUE` and `PLACE VALUE to VALUE at PLACE`.
fn marks(
    section: &Section,
    metre: &Metre,
    value: impl Fn(usize, &str) -> Outcome<f64>,
) -> Outcome<Vec<Stretch>> {
    let mut stretches = Vec::new();
    for &(line, text) in &section.lines {
        let words: Vec<&str> = text.split_whitespace().collect();
        stretches.push(match words[..] {
            ["hold", ..] => continue,
            [start, level] => {
                let (start, level) = (place(line, start, metre)?, value(line, level)?);
                Stretch { start, end: start, from: level, to: level }
            }
            [start, from, "to", to, "at", end] => Stretch {
                start: place(line, start, metre)?,
                end: place(line, end, metre)?,
                from: value(line, from)?,
                to: value(line, to)?,
            },
            _ => return fault(line, "a mark is 'PLACE VALUE' or 'PLACE VALUE to VALUE at PLACE'"),
        });
        if stretches.last().is_some_and(|s| s.end < s.start) {
            return fault(line, "the mark ends before it starts");
        }
    }
    Ok(stretches)
}

fn tempo(section: &Section, metre: &Metre) -> Outcome<(Curve, Vec<Hold>)> {
    let mut holds = Vec::new();
    for &(line, text) in &section.lines {
        let words: Vec<&str> = text.split_whitespace().collect();
        match words[..] {
            ["hold", at, extra] => {
                holds.push(Hold { beat: place(line, at, metre)?, extra: number(line, extra)? });
            }
            ["hold", ..] => return fault(line, "a fermata is 'hold PLACE BEATS'"),
            _ => {}
        }
    }
    let curve = Curve::new(marks(section, metre, number)?).map_err(on(section.line))?;
    Ok((curve, holds))
}

fn velocity(line: usize, word: &str) -> Outcome<f64> {
    match DYNAMICS.iter().find(|(mark, _)| *mark == word) {
        Some((_, velocity)) => Ok(*velocity),
        None => fault(line, format!("'{word}' is not a dynamic from ppp to fff")),
    }
}

fn touch(line: usize, word: &str) -> Outcome<Touch> {
    match Touch::named(word) {
        Some(touch) => Ok(touch),
        None => fault(line, format!("'{word}' is not staccato, detached, tenuto or legato")),
    }
}

fn touches(section: &Section, metre: &Metre) -> Outcome<Vec<(f64, Touch)>> {
    let mut touches: Vec<(f64, Touch)> = Vec::new();
    for &(line, text) in &section.lines {
        let Some((at, word)) = text.split_once(char::is_whitespace) else {
            return fault(line, "a touch is 'PLACE WORD'");
        };
        touches.push((place(line, at, metre)?, touch(line, word.trim())?));
    }
    if touches.first().is_none_or(|t| t.0 != 0.0) || !touches.is_sorted_by(|a, b| a.0 < b.0) {
        return fault(section.line, "touches must ascend from bar 1");
    }
    Ok(touches)
}

fn phrases(section: &Section, metre: &Metre) -> Outcome<Vec<Phrase>> {
    let mut phrases: Vec<Phrase> = Vec::new();
    for &(line, text) in &section.lines {
        let mut words = text.split_whitespace();
        let (Some(at), Some(letter)) = (words.next(), words.next()) else {
            return fault(line, "a phrase is 'PLACE LETTER NAME'");
        };
        let name = words.collect::<Vec<_>>().join(" ");
        let start = place(line, at, metre)?;
        phrases.push(Phrase { start, letter: letter.to_owned(), name });
    }
    if phrases.first().is_none_or(|p| p.start != 0.0) || !phrases.is_sorted_by(|a, b| a.start < b.start) {
        return fault(section.line, "phrases must ascend from bar 1");
    }
    Ok(phrases)
}

fn tune(section: &Section) -> Outcome<Tune> {
    let mut tune = Tune::default();
    for &(line, text) in &section.lines {
        tune.push_line(text).map_err(on(line))?;
    }
    Ok(tune)
}

fn part(section: &Section, metre: &Metre, tunes: &BTreeMap<&str, Tune>) -> Outcome<Part> {
    let [_, name] = section.heading[..] else {
        return fault(section.line, "a part needs one name");
    };
    let mut part = Part {
        name: name.to_owned(),
        voice: Voice::Drums,
        volume: 100,
        pan: 64,
        louder: 0.0,
        ahead: 0.0,
        touch: None,
        notes: vec![],
    };
    for &(line, text) in &section.lines {
        let words: Vec<&str> = text.split_whitespace().collect();
        let midi = |word: &str| match word.parse::<u8>() {
            Ok(value) if value < 128 => Ok(value),
            _ => fault(line, format!("'{word}' is not 0 to 127")),
        };
        match words[..] {
            ["program", value] => part.voice = Voice::Program(midi(value)?),
            ["volume", value] => part.volume = midi(value)?,
            ["pan", value] => part.pan = midi(value)?,
            ["louder", value] => part.louder = number(line, value)?,
            ["ahead-ms", value] => part.ahead = number(line, value)? / 1000.0,
            ["touch", word] => part.touch = Some(touch(line, word)?),
            ["at", at, tune, ..] => {
                let Some(tune) = tunes.get(tune) else {
                    return fault(line, format!("there is no tune '{tune}'"));
                };
                let (mut up, mut times) = (0, 1);
                for pair in words[3..].chunks(2) {
                    match pair {
                        ["up", value] => up = number(line, value)? as i32,
                        ["times", value] => times = number(line, value)? as usize,
                        _ => return fault(line, format!("'{}' is not 'up N' or 'times N'", pair.join(" "))),
                    }
                }
                let start = place(line, at, metre)?;
                for turn in 0..times {
                    play(&mut part, tune, start + turn as f64 * tune.length, up, metre).map_err(on(line))?;
                }
            }
            _ => return fault(line, format!("'{text}' is not a line of a part")),
        }
    }
    Ok(part)
}

/// Adds a tune to a part, `up` semitones higher; its bar lines must be bar lines of the piece.
fn play(part: &mut Part, tune: &Tune, start: f64, up: i32, metre: &Metre) -> Result<(), String> {
    let stands = |beat: f64| metre.bars.iter().any(|bar| (bar - beat).abs() < 1e-6);
    for bar_line in &tune.bar_lines {
        if !stands(start + bar_line) {
            return Err(format!("the tune's bar line after {bar_line} beats is no bar line of the piece"));
        }
    }
    if start + tune.length > metre.end() + 1e-6 {
        return Err("the tune is longer than the piece".into());
    }
    for note in &tune.notes {
        let key = u8::try_from(i32::from(note.key) + up).ok().filter(|key| *key < 128);
        let key = key.ok_or_else(|| format!("a note {up} semitones away is outside the keys"))?;
        part.notes.push(crate::notes::Note { at: start + note.at, key, ..*note });
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    const SMALL: &str = "\
title Two Bars
artist Nobody
seed 1
loudness -20
lead-in 0.5
tail 1

[metre]
1 4/4
2 2/4
end 4

[tempo]
1 100
2 100 to 140 at 3
hold 3:2 1.5

[dynamics]
1 pp
2 pp to ff at 3

[touch]
1 legato

[phrases]
1   A  the only  one # a remark

[tune scale]
1 c4 d4 e4 f4 | g4 r |

[part flute]
program 73
ahead-ms 12
at 1 scale up 12
";

    #[test]
    fn a_small_score_reads_as_it_was_meant() {
        let score = parse(SMALL).unwrap();
        assert_eq!(score.metre.bars, [0.0, 4.0, 6.0, 8.0]);
        assert_eq!(score.tempo.curve().at(5.0), 120.0);
        assert_eq!(score.tempo.holds(), [Hold { beat: 7.0, extra: 1.5 }]);
        assert_eq!(score.dynamics.at(6.0), 114.0);
        assert_eq!(score.phrases, [Phrase { start: 0.0, letter: "A".into(), name: "the only one".into() }]);
        let flute = &score.parts[0];
        assert_eq!((flute.voice, flute.ahead), (Voice::Program(73), 0.012));
        let keys: Vec<u8> = flute.notes.iter().map(|n| n.key).collect();
        assert_eq!(keys, [72, 74, 76, 77, 79]);
    }

    #[test]
    fn every_fault_is_named_with_its_line() {
        let cases = [
            ("1 4/4", "1 4/8", "line 9: '4/8' is not a metre of 2/4 to 6/4"),
            ("end 4", "", "line 8: the metre has no 'end'"),
            ("2 100 to 140 at 3", "2 100 to 140 at 9", "line 15: '9' is not a place in the piece"),
            ("2 pp to ff at 3", "2 pp to loud at 3", "line 20: 'loud' is not a dynamic from ppp to fff"),
            ("e4 f4 |", "e4 |", "line 34: the tune's bar line after 3 beats is no bar line of the piece"),
            ("at 1 scale", "at 1 ladder", "line 34: there is no tune 'ladder'"),
            (
                "at 1 scale",
                "at 2 scale",
                "line 34: the tune's bar line after 6 beats is no bar line of the piece",
            ),
            ("seed 1", "seed one", "line 3: 'one' is not a number"),
            ("tail 1", "", "line 0: 'tail' is missing"),
            ("1 legato", "1 smooth", "line 23: 'smooth' is not staccato, detached, tenuto or legato"),
        ];
        for (good, bad, message) in cases {
            let text = SMALL.replacen(good, bad, 1);
            assert_ne!(text, SMALL);
            assert_eq!(parse(&text).unwrap_err().to_string(), message);
        }
    }
}
