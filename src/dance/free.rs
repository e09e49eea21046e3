//! A free dance: no moves, only words that say what the music does. The class decides how to move to them.
//!
//! Pure: what was heard gives the words, the same every time. Words change only where a phrase begins or where the music
//! turns, and stand at least as long as the class needs to read them. Where nothing stands out there are none.

use super::reading::{SHORTEST_SHOWN, time_needed};
use super::{Cue, Dance, Draft, MoveId, Profile, Source, new_dance};
use crate::listening::{Articulation, Dynamic, Listening, TempoWord, Turn, TurnKind};
use crate::units::{Beat, Bpm, Counts, Lufs, Seconds};

/// A phrase this much faster or slower than the recording's middle is quick or slow in it, whatever its tempo. Our decision.
const UNLIKE: f64 = 1.15;
/// A gradual turn names a span that it fills to this share. Our decision.
const FILLED: f64 = 0.6;
/// A turn less sure than this changes no word.
const SURE: f32 = 0.5;
/// No more than so many words of a kind at once: two are read and moved to, three are a list. Our decision.
const MOST: usize = 2;

/// A place where words may change, and how much it matters.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Place {
    at: Beat,
    /// 3 a rest or a sudden turn, 2 a gradual one, 1 the start of a phrase; the start of all is 4.
    weight: u8,
}

/// A span of the music with its own words.
#[derive(Debug, Clone, PartialEq)]
struct Span {
    from: Beat,
    to: Beat,
    words: Vec<&'static str>,
    why: String,
}

/// A dance of words alone for what was heard, on the grid that was heard. Without beats it counts half seconds.
#[must_use]
pub fn free_dance(title: &str, recording: Source, profile: Profile, heard: &Listening) -> Dance {
    let cues = spans(heard, profile)
        .into_iter()
        .filter(|span| !span.words.is_empty())
        .map(|span| Cue {
            movement: None,
            words: Some(joined(&span.words)),
            why: Some(span.why),
            ..Cue::new(span.from, Counts(span.to.since(span.from).0), MoveId(String::new()))
        })
        .collect();
    let words = Draft { cues, moves: Vec::new(), prompts: Vec::new(), reasons: Vec::new() };
    new_dance(title, recording, profile, heard, words)
}

/// A sign for those who do not read yet, of at most two characters; empty for words that are none of ours.
#[must_use]
pub fn free_sign(words: &str) -> String {
    let has = |word: &str| words.split_whitespace().any(|part| part == word);
    // What goes on or comes at once has a sign of its own; of the others each word has one.
    let whole = [
        ("still", "■"),
        ("suddenly", "!"),
        ("faster", "→→"),
        ("slower", "→"),
        ("louder", "<"),
        ("softer", ">"),
    ];
    if let Some((_, sign)) = whole.into_iter().find(|(word, _)| has(word)) {
        return sign.to_owned();
    }
    let each = [("quick", '►'), ("slow", '○'), ("loud", '▲'), ("soft", '▼'), ("short", '·'), ("smooth", '~')];
    each.into_iter().filter(|(word, _)| has(word)).map(|(_, sign)| sign).take(MOST).collect()
}

/// Whether the class should get ready for what the words of a free dance say: it gets or becomes quick, or all at once loud.
#[must_use]
pub fn free_lively(words: &str) -> bool {
    let has = |word: &str| words.split_whitespace().any(|part| part == word);
    has("quick") || has("faster") || has("suddenly") && has("loud")
}

/// `quick`, `quick and loud`.
fn joined(words: &[&str]) -> String {
    words.join(" and ")
}

/// The whole recording in spans, each as long as its words need, neighbours with different words.
fn spans(heard: &Listening, profile: Profile) -> Vec<Span> {
    let grid = &heard.grid;
    // Without beats the recording's end is what ends it.
    let end = if grid.is_empty() { grid.beat_at(heard.length) } else { grid.end() };
    // Three words are the most that a call has: "slow and smooth", "louder and louder".
    let least = time_needed("three words long", profile.age).0.max(SHORTEST_SHOWN.0);
    let places = apart(places(heard, end), least, end, heard);
    let mut spans: Vec<Span> = Vec::new();
    for (index, place) in places.iter().enumerate() {
        let to = places.get(index + 1).map_or(end, |next| next.at);
        let (words, why) = said(heard, place.at, to, spans.last());
        match spans.last_mut() {
            Some(last) if last.words == words => last.to = to,
            _ => spans.push(Span { from: place.at, to, words, why }),
        }
    }
    spans
}

