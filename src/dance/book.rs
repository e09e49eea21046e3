//! The move book: what children can do to music, in our own words, and what a teacher adds to it.
//!
//! The built-in moves stand in `assets/moves.json`. What a move needs and which turns it shows is the book's
//! knowledge, used for drafting; dances keep the move alone.

use super::reading::count_words;
use super::{Move, MoveId, StepKind};
use crate::listening::TurnKind;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use unicode_width::UnicodeWidthStr;

/// Version of the move book's form that this program reads.
pub const BOOK_SCHEMA: u64 = 1;

const BUILT_IN: &str = include_str!("../../assets/moves.json");

/// What a move needs besides children and floor; a draft leaves such moves to the teacher.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Need {
    /// A light scarf for each child, held in the hand.
    Scarf,
    /// Children who hold hands.
    Hands,
}

/// A move as it stands in the book.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// The move.
    #[serde(flatten)]
    pub movement: Move,
    /// Turns of the music that it makes visible; a draft keeps it for those.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub shows: Vec<TurnKind>,
    /// What it needs.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub needs: Vec<Need>,
}

/// Moves that stand for something of their own, which no stretch of dancing is given.
const SPECIAL: [&str; 3] = ["listen", "bow", "final-pose"];

impl Entry {
    /// Whether any stretch of dancing may be given this move: it needs nothing but children and floor, it is not kept for
    /// showing a turn of the music, and it is neither a freeze, a bow, a last pose nor listening.
    #[must_use]
    pub fn is_everyday(&self) -> bool {
        self.needs.is_empty()
            && self.shows.is_empty()
            && self.movement.step != StepKind::Freeze
            && !SPECIAL.contains(&self.movement.id.0.as_str())
    }
}

/// Moves in the book's order: the still ones first. Its JSON form is the one that [`MoveBook::with_own`] reads.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MoveBook {
    schema: u64,
    #[serde(rename = "moves")]
    entries: Vec<Entry>,
}

/// Why a teacher's own moves cannot be used. She (or whoever helps her) must mend the file.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum MoveBookError {
    /// Not JSON.
    #[error(
        "the move book is damaged at line {line}, column {column}; mend it there, or print one with 'farandole moves --json'"
    )]
    Broken {
        /// Line, from 1.
        line: usize,
        /// Column in bytes, from 1.
        column: usize,
    },
    /// JSON, but something else, or of a newer form.
    #[error(
        "this is not a move book of form {BOOK_SCHEMA}: it needs 'schema': {BOOK_SCHEMA} and a list 'moves'"
    )]
    NotABook,
    /// A move lacks something or holds something no move can have.
    #[error("move {number} '{name}': {what}")]
    Move {
        /// Which move in the file, from 1.
        number: usize,
        /// Its identifier, or `?` when it has none.
        name: String,
        /// What is wrong and what is allowed.
        what: String,
    },
}

impl MoveBook {
    /// The moves that come with the program.
    #[must_use]
    pub fn built_in() -> Self {
        // The file is part of the program and a test reads it, so this cannot fail in a program that was tested;
        // an empty book is still safer in front of a class than a panic.
        Self { schema: BOOK_SCHEMA, entries: parse(BUILT_IN).unwrap_or_default() }
    }

    /// This book with a teacher's own moves, in the form of `assets/moves.json`. A move with a known identifier
    /// takes the place of the one it is named after; others follow at the end.
    ///
    /// # Errors
    /// [`MoveBookError`] names the line or the move that is at fault; this book is unchanged then.
    pub fn with_own(&self, json: &str) -> Result<Self, MoveBookError> {
        let mut entries = self.entries.clone();
        for own in parse(json)? {
            match entries.iter_mut().find(|entry| entry.movement.id == own.movement.id) {
                Some(entry) => *entry = own,
                None => entries.push(own),
            }
        }
        Ok(Self { entries, ..*self })
    }

    /// Every move with what the book knows about it.
    #[must_use]
    pub fn entries(&self) -> &[Entry] {
        &self.entries
    }

    /// Every move.
    pub fn moves(&self) -> impl ExactSizeIterator<Item = &Move> {
        self.entries.iter().map(|entry| &entry.movement)
    }

    /// The move of that name, if the book has it.
    #[must_use]
    pub fn get(&self, id: &MoveId) -> Option<&Move> {
        self.moves().find(|entry| entry.id == *id)
    }

