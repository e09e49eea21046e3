//! Reading: everything that can be understood is kept, everything that cannot is named with its place.

use super::DanceFileError;
use super::write::canonical;
use crate::dance::{Cue, Dance, Move, Prompt, SCHEMA, Silenced};
use crate::grid::Anchor;
use serde::de::DeserializeOwned;
use serde_json::Value;

/// A dance read from text.
#[derive(Debug, Clone, PartialEq)]
pub struct Opened {
    /// The dance, its parts in order.
    pub dance: Dance,
    /// Why it must not be saved over its own text; `None` when it may.
    pub read_only: Option<String>,
    /// What the teacher should know about the text, one sentence each.
    pub notes: Vec<String>,
}

/// Reads a dance.
///
/// Cues and prompts in the wrong order are sorted, which a note tells. Fields that this program does not know are
/// kept, which a note tells, except in the grid and its anchors, where they are refused. A dance of a newer form opens
/// read-only when it can be understood. A cue may name a move that the dance does not hold, lie outside the grid or
/// overlap another: that is for the check to say.
///
/// # Errors
/// [`DanceFileError`] says which line, cue or field is at fault.
pub fn from_json(text: &str) -> Result<Opened, DanceFileError> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let tree: Value = serde_json::from_str(text).map_err(|error| broken(text, &error))?;
    let version = tree.get("schema").and_then(Value::as_u64).ok_or(DanceFileError::NotADance)?;
    let newer = version > u64::from(SCHEMA);
    let understood = read_known(text, &tree);
    if newer && understood.is_err() {
        return Err(DanceFileError::Newer { version });
    }
    let read = understood?;
    let mut notes = Vec::new();
    for (what, sorted) in [
        ("cues", read.cues.is_sorted_by_key(|cue| cue.at)),
        ("prompts", read.prompts.is_sorted_by_key(|prompt| prompt.at)),
    ] {
        if !sorted {
            notes.push(format!("the {what} were out of order and have been sorted; none was lost"));
        }
    }
    notes.extend(kept(&read));
    notes.extend(twice(&read.moves));
    notes.extend(path_note(&read.recording.path));
    let read_only = newer.then(|| {
        format!(
            "this dance was saved by a newer Farandole (form {version}; this program writes form {SCHEMA}): it can be \
             led and printed, but not changed; update the program to change it"
        )
    });
    Ok(Opened { dance: canonical(&read), read_only, notes })
}

/// The dance in a text, with impossible values refused.
fn read_known(text: &str, tree: &Value) -> Result<Dance, DanceFileError> {
    let dance: Dance = serde_json::from_str(text).map_err(|error| misfit(tree, &error))?;
    match impossible(&dance) {
        Some((place, what)) => Err(DanceFileError::Impossible { place, what }),
        None => Ok(dance),
    }
}

/// What is wrong with a text that is not JSON.
fn broken(text: &str, error: &serde_json::Error) -> DanceFileError {
    let mark = |line: &str| line.starts_with("<<<<<<<") || line.starts_with(">>>>>>>");
    if let Some(line) = text.lines().position(mark) {
        return DanceFileError::Unmerged { line: line + 1 };
    }
    if error.is_eof() {
        return DanceFileError::CutShort { line: error.line() };
    }
    DanceFileError::Broken { line: error.line(), column: error.column(), what: plain(error) }
}

/// What is wrong with JSON that is not a dance's, and in which item of which list.
fn misfit(tree: &Value, error: &serde_json::Error) -> DanceFileError {
    let place = first_misfit::<Move>(tree, "moves", "move")
        .or_else(|| first_misfit::<Cue>(tree, "cues", "cue"))
        .or_else(|| first_misfit::<Prompt>(tree, "prompts", "prompt"))
        .or_else(|| first_misfit::<Anchor>(tree, "anchors", "anchor"))
        .or_else(|| first_misfit::<Silenced>(tree, "silenced", "silenced finding"));
    DanceFileError::Misfit {
        line: error.line(),
        column: error.column(),
        place: place.map(|place| format!(", {place}")).unwrap_or_default(),
        what: plain(error),
    }
}

/// The first item of a list that is not a `T`, as it is called, counted from 1, with its beat where it has one.
fn first_misfit<T: DeserializeOwned>(tree: &Value, list: &str, name: &str) -> Option<String> {
    let items = tree.get(list)?.as_array()?;
    let (index, item) = items.iter().enumerate().find(|(_, item)| T::deserialize(*item).is_err())?;
    // An anchor's place is a time, not a beat.
    let at = item.get("at").and_then(Value::as_f64).filter(|_| list != "anchors");
    let beat = at.map(|at| format!(" (beat {at})")).unwrap_or_default();
    Some(format!("{name} {}{beat}", index + 1))
}

