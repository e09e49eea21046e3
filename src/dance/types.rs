//! The dance as data. `docs/dance-file.md` describes its JSON form, `docs/dance.schema.json` states it.

use super::kept::{Kept, exactly};
use crate::grid::{Anchor, Grid};
use crate::identity::Identity;
use crate::listening::Articulation;
use crate::units::{Beat, Bpm, Counts, Seconds};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

/// Version of the dance file that this program writes. Older ones are read; newer ones are opened read-only.
pub const SCHEMA: u32 = 1;

/// A choreography for one recording.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Dance {
    /// Version of the file format.
    pub schema: u32,
    /// What the teacher calls it.
    pub title: String,
    /// The recording it was made for.
    pub recording: Source,
    /// Who it is for.
    pub profile: Kept<Profile>,
    /// The teacher's notes to herself, any length.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub notes: String,
    /// The grid the dance was made with; a newer analyser never moves it by itself.
    pub grid: Grid,
    /// What the teacher corrected in the grid, oldest first.
    #[serde(default)]
    pub anchors: Vec<Anchor>,
    /// Every move that a cue names, copied so that the file stands alone; ordered by identifier.
    pub moves: Vec<Move>,
    /// Ordered by position.
    pub cues: Vec<Cue>,
    /// Ordered by position.
    #[serde(default)]
    pub prompts: Vec<Prompt>,
    /// Findings the teacher has silenced.
    #[serde(default)]
    pub silenced: Vec<Silenced>,
    /// Fields this program does not know, kept and written back.
    #[serde(flatten, serialize_with = "exactly")]
    pub unknown: Map<String, Value>,
}

/// Where the sound comes from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Source {
    /// Path from the dance's folder, `/` between parts on every system.
    pub path: String,
    /// What the samples are known by.
    #[serde(flatten)]
    pub identity: Identity,
    /// Title, as tagged or corrected.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub title: Option<String>,
    /// Performer, as tagged or corrected.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub performer: Option<String>,
    /// Year of first publication, as the teacher entered it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub year: Option<u16>,
    /// Fields this program does not know, kept and written back.
    #[serde(flatten, serialize_with = "exactly")]
    pub unknown: Map<String, Value>,
}

impl Source {
    /// How long the recording lasts, from its frame count and rate; 0 when the rate is 0.
    #[must_use]
    pub fn length(&self) -> Seconds {
        match self.identity.rate {
            0 => Seconds(0.0),
            rate => crate::units::Frames(self.identity.frames).to_seconds(crate::units::SampleRate(rate)),
        }
    }
}

/// The class a dance is for; decides reading time, step rates and word size.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Profile {
    /// Age of the youngest pupils in years, 3 to 99.
    pub age: u8,
    /// From the screen to the pupil furthest from it, in metres.
    pub distance: f64,
}

impl Default for Profile {
    /// Seven-year-olds, three metres from the screen.
    fn default() -> Self {
        Self { age: 7, distance: 3.0 }
    }
}

/// Name of a move in the move book: lower-case words joined by hyphens.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct MoveId(pub String);

/// How much a move asks of the body, 1 (still) to 5 (wild).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "u8", into = "u8")]
pub struct Energy(u8);

impl Energy {
    /// An energy of 1 to 5, or `None` outside.
    #[must_use]
    pub fn new(level: u8) -> Option<Self> {
        (1..=5).contains(&level).then_some(Self(level))
    }

    /// The level, 1 to 5.
    #[must_use]
    pub fn level(self) -> u8 {
        self.0
    }
}

impl TryFrom<u8> for Energy {
    type Error = String;
    fn try_from(level: u8) -> Result<Self, String> {
        Self::new(level).ok_or_else(|| format!("energy {level} is not between 1 and 5"))
    }
}

impl From<Energy> for u8 {
    fn from(energy: Energy) -> Self {
        energy.0
    }
}

/// What the feet (or the body) do: decides which step rates and rests the check asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum StepKind {
    /// No movement at all.
    Freeze,
    /// Movement on the spot without steps: swaying, arms, scarves.
    Still,
    /// Hands or body sound: clap, pat, stamp on the spot.
    BodySound,
    /// Walking, tiptoeing, creeping.
    Walk,
    /// Marching.
    March,
    /// Running or galloping.
    Run,
    /// Jumping, hopping, skipping.
    Jump,
    /// Turning on the spot.
    Turn,
    /// Side steps and step-touches.
    Side,
}

/// Tempo, in counts a minute, at which a move can be done well.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct StepRate {
    /// Slowest.
    pub slowest: Bpm,
    /// Fastest.
    pub fastest: Bpm,
}