    /// Moves that typed letters may mean, the likeliest first; equally likely ones in the book's order.
    ///
    /// Call words that begin with the letters come first, then any of their words, then letters inside a word, then
    /// letters in that order with gaps; last, words of the description. Case does not matter. Nothing typed gives
    /// every move.
    #[must_use]
    pub fn search(&self, typed: &str) -> Vec<&Move> {
        let typed = typed.trim().to_lowercase();
        let mut found: Vec<(u8, &Move)> =
            self.moves().filter_map(|entry| Some((closeness(entry, &typed)?, entry))).collect();
        found.sort_by_key(|(closeness, _)| *closeness);
        found.into_iter().map(|(_, entry)| entry).collect()
    }
}

/// How close typed letters (lower case) are to a move: 0 is what was meant, `None` is something else.
fn closeness(entry: &Move, typed: &str) -> Option<u8> {
    let words = entry.words.to_lowercase();
    let id = entry.id.0.to_lowercase();
    let starts = |text: &str| text.split([' ', '-']).any(|word| word.starts_with(typed));
    if words == typed || id == typed {
        Some(0)
    } else if words.starts_with(typed) {
        Some(1)
    } else if id.starts_with(typed) {
        Some(2)
    } else if starts(&words) || starts(&id) {
        Some(3)
    } else if words.contains(typed) || id.contains(typed) {
        Some(4)
    } else if typed.len() > 1 && in_order(&words, typed) {
        Some(5)
    } else if typed.len() > 2 && starts(&entry.how.to_lowercase()) {
        Some(6)
    } else {
        None
    }
}

/// Whether all of `letters` occur in `text` in that order.
fn in_order(text: &str, letters: &str) -> bool {
    let mut rest = text.chars();
    letters.chars().filter(|letter| !letter.is_whitespace()).all(|letter| rest.any(|c| c == letter))
}

fn parse(json: &str) -> Result<Vec<Entry>, MoveBookError> {
    let json = json.strip_prefix('\u{feff}').unwrap_or(json);
    let tree: Value = serde_json::from_str(json)
        .map_err(|error| MoveBookError::Broken { line: error.line(), column: error.column() })?;
    let moves = tree.get("moves").and_then(Value::as_array).ok_or(MoveBookError::NotABook)?;
    if tree.get("schema").and_then(Value::as_u64) != Some(BOOK_SCHEMA) {
        return Err(MoveBookError::NotABook);
    }
    let mut entries: Vec<Entry> = Vec::with_capacity(moves.len());
    for (index, item) in moves.iter().enumerate() {
        let name = item.get("id").and_then(Value::as_str).unwrap_or("?");
        let fail = |what| MoveBookError::Move { number: index + 1, name: name.to_owned(), what };
        let entry = Entry::deserialize(item).map_err(|error| fail(error.to_string().replace('`', "'")))?;
        if let Some(what) = fault(&entry.movement) {
            return Err(fail(what));
        }
        if entries.iter().any(|earlier| earlier.movement.id == entry.movement.id) {
            return Err(fail("is there twice; give one of them another 'id'".into()));
        }
        entries.push(entry);
    }
    Ok(entries)
}

/// What makes a move unusable on the screen or in a dance, if anything.
fn fault(entry: &Move) -> Option<String> {
    let id = &entry.id.0;
    let well_formed = id
        .split('-')
        .all(|part| !part.is_empty() && part.chars().all(|c| c.is_alphanumeric() && !c.is_uppercase()));
    if !well_formed {
        return Some("the 'id' must be lower-case words joined by hyphens".into());
    }
    let gentle = [("seated", &entry.seated), ("low_impact", &entry.low_impact)];
    let called =
        [("words", &entry.words)].into_iter().chain(gentle.map(|(name, version)| (name, &version.words)));
    for (name, words) in called {
        let count = count_words(words);
        if !(1..=4).contains(&count) {
            return Some(format!("'{name}' has {count} words; write 1 to 4"));
        }
    }
    let described =
        [("how", &entry.how)].into_iter().chain(gentle.map(|(name, version)| (name, &version.how)));
    for (name, how) in described {
        if how.trim().is_empty() {
            return Some(format!("'{name}' does not say how to do it"));
        }
    }
    let width = entry.sign.width();
    if !(1..=2).contains(&width) {
        return Some(format!("the sign is {width} characters wide; use 1 or 2"));
    }
    if entry.counts.0 <= 0.0 {
        return Some(format!("lasts {} counts; write more than 0", entry.counts.0));
    }
    if entry.steps_per_count < 0.0 {
        return Some(format!("takes {} steps a count; write 0 or more", entry.steps_per_count));
    }
    let (slowest, fastest) = (entry.tempo.slowest.0, entry.tempo.fastest.0);
    (slowest < 0.0 || slowest > fastest)
        .then(|| format!("works from {slowest} to {fastest} counts a minute; write the slower one first"))
}
