//! The first draft of a dance: moves that follow the energy, the form and the turns of the music.
//!
//! A draft is a proposal for the teacher to change, so every cue says why it is there. The same listening, book and
//! profile always give the same draft. Where moves may change is decided in `spans`, which move it is in `choose`, by the rules in `judge`.

mod choose;
mod feel;
mod judge;
mod prompts;
mod sides;
mod spans;
mod why;

use super::{Cue, Dance, Move, MoveBook, Profile, Prompt, SCHEMA, Source};
use crate::listening::{Listening, Pulse, SHORTEST};
use crate::units::{Beat, Counts};
use serde_json::Map;

/// The fewest beats that a draft makes sense for: one move and the last pose.
pub const FEWEST_BEATS: usize = 8;

/// The longest run of jumping that a draft asks for; at least as many counts without jumping or running follow.
///
/// Common practice: 8 to 16 jumps, then as long a rest.
pub const LONGEST_JUMPING: Counts = Counts(16.0);

/// The longest run of running, on the same terms. Our decision.
pub const LONGEST_RUNNING: Counts = Counts(32.0);

/// A first choreography.
#[derive(Debug, Clone, PartialEq)]
pub struct Draft {
    /// By position, without overlaps, inside the grid; each with its reason.
    pub cues: Vec<Cue>,
    /// The moves that the cues name, by identifier.
    pub moves: Vec<Move>,
    /// Two to four questions where the music changes; fewer when it does not.
    pub prompts: Vec<Prompt>,
    /// What was decided for the whole dance, one sentence each.
    pub reasons: Vec<String>,
}

/// Why no draft can be made. The teacher can help the beat, choose another recording, or lead without moves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum DraftError {
    /// There is sound, but no beat to count.
    #[error(
        "no beat was found to pin moves to; tap the beat on the count sheet, or lead it free, without moves"
    )]
    NoBeat,
    /// There is nothing to hear.
    #[error("there is nothing to hear in this recording; check the file, or choose another one")]
    Silent,
    /// Too short for a dance.
    #[error(
        "only {beats} beats were found and a dance needs {FEWEST_BEATS}; choose a longer recording, or tap the \
         missing beats on the count sheet"
    )]
    TooShort {
        /// How many beats there are.
        beats: usize,
    },
    /// Every move is missing.
    #[error("the move book has no moves to draft with; add some, or mend the own move book")]
    NoMoves,
}

/// Drafts a choreography for what was heard.
///
/// Moves change only where a phrase starts, where the music turns, and after a freeze; a phrase that returns gets its
/// move back, a varied one (`A'`) a variation, and so does one that has gone on for long. One-sided moves change sides
/// by eights or sixteens. Rests and held beats freeze. Every cue lasts at least four counts, two seconds and the time to
/// read the next call. Moves that need scarves or held hands are left to the teacher.
///
/// # Errors
/// [`DraftError`] when there is no beat, nothing to hear, too little of it, or no move to use.
pub fn draft(heard: &Listening, book: &MoveBook, profile: &Profile) -> Result<Draft, DraftError> {
    match heard.pulse {
        Pulse::None => return Err(DraftError::NoBeat),
        Pulse::Silent => return Err(DraftError::Silent),
        Pulse::Clear | Pulse::Unsure | Pulse::TooShort => {}
    }
    if heard.grid.is_empty() && heard.length >= SHORTEST {
        return Err(DraftError::NoBeat);
    }
    if heard.grid.len() < FEWEST_BEATS {
        return Err(DraftError::TooShort { beats: heard.grid.len() });
    }
    if book.entries().is_empty() {
        return Err(DraftError::NoMoves);
    }
    let spans = spans::spans(heard, *profile);
    let chosen = choose::choose(heard, book, *profile, &spans);
    let mut cues = Vec::with_capacity(chosen.len());
    let mut moves: Vec<Move> = Vec::new();
    for choice in &chosen {
        for (index, part) in choice.parts.iter().enumerate() {
            let why = if index == 0 { choice.why.clone() } else { why::other_side(&choice.movement) };
            let counts = Counts((part.end - part.start) as f64);
            cues.push(Cue {
                words: choice.words.clone(),
                side: part.side,
                why: Some(why),
                ..Cue::new(Beat::from(part.start), counts, choice.movement.id.clone())
            });
        }
        if !moves.iter().any(|entry| entry.id == choice.movement.id) {
            moves.push(choice.movement.clone());
        }
    }
    moves.sort_by(|a, b| a.id.cmp(&b.id));
    let reasons = why::overall(heard, profile, moves.len());
    Ok(Draft { cues, moves, prompts: prompts::prompts(heard), reasons })
}

/// A dance made from a draft, on the grid that was heard.
#[must_use]
pub fn new_dance(title: &str, recording: Source, profile: Profile, heard: &Listening, draft: Draft) -> Dance {
    Dance {
        schema: SCHEMA,
        title: title.to_owned(),
        recording,
        profile: profile.into(),
        notes: String::new(),
        grid: heard.grid.clone(),
        anchors: Vec::new(),
        moves: draft.moves,
        cues: draft.cues,
        prompts: draft.prompts,
        silenced: Vec::new(),
        unknown: Map::new(),
    }
}