/// A parser's message in the program's style: without its place, in single quotes, kinds of number in words.
fn plain(error: &serde_json::Error) -> String {
    let message = error.to_string();
    let message = message.rsplit_once(" at line ").map_or(message.as_str(), |(message, _)| message);
    let message = message.replace('`', "'").replace("expected f64", "expected a number");
    ["u8", "u16", "u32", "u64", "usize"].iter().fold(message, |message, kind| {
        message.replace(&format!("expected {kind}"), "expected a whole number")
    })
}

/// The first value that no dance can have: where it is, and what is wrong.
fn impossible(dance: &Dance) -> Option<(String, String)> {
    let counts = |counts: f64| (counts < 0.0).then(|| format!("lasts {counts} counts; write 0 or more"));
    let profile = &dance.profile;
    if dance.schema == 0 {
        return Some(("the dance".into(), "is written in form 0; forms start at 1".into()));
    }
    if !(3..=99).contains(&profile.age) {
        return Some(("the profile".into(), format!("gives age {}; write 3 to 99", profile.age)));
    }
    if profile.distance <= 0.0 {
        return Some((
            "the profile".into(),
            format!("gives a distance of {} m; write more than 0", profile.distance),
        ));
    }
    for entry in &dance.moves {
        let place = format!("move '{}'", entry.id.0);
        let (slowest, fastest) = (entry.tempo.slowest.0, entry.tempo.fastest.0);
        if let Some(what) = counts(entry.counts.0) {
            return Some((place, what));
        }
        if entry.steps_per_count < 0.0 {
            return Some((place, format!("takes {} steps a count; write 0 or more", entry.steps_per_count)));
        }
        if slowest < 0.0 || slowest > fastest {
            let what =
                format!("works from {slowest} to {fastest} counts a minute; write the slower one first");
            return Some((place, what));
        }
    }
    for (index, cue) in dance.cues.iter().enumerate() {
        let place = format!("cue {} (beat {})", index + 1, cue.at.0);
        if let Some(what) = counts(cue.counts.0) {
            return Some((place, what));
        }
        if let Some(lead) = cue.lead.filter(|lead| lead.0 < 0.0) {
            return Some((place, format!("is called {} counts ahead; write 0 or more", lead.0)));
        }
    }
    None
}

/// Says which fields this program does not know and keeps, each with the part it is in.
fn kept(dance: &Dance) -> Option<String> {
    let moves = dance.moves.iter().flat_map(|entry| {
        [&entry.unknown, &entry.tempo.unknown, &entry.seated.unknown, &entry.low_impact.unknown]
    });
    let parts = [
        (&dance.unknown, ""),
        (&dance.recording.unknown, " in the recording"),
        (&dance.profile.unknown, " in the profile"),
    ];
    let parts = parts
        .into_iter()
        .chain(moves.map(|unknown| (unknown, " in moves")))
        .chain(dance.cues.iter().map(|cue| (&cue.unknown, " in cues")))
        .chain(dance.prompts.iter().map(|prompt| (&prompt.unknown, " in prompts")))
        .chain(dance.silenced.iter().map(|silenced| (&silenced.unknown, " in silenced findings")));
    let mut names: Vec<String> = Vec::new();
    for (unknown, place) in parts {
        for key in unknown.keys() {
            let name = format!("'{key}'{place}");
            if !names.contains(&name) {
                names.push(name);
            }
        }
    }
    (!names.is_empty())
        .then(|| format!("fields that this program does not know are kept as they are: {}", names.join(", ")))
}

/// Says which move is described more than once.
fn twice(moves: &[Move]) -> Option<String> {
    let again = |(index, entry): (usize, &Move)| {
        moves[..index].iter().any(|earlier| earlier.id == entry.id).then(|| entry.id.0.clone())
    };
    moves
        .iter()
        .enumerate()
        .find_map(again)
        .map(|id| format!("move '{id}' is described more than once; the first description is used"))
}

/// Says when a path will not lead to the recording on another computer.
fn path_note(path: &str) -> Option<String> {
    let drive = path.as_bytes().get(1) == Some(&b':') && path.as_bytes()[0].is_ascii_alphabetic();
    if drive || path.starts_with(['/', '\\']) {
        Some(format!(
            "the recording's path '{path}' works on one computer only; keep the recording beside the dance"
        ))
    } else if path.contains('\\') {
        Some(format!(
            "the recording's path '{path}' has '\\' in it; write '/' so that every computer finds it"
        ))
    } else {
        None
    }
}