/// The same move for children who sit, or who must not jump; same counts.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct GentleVersion {
    /// Call words, 1 to 4.
    pub words: String,
    /// How to do it, one sentence.
    pub how: String,
    /// Fields this program does not know, kept and written back.
    #[serde(flatten, serialize_with = "exactly")]
    pub unknown: Map<String, Value>,
}

/// An entry of the move book.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Move {
    /// Its name in cues.
    pub id: MoveId,
    /// Call words as they stand on the screen, 1 to 4.
    pub words: String,
    /// How to do it, one or two sentences for the teacher.
    pub how: String,
    /// A sign of one or two characters for those who do not read yet; never without the words.
    pub sign: String,
    /// Its natural length.
    pub counts: Counts,
    /// How much it asks.
    pub energy: Energy,
    /// What the feet do.
    pub step: StepKind,
    /// Steps (or claps, jumps ...) in one count; 0 for none.
    pub steps_per_count: f64,
    /// At which tempo of the counts it works.
    pub tempo: Kept<StepRate>,
    /// Articulations it suits; empty when it suits all.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub suits: Vec<Articulation>,
    /// Whether it is done to one side and should be mirrored when repeated.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub one_sided: bool,
    /// Done sitting.
    pub seated: GentleVersion,
    /// Done without jumping, running or twisting.
    pub low_impact: GentleVersion,
    /// What to watch for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub caution: Option<String>,
    /// Fields this program does not know, kept and written back.
    #[serde(flatten, serialize_with = "exactly")]
    pub unknown: Map<String, Value>,
}

/// Which side a one-sided move goes to first, seen by the children.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs, reason = "left and right")]
pub enum Side {
    Left,
    Right,
}

/// A move (or free words) pinned to a beat for some counts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Cue {
    /// Where it begins.
    pub at: Beat,
    /// How long it lasts.
    pub counts: Counts,
    /// The move; `None` for free words.
    #[serde(rename = "move", default, skip_serializing_if = "Option::is_none")]
    pub movement: Option<MoveId>,
    /// Words instead of the move's own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub words: Option<String>,
    /// Which side first.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub side: Option<Side>,
    /// Counts before `at` when the call appears; `None` lets the words' length decide.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lead: Option<Counts>,
    /// Why it is here, from the draft or the teacher.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
    /// Fields this program does not know, kept and written back.
    #[serde(flatten, serialize_with = "exactly")]
    pub unknown: Map<String, Value>,
}

impl Cue {
    /// A move at a position, for some counts, with nothing else said.
    #[must_use]
    pub fn new(at: Beat, counts: Counts, movement: MoveId) -> Self {
        Self {
            at,
            counts,
            movement: Some(movement),
            words: None,
            side: None,
            lead: None,
            why: None,
            unknown: Map::new(),
        }
    }

    /// Where it ends.
    #[must_use]
    pub fn end(&self) -> Beat {
        self.at.plus(self.counts)
    }
}

/// A question pinned to a beat, with an answer to uncover.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Prompt {
    /// Where it appears.
    pub at: Beat,
    /// What to ask.
    pub question: String,
    /// What to uncover.
    pub answer: String,
    /// Whether the music waits for the class.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub pause: bool,
    /// Fields this program does not know, kept and written back.
    #[serde(flatten, serialize_with = "exactly")]
    pub unknown: Map<String, Value>,
}

/// A finding that the teacher has seen and wants no more of.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Silenced {
    /// Which rule, by its identifier.
    pub rule: String,
    /// Where; `None` silences the rule everywhere.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at: Option<Beat>,
    /// Her reason.
    pub reason: String,
    /// Fields this program does not know, kept and written back.
    #[serde(flatten, serialize_with = "exactly")]
    pub unknown: Map<String, Value>,
}

impl Dance {
    /// The move that a cue names, or `None` for free words (or a move that the dance does not hold).
    #[must_use]
    pub fn move_of(&self, cue: &Cue) -> Option<&Move> {
        let id = cue.movement.as_ref()?;
        self.moves.iter().find(|entry| entry.id == *id)
    }

    /// The words a cue puts on the screen: its own, else its move's, else the move's identifier.
    #[must_use]
    pub fn words_of<'a>(&'a self, cue: &'a Cue) -> &'a str {
        if let Some(words) = &cue.words {
            return words;
        }
        match (self.move_of(cue), &cue.movement) {
            (Some(entry), _) => &entry.words,
            (None, Some(id)) => &id.0,
            (None, None) => "",
        }
    }
}
