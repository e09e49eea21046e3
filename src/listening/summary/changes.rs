//! The sentences about turns: the largest, in the order in which they are heard.

use super::place;
use super::words::{beats, clock, dynamic, list};
use crate::listening::types::{Listening, Turn, TurnKind};
use crate::units::Lufs;

/// How many turns are told one by one.
const TOLD: usize = 3;
/// A turn less sure than this is left to the list of turns.
const SURE: f32 = 0.5;

/// At most three sentences; none when nothing changes.
pub(super) fn sentences(heard: &Listening) -> Vec<String> {
    let (pauses, changes): (Vec<&Turn>, Vec<&Turn>) = heard
        .turns
        .iter()
        .filter(|turn| turn.sureness.0 >= SURE)
        .partition(|turn| matches!(turn.kind, TurnKind::Rest | TurnKind::Fermata));
    let mut told = changes.clone();
    told.sort_by(|a, b| weight(b).total_cmp(&weight(a)).then(a.start.total_cmp(&b.start)));
    told.truncate(TOLD);
    told.sort_by(|a, b| a.start.total_cmp(&b.start).then(a.end.total_cmp(&b.end)));
    let mut clauses: Vec<String> = told.iter().map(|turn| clause(heard, turn)).collect();
    let more = changes.len() - told.len();
    if let Some(last) = clauses.last_mut().filter(|_| more > 0) {
        *last += match more {
            1 => "; one smaller change is in the list of turns".to_owned(),
            more => format!("; {more} smaller changes are in the list of turns"),
        }
        .as_str();
    }
    let mut out: Vec<String> = clauses.into_iter().map(|clause| clause + ".").collect();
    let rests: Vec<&Turn> = pauses.iter().copied().filter(|turn| turn.kind == TurnKind::Rest).collect();
    let holds: Vec<&Turn> = pauses.iter().copied().filter(|turn| turn.kind == TurnKind::Fermata).collect();
    let mut stops = Vec::new();
    if !rests.is_empty() {
        stops.push(match rests.as_slice() {
            [one] => format!("the music stops at {} for {}", place(heard, one.start), length(one)),
            many => format!("the music stops {} times, at {}", many.len(), times(many)),
        });
    }
    if !holds.is_empty() {
        stops.push(match holds.as_slice() {
            [one] => format!("a note is held at {} (fermata)", place(heard, one.start)),
            many => format!("notes are held {} times (fermatas), at {}", many.len(), times(many)),
        });
    }
    if !stops.is_empty() {
        let mut sentence = list(&stops);
        sentence[..1].make_ascii_uppercase();
        out.push(sentence + ".");
    }
    out
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

fn clause(heard: &Listening, turn: &Turn) -> String {
    let at = place(heard, turn.start);
    let until = place(heard, turn.end);
    let bpm = || format!("from {} to {} beats a minute", turn.from.round(), turn.to.round());
    match turn.kind {
        TurnKind::Crescendo => {
            format!("From {at} to {until} it grows louder{} (crescendo)", levels(heard, turn))
        }
        TurnKind::Diminuendo => {
            format!("From {at} to {until} it grows softer{} (diminuendo)", levels(heard, turn))
        }
        TurnKind::SubitoLoud => {
            format!("At {at} it is suddenly {} (subito forte)", after(heard, turn, "louder"))
        }
        TurnKind::SubitoSoft => {
            format!("At {at} it is suddenly {} (subito piano)", after(heard, turn, "softer"))
        }
        TurnKind::Accelerando => format!("From {at} to {until} it gets faster, {} (accelerando)", bpm()),
        TurnKind::Ritardando => format!("From {at} to {until} it slows down, {} (ritardando)", bpm()),
        TurnKind::SuddenlyFaster => format!("At {at} it is suddenly faster, {}", bpm()),
        TurnKind::SuddenlySlower => format!("At {at} it is suddenly slower, {}", bpm()),
        TurnKind::ATempo => {
            format!(
                "At {at} it is back at {} beats a minute (a tempo: in the earlier speed)",
                turn.to.round()
            )
        }
        // Told together, elsewhere.
        TurnKind::Rest | TurnKind::Fermata => String::new(),
    }
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
