//! The sentences about turns: the largest, in the order in which they are heard.

use super::place;
use super::words::{beats, clock, dynamic, list, often};
use crate::listening::types::{Listening, Turn, TurnKind};
use crate::units::Lufs;

/// How many turns are told one by one, at most.
const TOLD: usize = 3;
/// A turn less sure than this is left to the list of turns.
const SURE: f32 = 0.5;
/// From so many sudden changes of loudness on they are told together.
const MANY: usize = 3;
/// Two gradual changes that share this much of the longer one are told in one sentence.
const TOGETHER: f64 = 0.7;

/// At most `room` sentences; none when nothing changes.
pub(super) fn sentences(heard: &Listening, room: usize) -> Vec<String> {
    let of = |kinds: &[TurnKind]| -> Vec<&Turn> {
        heard.turns.iter().filter(|turn| kinds.contains(&turn.kind) && turn.sureness.0 >= SURE).collect()
    };
    let sudden = of(&[TurnKind::SubitoLoud, TurnKind::SubitoSoft]);
    let mut last: Vec<String> = Vec::new();
    let mut changes = of(&[
        TurnKind::Crescendo,
        TurnKind::Diminuendo,
        TurnKind::Accelerando,
        TurnKind::Ritardando,
        TurnKind::SuddenlyFaster,
        TurnKind::SuddenlySlower,
        TurnKind::ATempo,
    ]);
    if sudden.len() >= MANY {
        last.push(format!(
            "Its loudness changes suddenly {} (subito), at {}.",
            often(sudden.len()),
            times(&sudden)
        ));
    } else {
        changes.extend(sudden);
    }
    last.extend(stops(heard, &of(&[TurnKind::Rest]), &of(&[TurnKind::Fermata])));
    let all = changes.len();
    changes.sort_by(|a, b| weight(b).total_cmp(&weight(a)).then(a.start.total_cmp(&b.start)));
    let mut told: Vec<(&Turn, Option<&Turn>)> = Vec::new();
    for turn in changes {
        if let Some((_, second)) =
            told.iter_mut().find(|(first, second)| second.is_none() && together(first, turn))
        {
            *second = Some(turn);
        } else if told.len() < TOLD.min(room.saturating_sub(last.len())) {
            told.push((turn, None));
        }
    }
    told.sort_by(|a, b| a.0.start.total_cmp(&b.0.start).then(a.0.end.total_cmp(&b.0.end)));
    let more = all - told.iter().map(|(_, second)| 1 + usize::from(second.is_some())).sum::<usize>();
    let mut out: Vec<String> = told.iter().map(|(turn, second)| clause(heard, turn, *second)).collect();
    if let Some(end) = out.last_mut() {
        match more {
            0 => {}
            1 => *end += "; the list of turns has one smaller change",
            more => *end += &format!("; the list of turns has {more} smaller changes"),
        }
    }
    out.iter_mut().for_each(|clause| clause.push('.'));
    out.extend(last);
    out.truncate(room);
    out
}

/// Whether a change of tempo and one of loudness go on at the same time.
fn together(a: &Turn, b: &Turn) -> bool {
    let tempo = |turn: &Turn| matches!(turn.kind, TurnKind::Accelerando | TurnKind::Ritardando);
    let loudness = |turn: &Turn| matches!(turn.kind, TurnKind::Crescendo | TurnKind::Diminuendo);
    let shared = a.end.0.min(b.end.0) - a.start.0.max(b.start.0);
    let longer = (a.end.0 - a.start.0).max(b.end.0 - b.start.0);
    (tempo(a) && loudness(b) || loudness(a) && tempo(b)) && shared >= TOGETHER * longer
}

/// The sentence about rests and held notes, if there are any.
fn stops(heard: &Listening, rests: &[&Turn], holds: &[&Turn]) -> Option<String> {
    let rests = match rests {
        [] => None,
        [one] => Some(format!("the music stops at {} for {}", place(heard, one.start), length(one))),
        many => Some(format!("the music stops {}, at {}", often(many.len()), times(many))),
    };
    let holds = match holds {
        [] => None,
        [one] => Some(format!("a note is held at {} (fermata)", place(heard, one.start))),
        many => Some(format!("notes are held {} (fermatas), at {}", often(many.len()), times(many))),
    };
    let mut sentence = list(&rests.into_iter().chain(holds).collect::<Vec<_>>());
    if sentence.is_empty() {
        return None;
    }
    sentence[..1].make_ascii_uppercase();
    Some(sentence + ".")
}