/// Where words may change, ascending, the start included.
fn places(heard: &Listening, end: Beat) -> Vec<Place> {
    let grid = &heard.grid;
    let beat = |at: Seconds| Beat(grid.beat_at(at).0.round().max(0.0));
    let mut places = vec![Place { at: Beat(0.0), weight: 4 }];
    places.extend(grid.phrases().iter().map(|phrase| Place { at: Beat::from(phrase.start), weight: 1 }));
    for turn in heard.turns.iter().filter(|turn| turn.sureness.0 >= SURE) {
        match turn.kind {
            TurnKind::Rest | TurnKind::Fermata => {
                let until = beat(Seconds(turn.start.0 + turn.to));
                places.push(Place { at: beat(turn.start), weight: 3 });
                places.push(Place { at: until, weight: 3 });
            }
            kind if kind.sudden() || kind == TurnKind::ATempo => {
                places.push(Place { at: beat(turn.start), weight: 3 });
            }
            _ => {
                places.push(Place { at: beat(turn.start), weight: 2 });
                places.push(Place { at: beat(turn.end), weight: 2 });
            }
        }
    }
    places.retain(|place| place.at.0 < end.0);
    places.sort_by(|a, b| a.at.0.total_cmp(&b.at.0).then(b.weight.cmp(&a.weight)));
    places.dedup_by(|later, first| later.at == first.at);
    places
}

/// The places without those that would follow too soon: of two that are too near, the one that matters less goes, of two
/// that matter alike the later.
fn apart(mut places: Vec<Place>, least: f64, end: Beat, heard: &Listening) -> Vec<Place> {
    let grid = &heard.grid;
    let end = grid.seconds_at(end).0.min(heard.length.0);
    loop {
        let at = |index: usize| places.get(index).map_or(end, |place| grid.seconds_at(place.at).0);
        let near = (0..places.len()).find(|&index| at(index + 1) - at(index) < least - 1e-6);
        let Some(near) = near else { return places };
        let goes = match places.get(near + 1) {
            Some(next) if next.weight > places[near].weight => near,
            Some(_) => near + 1,
            // The last is too short before the end.
            None => near,
        };
        if places.len() == 1 {
            return places;
        }
        // The start stays: the rest moves up to it.
        places.remove(goes.max(1).min(places.len() - 1));
    }
}

