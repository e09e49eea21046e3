//! The summary: a few sentences that a teacher can read aloud. Every Italian word comes with its meaning.
//!
//! Says only what was measured, in our own words; where it is unsure it says so.

mod changes;
mod words;

use super::tempo::TempoWord;
use super::types::{Articulation, Character, Dynamic, Listening, Pulse, Turn, TurnKind};
use crate::units::{Bpm, Lu, Lufs, Seconds};
use words::{articulation, clock, count, dynamic, list, spoken};

/// Softer than this as played, a class will hardly hear it (R 128's target is -23 LUFS; ours, no source).
const TOO_QUIET: f64 = -38.0;
/// A tempo is steady while its phrases stay within this share of each other.
const STEADY: f64 = 1.10;

/// Most sentences.
const MOST: usize = 8;

/// What the loudness side knows and a [`Listening`] does not keep.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Sound {
    /// Integrated loudness as a class hears it.
    pub as_played: Option<Lufs>,
    /// Whether its peaks are cut off.
    pub clipped: bool,
}

/// Four to eight sentences; two or three only where there is nothing to tell (silence, or too short).
pub(super) fn sentences(heard: &Listening, sound: Sound) -> Vec<String> {
    match heard.pulse {
        Pulse::TooShort => vec![
            format!("It lasts {}, which is too short to tell what it does.", spoken(heard.length)),
            "Choose a recording of at least 20 seconds.".into(),
        ],
        Pulse::Silent => vec![
            format!("It lasts {}, and there is nothing to hear in it.", spoken(heard.length)),
            "Check the recording: play it, turn it up, or make a new copy.".into(),
        ],
        _ => music(heard, sound),
    }
}

fn music(heard: &Listening, sound: Sound) -> Vec<String> {
    let character = Character::of(heard);
    let mut out = vec![opening(heard, &character)];
    out.extend(pace(heard, &character));
    out.extend(form(heard));
    out.push(loudness(heard));
    let warning = warning(heard, sound);
    let room = MOST - out.len() - 1 - usize::from(warning.is_some());
    out.extend(changes::sentences(heard, room));
    out.push(teaching(heard, &character));
    out.extend(warning);
    out
}

fn warning(heard: &Listening, sound: Sound) -> Option<String> {
    let mut warnings = Vec::new();
    if heard.pulse == Pulse::Unsure {
        warnings.push("parts of the beat are doubtful, so listen along and tap where it is wrong");
    }
    if sound.as_played.is_some_and(|level| level.0 < TOO_QUIET) {
        warnings.push("it was recorded very softly, so try it in the room first and turn it up");
    }
    if sound.clipped {
        warnings.push("its loudest places are cut off and may sound harsh");
    }
    (!warnings.is_empty()).then(|| format!("Take care: {}.", warnings.join("; ")))
}

impl Character {
    /// The overall impression of a recording.
    #[must_use]
    pub fn of(heard: &Listening) -> Self {
        let mut slowest = f64::INFINITY;
        let mut fastest = 0.0f64;
        let (mut softest, mut loudest) = (f64::INFINITY, f64::NEG_INFINITY);
        for phrase in &heard.phrases {
            slowest = slowest.min(phrase.bpm.0);
            fastest = fastest.max(phrase.bpm.0);
            softest = softest.min(phrase.level.0);
            loudest = loudest.max(phrase.level.0);
        }
        let of_kind = |kind| heard.phrases.iter().filter(|phrase| phrase.articulation == kind).count();
        let kinds = [Articulation::Staccato, Articulation::Detached, Articulation::Legato];
        let commonest = kinds.into_iter().max_by_key(|kind| of_kind(*kind)).unwrap_or(Articulation::Unclear);
        // It is the recording's articulation only when most phrases have it.
        let most = 2 * of_kind(commonest) > heard.phrases.len();
        Self {
            bpm: super::tempo::median(&heard.tempo),
            tempo_ratio: if slowest.is_finite() && slowest > 0.0 { fastest / slowest } else { 1.0 },
            level_span: Lu(if loudest >= softest { loudest - softest } else { 0.0 }),
            articulation: if most { commonest } else { Articulation::Unclear },
        }
    }
}

fn opening(heard: &Listening, character: &Character) -> String {
    let length = spoken(heard.length);
    if heard.pulse == Pulse::None {
        return format!("It lasts {length}, and no clear beat was found in it.");
    }
    let energies: Vec<u8> = heard.phrases.iter().map(|phrase| phrase.energy).collect();
    let mean = energies.iter().map(|e| f64::from(*e)).sum::<f64>() / energies.len().max(1) as f64;
    let mood = match mean {
        mean if mean < 1.8 => "a quiet, slow piece for small movements",
        mean if mean < 2.6 => "a calm piece",
        mean if mean < 3.4 => "a moderately lively piece",
        mean if mean < 4.2 => "a lively piece",
        _ => "a very lively piece",
    };
    let growth = growth(&energies);
    let (grows, fades) = (growth >= 1.2, growth <= -1.2);
    let shape = if grows {
        ", and it grows livelier towards the end"
    } else if fades {
        ", and it grows calmer towards the end"
    } else if character.level_span.0 >= 12.0 {
        ", with strong contrasts"
    } else {
        ""
    };
    format!("It lasts {length}: {mood}{shape}.")
}