/// How much a turn matters: its size in steps that are just worth a word, its length, and how sure it is.
fn weight(turn: &Turn) -> f64 {
    let size = match turn.kind {
        TurnKind::Crescendo | TurnKind::Diminuendo | TurnKind::SubitoLoud | TurnKind::SubitoSoft => {
            (turn.to - turn.from).abs() / 4.0
        }
        // Both are positive: BPM.
        _ => (turn.to / turn.from).ln().abs() / 1.08f64.ln(),
    };
    let returning = if turn.kind == TurnKind::ATempo { 0.5 } else { 1.0 };
    size * f64::from(turn.sureness.0) * returning
}

fn clause(heard: &Listening, turn: &Turn, second: Option<&Turn>) -> String {
    let at = place(heard, turn.start);
    let gradual = |turn: &Turn| match turn.kind {
        TurnKind::Crescendo => Some(format!("louder{} (crescendo)", levels(heard, turn))),
        TurnKind::Diminuendo => Some(format!("softer{} (diminuendo)", levels(heard, turn))),
        TurnKind::Accelerando => Some(format!("faster, {} (accelerando)", bpm(turn))),
        TurnKind::Ritardando => Some(format!("slower, {} (ritardando)", bpm(turn))),
        _ => None,
    };
    if let Some(change) = gradual(turn) {
        let other = second.and_then(gradual).map(|other| format!(", and {other}")).unwrap_or_default();
        return format!("From {at} to {} it gets {change}{other}", place(heard, turn.end));
    }
    match turn.kind {
        TurnKind::SubitoLoud => {
            format!("At {at} it is suddenly {} (subito forte)", after(heard, turn, "louder"))
        }
        TurnKind::SubitoSoft => {
            format!("At {at} it is suddenly {} (subito piano)", after(heard, turn, "softer"))
        }
        TurnKind::SuddenlyFaster => format!("At {at} it is suddenly faster, {}", bpm(turn)),
        TurnKind::SuddenlySlower => format!("At {at} it is suddenly slower, {}", bpm(turn)),
        _ => format!(
            "At {at} it is back at {} beats a minute (a tempo: in the earlier speed)",
            turn.to.round()
        ),
    }
}

/// `from 84 to 202 beats a minute`.
fn bpm(turn: &Turn) -> String {
    format!("from {} to {} beats a minute", turn.from.round(), turn.to.round())
}

/// `, from soft to very loud`, or nothing when both ends have the same mark.
fn levels(heard: &Listening, turn: &Turn) -> String {
    match (heard.dynamics.mark(Lufs(turn.from)), heard.dynamics.mark(Lufs(turn.to))) {
        (Some(from), Some(to)) if from != to => format!(", from {} to {}", dynamic(from), dynamic(to)),
        _ => " a little".to_owned(),
    }
}

/// The mark after a sudden change, or `otherwise` when it is the same as before.
fn after(heard: &Listening, turn: &Turn, otherwise: &'static str) -> &'static str {
    match (heard.dynamics.mark(Lufs(turn.from)), heard.dynamics.mark(Lufs(turn.to))) {
        (Some(from), Some(to)) if from != to => dynamic(to),
        _ => otherwise,
    }
}

fn length(rest: &Turn) -> String {
    let counts = rest.end_beat.since(rest.start_beat).0;
    if counts > 0.0 { beats(counts) } else { format!("{:.1} seconds", rest.to) }
}

/// Up to four clock times, and how many more.
fn times(turns: &[&Turn]) -> String {
    let mut said: Vec<String> = turns.iter().take(4).map(|turn| clock(turn.start)).collect();
    match turns.len() - said.len() {
        0 => {}
        1 => said.push("once more".into()),
        more => said.push(format!("{more} more times")),
    }
    list(&said)
}
