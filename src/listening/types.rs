//! What listening finds: plain data, in the form in which it is cached and printed.

use crate::grid::Grid;
use crate::units::{Beat, Bpm, Decibels, Lu, Lufs, Seconds};
use serde::{Deserialize, Serialize};

/// Everything heard in one recording.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Listening {
    /// Version of the analyser that heard it; a cached listening of another version is heard again.
    pub analyser: u32,
    /// Length of the recording.
    pub length: Seconds,
    /// Whether there is a beat to dance to.
    pub pulse: Pulse,
    /// Beats, bars and phrases; empty unless `pulse` is clear or unsure.
    pub grid: Grid,
    /// How sure each bar is, one entry a bar of the grid.
    pub sureness: Vec<Sureness>,
    /// Beats in a bar, from which beat on; empty when the grid is.
    pub metres: Vec<Metre>,
    /// Smoothed tempo, one entry a beat.
    pub tempo: Vec<TempoPoint>,
    /// Loudness over the whole and over time.
    pub loudness: Loudness,
    /// Dynamics relative to this recording.
    pub dynamics: Dynamics,
    /// What each phrase is like, one entry a phrase of the grid.
    pub phrases: Vec<PhraseCharacter>,
    /// Where the music changes, by ascending start.
    pub turns: Vec<Turn>,
    /// Sentences a teacher could read aloud.
    pub summary: Vec<String>,
}

/// Whether a beat was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Pulse {
    /// A beat that a class can follow.
    Clear,
    /// A beat was found, but large parts of it are doubtful: listen, and tap where it is wrong.
    Unsure,
    /// Sound without a clear beat (speech, a drone, free time).
    None,
    /// Nothing to hear.
    Silent,
    /// Too short to tell (under [`SHORTEST`]).
    TooShort,
}

/// The shortest recording in which a beat is looked for.
pub const SHORTEST: Seconds = Seconds(4.0);

/// How sure something is, 0 (a guess) to 1 (beyond doubt).
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Sureness(pub f32);

/// Bars of one length.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Metre {
    /// Index of the first beat it holds for.
    pub from: usize,
    /// Beats in a bar.
    pub beats: u8,
    /// Whether beats divide in three (compound metre) rather than two.
    pub compound: bool,
}

/// The tempo at one beat.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TempoPoint {
    /// When the beat is.
    pub at: Seconds,
    /// Smoothed tempo there.
    pub bpm: Bpm,
}

/// A quantity over time, evenly spaced.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Contour {
    /// Time between values.
    pub step: Seconds,
    /// Value `i` describes a window centred on `i * step`; LUFS for loudness, where silence is `-120`.
    pub values: Vec<f32>,
}

impl Contour {
    /// The value nearest to an instant, or `None` for an empty contour. Outside, the end values hold.
    #[must_use]
    pub fn at(&self, at: Seconds) -> Option<f32> {
        let last = self.values.len().checked_sub(1)?;
        let index = (at.0 / self.step.0).round().max(0.0) as usize;
        Some(self.values[index.min(last)])
    }
}

/// Loudness after EBU R 128.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Loudness {
    /// Gated loudness of the whole; `None` when nothing passes the gate.
    pub integrated: Option<Lufs>,
    /// Loudness range (EBU Tech 3342); `None` under a minute, where it means little.
    pub range: Option<Lu>,
    /// Largest sample of any channel, relative to full scale; negative infinity is stored as -200.
    pub peak: Decibels,
    /// Momentary loudness (400 ms), stepped every 10 ms inside, kept every 100 ms; centred, so not late.
    pub momentary: Contour,
    /// Short-term loudness (3 s), kept every 100 ms; centred.
    pub short_term: Contour,
}

/// A dynamic mark, relative to this recording.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[allow(missing_docs, reason = "the marks are the trade's own names")]
pub enum Dynamic {
    Pp,
    P,
    Mp,
    Mf,
    F,
    Ff,
}

impl std::fmt::Display for Dynamic {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.pad(match self {
            Self::Pp => "pp",
            Self::P => "p",
            Self::Mp => "mp",
            Self::Mf => "mf",
            Self::F => "f",
            Self::Ff => "ff",
        })
    }
}

/// How finely dynamics can be told apart here, and where the marks lie.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Dynamics {
    /// Marks in use with the lowest short-term loudness of each, softest first; one entry means "almost flat".
    pub marks: Vec<(Dynamic, Lufs)>,
}

impl Dynamics {
    /// The mark of a short-term loudness, or `None` when no marks are in use (silence).
    #[must_use]
    pub fn mark(&self, level: Lufs) -> Option<Dynamic> {
        let above = self.marks.partition_point(|(_, lowest)| lowest.0 <= level.0);
        self.marks.get(above.saturating_sub(1)).map(|(mark, _)| *mark)
    }

    /// Whether the recording keeps about one loudness throughout.
    #[must_use]
    pub fn flat(&self) -> bool {
        self.marks.len() <= 1
    }
}

/// How notes are joined.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Articulation {
    /// Short: under half of the time to the next note.
    Staccato,
    /// Separated, yet not short.
    Detached,
    /// Smooth: each note lasts until the next.
    Legato,
    /// The texture, the room or the noise hides it.
    Unclear,
}

/// What one phrase is like.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PhraseCharacter {
    /// Median tempo.
    pub bpm: Bpm,
    /// Median short-term loudness.
    pub level: Lufs,
    /// Its mark; `None` in silence.
    pub dynamic: Option<Dynamic>,
    /// How its notes are joined.
    pub articulation: Articulation,
    /// Energy for moving, 1 (still) to 5 (wild), from loudness relative to the recording, tempo and note density.
    pub energy: u8,
}

/// What kind of change a turn is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TurnKind {
    /// Gradually louder.
    Crescendo,
    /// Gradually softer.
    Diminuendo,
    /// Suddenly louder.
    SubitoLoud,
    /// Suddenly softer.
    SubitoSoft,
    /// Gradually faster.
    Accelerando,
    /// Gradually slower.
    Ritardando,
    /// Suddenly faster.
    SuddenlyFaster,
    /// Suddenly slower.
    SuddenlySlower,
    /// Back to an earlier tempo after a gradual change.
    ATempo,
    /// Silence of everyone for at least a beat.
    Rest,
    /// A beat held much longer than its neighbours.
    Fermata,
}

/// A point or stretch where the music changes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Turn {
    /// What changes.
    pub kind: TurnKind,
    /// Where it begins; for sudden changes, the change itself.
    pub start: Seconds,
    /// Where it is complete; equals `start` for sudden changes.
    pub end: Seconds,
    /// `start` in the grid (0 when there is none).
    pub start_beat: Beat,
    /// `end` in the grid.
    pub end_beat: Beat,
    /// Before: LUFS for loudness, BPM for tempo, 0 for rests and fermatas.
    pub from: f64,
    /// After, in the same unit; for rests and fermatas the length in seconds.
    pub to: f64,
    /// How sure.
    pub sureness: Sureness,
}

impl TurnKind {
    /// Whether it is over in one moment.
    #[must_use]
    pub fn sudden(self) -> bool {
        matches!(self, Self::SubitoLoud | Self::SubitoSoft | Self::SuddenlyFaster | Self::SuddenlySlower)
    }
}

/// The overall impression, in the four pairs a class can move to.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Character {
    /// Median tempo; `None` without a beat.
    pub bpm: Option<Bpm>,
    /// Fastest over slowest tempo of the phrases, 1 when steady.
    pub tempo_ratio: f64,
    /// Loudest minus softest phrase.
    pub level_span: Lu,
    /// The commonest articulation.
    pub articulation: Articulation,
}