/// By how much energy grows from the first phrase to the last along a line through all; 0 where a line tells little of
/// how they go (contrasts, or fewer than three phrases).
fn growth(energies: &[u8]) -> f64 {
    let n = energies.len() as f64;
    let middle = (n - 1.0) / 2.0;
    let mean = energies.iter().map(|e| f64::from(*e)).sum::<f64>() / n.max(1.0);
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for (index, energy) in energies.iter().enumerate() {
        let (x, y) = (index as f64 - middle, f64::from(*energy) - mean);
        xx += x * x;
        xy += x * y;
        yy += y * y;
    }
    let follows = energies.len() >= 3 && xy * xy >= 0.36 * xx * yy && xx > 0.0;
    if follows { xy / xx * (n - 1.0) } else { 0.0 }
}

/// `96 beats a minute (Andante: at a walking pace)`.
fn named(bpm: Bpm) -> String {
    let word = TempoWord::of(Bpm(bpm.0.round()));
    format!("{} beats a minute ({word}: {})", bpm.0.round(), word.plain())
}

fn pace(heard: &Listening, character: &Character) -> Option<String> {
    let usual = character.bpm?;
    let mut phrases: Vec<f64> = heard.phrases.iter().map(|phrase| phrase.bpm.0).collect();
    let (first, last) = (heard.phrases.first().map(|p| p.bpm), heard.phrases.last().map(|p| p.bpm));
    let main = if phrases.len() < 2 || character.tempo_ratio < STEADY {
        format!("The beat is steady at about {}", named(usual))
    } else {
        phrases.sort_by(f64::total_cmp);
        let (slowest, fastest) = (phrases[0], phrases[phrases.len() - 1]);
        match (first, last) {
            (Some(first), Some(last)) if (last.0 / first.0).ln().abs() > 0.8 * character.tempo_ratio.ln() => {
                format!("The beat starts at about {} and ends at about {}", named(first), named(last))
            }
            _ => format!(
                "The beat moves between about {} and {} a minute, and is mostly about {}",
                slowest.round(),
                fastest.round(),
                named(usual)
            ),
        }
    };
    let slowest = phrases.first().copied().unwrap_or(usual.0).min(usual.0);
    let advice = if usual.0 > 150.0 {
        let half = if character.tempo_ratio < STEADY {
            format!(", which makes {} steps a minute", (usual.0 / 2.0).round())
        } else {
            String::new()
        };
        format!("; if that is too fast to step to, step on every second beat{half}")
    } else if slowest < 70.0 && usual.0 < 80.0 {
        format!(
            "; if that is too slow to step to, step twice to each beat, which makes {} steps a minute",
            (usual.0 * 2.0).round()
        )
    } else {
        String::new()
    };
    Some(format!("{main}{advice}."))
}

fn form(heard: &Listening) -> Option<String> {
    let first = heard.metres.first()?;
    let mut sentence = match first.beats {
        1 => "The beats are not grouped".to_owned(),
        beats => {
            let said: Vec<String> = (1..=beats.min(8)).map(|beat| beat.to_string()).collect();
            format!("Count it in groups of {beats} ({})", said.join("-"))
        }
    };
    if first.compound {
        sentence += ", each beat swinging in three";
    }
    if heard.metres.len() > 1 {
        let changes: Vec<String> = heard
            .metres
            .iter()
            .skip(1)
            .take(2)
            .filter_map(|metre| {
                let at = heard.grid.beats().get(metre.from)?;
                Some(format!("in {} from {}", metre.beats, clock(*at)))
            })
            .collect();
        if !changes.is_empty() {
            sentence += &format!(", then {}", changes.join(", then "));
        }
    }
    let spans: Vec<usize> = heard
        .grid
        .phrase_spans()
        .map(|span| span.counts().0.round() as usize)
        .filter(|counts| *counts > 0)
        .collect();
    let mut lengths = spans.clone();
    lengths.sort_unstable();
    let usual = lengths.chunk_by(|a, b| a == b).max_by_key(|run| run.len()).map(|run| (run[0], run.len()));
    if let Some((counts, times)) = usual.filter(|_| spans.len() >= 2) {
        sentence += &format!("; it has {}", count(spans.len(), "phrase"));
        if times == spans.len() {
            sentence += &format!(" of {}", count(counts, "count"));
        } else if 2 * times > spans.len() {
            sentence += &format!(", most of them {} long", count(counts, "count"));
        } else {
            sentence += " of different lengths";
        }
    }
    Some(sentence + ".")
}