/// What the music does in a span: its words, and why.
fn said(heard: &Listening, from: Beat, to: Beat, before: Option<&Span>) -> (Vec<&'static str>, String) {
    let grid = &heard.grid;
    let (start, end) = (grid.seconds_at(from), grid.seconds_at(to));
    let turns = || heard.turns.iter().filter(|turn| turn.sureness.0 >= SURE);
    let filled = |turn: &Turn| {
        let until = if turn.kind == TurnKind::Rest || turn.kind == TurnKind::Fermata {
            turn.start.0 + turn.to
        } else {
            turn.end.0
        };
        (until.min(end.0) - turn.start.0.max(start.0)) / (end.0 - start.0).max(1e-9)
    };
    if let Some(rest) =
        turns().find(|turn| matches!(turn.kind, TurnKind::Rest | TurnKind::Fermata) && filled(turn) >= FILLED)
    {
        let what = if rest.kind == TurnKind::Rest { "the music rests" } else { "a note is held" };
        return (vec!["still"], what.to_owned());
    }
    let growing: Vec<&'static str> = turns()
        .filter(|turn| filled(turn) >= FILLED)
        .filter_map(|turn| match turn.kind {
            TurnKind::Accelerando => Some("faster"),
            TurnKind::Ritardando => Some("slower"),
            TurnKind::Crescendo => Some("louder"),
            TurnKind::Diminuendo => Some("softer"),
            _ => None,
        })
        .fold(Vec::new(), |mut all, word| {
            if !all.contains(&word) && all.len() < MOST {
                all.push(word);
            }
            all
        });
    match growing[..] {
        [] => {}
        // Said twice it says that it goes on.
        [one] => return (vec![one, one], format!("it gets {one}")),
        _ => return (growing.clone(), format!("it gets {}", joined(&growing))),
    }
    let sudden = turns().find(|turn| {
        turn.kind.sudden() && Beat(grid.beat_at(turn.start).0.round().max(0.0)) == from && from.0 > 0.0
    });
    if let Some(sudden) = sudden {
        let word = match sudden.kind {
            TurnKind::SubitoLoud => "suddenly loud",
            TurnKind::SubitoSoft => "suddenly soft",
            TurnKind::SuddenlyFaster => "suddenly quick",
            _ => "suddenly slow",
        };
        return (vec![word], format!("it is {word}"));
    }
    let all = character(heard, from, to);
    let why =
        if all.is_empty() { "nothing stands out".to_owned() } else { format!("it is {}", joined(&all)) };
    if all.len() <= MOST {
        return (all, why);
    }
    // Three things to say, two at a time: a phrase that goes on in the same way shows another side of it.
    let mut words = vec![all[0], all[1]];
    for turn in 0..all.len() {
        let pair = vec![all[turn], all[(turn + 1) % all.len()]];
        let next = vec![all[(turn + 1) % all.len()], all[(turn + 2) % all.len()]];
        if before.is_some_and(|before| before.words == pair) {
            words = next;
        }
    }
    (words, why)
}

/// Quick or slow, loud or soft, short or smooth: what is so through a span, at most one of each pair.
fn character(heard: &Listening, from: Beat, to: Beat) -> Vec<&'static str> {
    let grid = &heard.grid;
    let (start, end) = (grid.seconds_at(from), grid.seconds_at(to));
    let within = |at: f64| at >= start.0 && at < end.0;
    let mut words = Vec::new();
    let tempi: Vec<f64> = heard.tempo.iter().filter(|point| within(point.at.0)).map(|p| p.bpm.0).collect();
    let all: Vec<f64> = heard.tempo.iter().map(|point| point.bpm.0).collect();
    if let (Some(here), Some(usual)) = (middle(tempi), middle(all)) {
        let word = TempoWord::of(Bpm(here));
        if here >= UNLIKE * usual || word >= TempoWord::Allegro && here * UNLIKE > usual {
            words.push("quick");
        } else if here * UNLIKE <= usual || word <= TempoWord::Adagio && here < UNLIKE * usual {
            words.push("slow");
        }
    }
    if !heard.dynamics.flat() {
        let contour = &heard.loudness.short_term;
        let levels = contour.values.iter().enumerate();
        let levels = levels.filter(|(index, _)| within(*index as f64 * contour.step.0));
        let level = middle(levels.map(|(_, level)| f64::from(*level)).collect());
        match level.and_then(|level| heard.dynamics.mark(Lufs(level))) {
            Some(Dynamic::Pp | Dynamic::P) => words.push("soft"),
            Some(Dynamic::F | Dynamic::Ff) => words.push("loud"),
            _ => {}
        }
    }
    // The articulation that holds for most of the span.
    let mut short = 0.0;
    let mut smooth = 0.0;
    for (phrase, character) in grid.phrase_spans().zip(&heard.phrases) {
        let shared = (phrase.end.0.min(to.0) - phrase.start.0.max(from.0)).max(0.0);
        match character.articulation {
            Articulation::Staccato => short += shared,
            Articulation::Legato => smooth += shared,
            Articulation::Detached | Articulation::Unclear => {}
        }
    }
    let half = 0.5 * to.since(from).0;
    if short > half {
        words.push("short");
    } else if smooth > half {
        words.push("smooth");
    }
    words
}

/// The middle of some numbers.
fn middle(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}
