//! Why a draft chose as it did, in sentences for the teacher.

use super::choose::{Choice, Variation};
use super::feel::Feel;
use super::spans::Span;
use crate::dance::{Move, Profile, StepKind};
use crate::listening::{Articulation, Dynamic, Listening, Pulse, Turn, TurnKind};

/// What a phrase is called: `phrase 3 (B)`, or `this passage` where there are no phrases.
fn name(heard: &Listening, span: &Span) -> String {
    match span.phrase.and_then(|index| heard.grid.phrases().get(index).map(|phrase| (index, phrase))) {
        Some((index, phrase)) => format!("phrase {} ({phrase})", index + 1),
        None => "this passage".to_owned(),
    }
}

fn loudness(mark: Dynamic) -> &'static str {
    match mark {
        Dynamic::Pp => "very soft",
        Dynamic::P => "soft",
        Dynamic::Mp => "rather soft",
        Dynamic::Mf => "rather loud",
        Dynamic::F => "loud",
        Dynamic::Ff => "very loud",
    }
}

/// How notes are joined, in a child's words; nothing when it is unclear.
fn joined(articulation: Articulation) -> Option<&'static str> {
    match articulation {
        Articulation::Staccato => Some("short"),
        Articulation::Detached => Some("separate"),
        Articulation::Legato => Some("smooth"),
        Articulation::Unclear => None,
    }
}

fn energy(level: u8) -> &'static str {
    match level {
        0 | 1 => "still",
        2 => "calm",
        3 => "lively",
        4 => "strong",
        _ => "wild",
    }
}

/// What a turn does, with its figures, as the beginning of a sentence.
pub(super) fn turn(turn: &Turn) -> String {
    let counts = (turn.end_beat.0 - turn.start_beat.0).max(0.0).round();
    let loud = format!("by {:.0} LU", (turn.to - turn.from).abs());
    let fast = format!("from {:.0} to {:.0} counts a minute", turn.from, turn.to);
    match turn.kind {
        TurnKind::Crescendo => format!("the music grows louder {loud} in {counts} counts"),
        TurnKind::Diminuendo => format!("the music grows softer {loud} in {counts} counts"),
        TurnKind::SubitoLoud => format!("the music is suddenly louder {loud}"),
        TurnKind::SubitoSoft => format!("the music is suddenly softer {loud}"),
        TurnKind::Accelerando => format!("the music gets faster {fast}"),
        TurnKind::Ritardando => format!("the music gets slower {fast}"),
        TurnKind::SuddenlyFaster => format!("the music is suddenly faster {fast}"),
        TurnKind::SuddenlySlower => format!("the music is suddenly slower {fast}"),
        TurnKind::ATempo => "the music is back at its tempo".to_owned(),
        TurnKind::Rest => format!("the music is silent for {:.1} s", turn.to),
        TurnKind::Fermata => format!("a beat is held for {:.1} s", turn.to),
    }
}

pub(super) fn hold(of: &Turn) -> String {
    format!("{}, so everyone freezes", turn(of))
}

pub(super) fn ending() -> String {
    "the music ends here, so everyone holds a last pose".to_owned()
}

pub(super) fn pickup(span: &Span) -> String {
    format!("{} counts come before the first phrase, time to find the beat", span.counts().0)
}

pub(super) fn opening(heard: &Listening, span: &Span) -> String {
    format!("{} opens the piece and does not return, time to listen", name(heard, span))
}

pub(super) fn shown(heard: &Listening, span: &Span, movement: &Move) -> String {
    let Some(of) = span.gradual.or(span.sudden) else { return ending() };
    format!("{} in {}, and '{}' shows it", turn(&of), name(heard, span), movement.words)
}

pub(super) fn grown(heard: &Listening, span: &Span, of: &Turn, movement: &Move) -> String {
    format!("{} in {}, and '{}' goes on with it", turn(of), name(heard, span), movement.words)
}

pub(super) fn again(heard: &Listening, span: &Span, first: &Span, varied: bool, how: Variation) -> String {
    let (here, before) = (name(heard, span), name(heard, first));
    let sounds = if varied { "varies" } else { "sounds like" };
    let how = match how {
        Variation::None => "",
        Variation::Side => " to the other side",
        Variation::Size => " in another size",
        Variation::Way => " another way, since it has gone on for long",
    };
    format!("{here} {sounds} {before}, so its move comes back{how}")
}

pub(super) fn other_side(movement: &Move) -> String {
    format!("'{}' changes sides here, so that both sides learn it", movement.words)
}

/// A move chosen for the music's energy, with what else spoke for it.
pub(super) fn chosen(
    heard: &Listening,
    span: &Span,
    feel: &Feel,
    movement: &Move,
    before: Option<&Choice>,
) -> String {
    let character = span.phrase.and_then(|index| heard.phrases.get(index));
    let mut like: Vec<&str> = Vec::new();
    like.extend(character.and_then(|character| character.dynamic).map(loudness));
    like.extend(joined(feel.articulation));
    like.push(energy(feel.energy));
    let last = like.pop().unwrap_or("lively");
    let like = if like.is_empty() { last.to_owned() } else { format!("{} and {last}", like.join(", ")) };
    let (slow, fast) = (feel.tempo.0.round(), feel.tempo.1.round());
    let tempo = if slow == fast { format!("{slow}") } else { format!("{slow} to {fast}") };
    let mut why = format!("{} is {like} at {tempo} counts a minute", name(heard, span));
    if let Some(of) = span.gradual.or(span.sudden) {
        why = format!("{why}, {}", turn(&of));
    }
    let rate = movement.steps_per_count * 0.5 * (feel.tempo.0 + feel.tempo.1);
    let asks = movement.energy.level();
    why = format!("{why}; '{}' has energy {asks} of 5", movement.words);
    if rate > 0.0 && movement.step != StepKind::Still {
        why = format!("{why} and takes {rate:.0} steps a minute");
    }
    let tired = |step| matches!(step, StepKind::Jump | StepKind::Run);
    if before.is_some_and(|before| tired(before.movement.step)) {
        why = format!("{why}, a rest after '{}'", before.map_or("", |before| &before.movement.words));
    }
    why
}

/// What holds for the whole draft.
pub(super) fn overall(heard: &Listening, profile: &Profile, moves: usize) -> Vec<String> {
    let mut reasons = vec![
        format!(
            "{moves} different moves, freezes and the last pose included, for children of {}",
            profile.age
        ),
        "moves that need scarves or held hands are left out; put them in where you have them".to_owned(),
    ];
    if heard.grid.phrases().is_empty() {
        reasons.push("no phrases were found, so moves change every 16 counts and at turns".to_owned());
    }
    if heard.pulse == Pulse::Unsure {
        reasons.push(
            "the beat is doubtful in places; listen once with the count sheet open before class".to_owned(),
        );
    }
    reasons
}