fn loudness(heard: &Listening) -> String {
    let level = match heard.dynamics.marks.as_slice() {
        [] | [_] => "It is almost equally loud from beginning to end".to_owned(),
        marks => {
            let heard_marks: Vec<Dynamic> = heard
                .loudness
                .short_term
                .values
                .iter()
                .filter(|level| {
                    f64::from(**level) > marks.get(1).map_or(f64::NEG_INFINITY, |mark| mark.1.0 - 15.0)
                })
                .filter_map(|level| heard.dynamics.mark(Lufs(f64::from(*level))))
                .collect();
            match (heard_marks.iter().min(), heard_marks.iter().max()) {
                (Some(softest), Some(loudest)) if softest != loudest => format!(
                    "Measured against itself, it ranges from {} ({}) to {} ({})",
                    dynamic(*softest),
                    mark(*softest),
                    dynamic(*loudest),
                    mark(*loudest)
                ),
                _ => "It changes little in loudness".to_owned(),
            }
        }
    };
    match articulation(Character::of(heard).articulation) {
        Some(words) => format!("{level}; the notes are mostly {words}."),
        None => format!("{level}."),
    }
}

/// A mark as musicians write it.
fn mark(mark: Dynamic) -> &'static str {
    match mark {
        Dynamic::Pp => "pp",
        Dynamic::P => "p",
        Dynamic::Mp => "mp",
        Dynamic::Mf => "mf",
        Dynamic::F => "f",
        Dynamic::Ff => "ff",
    }
}

/// Whether a class would notice a turn without being told: half as much again as what is just told.
fn plain(turn: &Turn) -> bool {
    match turn.kind {
        TurnKind::Crescendo | TurnKind::Diminuendo | TurnKind::SubitoLoud | TurnKind::SubitoSoft => {
            (turn.to - turn.from).abs() >= 6.0
        }
        TurnKind::Rest | TurnKind::Fermata => true,
        _ => (turn.to / turn.from - 1.0).abs() >= 0.12,
    }
}

/// What it can teach, the clearest first; at most four things.
fn teaching(heard: &Listening, character: &Character) -> String {
    // A turn that is hardly there teaches nothing.
    let clear = |kinds: &[TurnKind]| {
        heard.turns.iter().any(|turn| kinds.contains(&turn.kind) && turn.sureness.0 >= 0.5 && plain(turn))
    };
    let beat = matches!(heard.pulse, Pulse::Clear | Pulse::Unsure);
    let mut good_for: Vec<&str> = Vec::new();
    let mut add = |when: bool, what| {
        if when {
            good_for.push(what);
        }
    };
    add(clear(&[TurnKind::Accelerando]), "getting faster (accelerando)");
    add(clear(&[TurnKind::Crescendo]), "getting louder (crescendo)");
    add(clear(&[TurnKind::SubitoLoud, TurnKind::SubitoSoft]), "sudden loud and soft (subito)");
    add(clear(&[TurnKind::SuddenlyFaster, TurnKind::SuddenlySlower]), "fast and slow");
    add(clear(&[TurnKind::Ritardando]), "slowing down (ritardando)");
    add(clear(&[TurnKind::Diminuendo]), "getting softer (diminuendo)");
    add(clear(&[TurnKind::Rest]), "freezing when the music stops");
    add(clear(&[TurnKind::Fermata]), "holding still on a long note (fermata)");
    let kinds = |kind| heard.phrases.iter().any(|phrase| phrase.articulation == kind);
    add(
        kinds(Articulation::Staccato) && kinds(Articulation::Legato),
        "short and smooth (staccato and legato)",
    );
    add(
        !clear(&[TurnKind::SubitoLoud, TurnKind::SubitoSoft, TurnKind::Crescendo, TurnKind::Diminuendo])
            && character.level_span.0 >= 6.0,
        "loud and soft",
    );
    add(beat && character.tempo_ratio < STEADY, "keeping a steady beat");
    add(heard.metres.first().is_some_and(|metre| metre.beats == 3), "feeling a beat in three");
    if good_for.is_empty() {
        return if beat {
            "None of its turns is striking, so use it for free movement and for counting phrases.".into()
        } else {
            "Use it for free movement, or tap the first eight beats yourself if you feel one.".into()
        };
    }
    let named: Vec<String> = good_for.into_iter().take(4).map(str::to_owned).collect();
    let tap =
        if beat { "" } else { "; move freely to it, or tap the first eight beats yourself if you feel one" };
    format!("It is good for {}{tap}.", list(&named))
}

/// Where something is: `0:42 (phrase 3, count 1)`, or the clock time alone where there is no phrase.
fn place(heard: &Listening, at: Seconds) -> String {
    let position = heard.grid.beat_at(at);
    // A turn between two beats belongs to the nearer one.
    let counted = heard.grid.count_at(crate::units::Beat((position.0 + 1e-6).max(0.0).round()));
    match counted.phrase {
        Some(phrase) if !heard.grid.is_empty() => {
            format!("{} (phrase {}, count {})", clock(at), phrase.index + 1, counted.count)
        }
        _ => clock(at),
    }
}
