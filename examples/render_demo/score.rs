//! What a score is once it has been read: metre, tempo, dynamics, touches, phrases and parts, all in beats.
//! A beat is always a crotchet (a quarter note). How a score is written down is `parse`'s business.

use crate::curve::Curve;
use crate::notes::{Note, Touch};
use crate::tempo::TempoMap;

/// A whole piece.
#[derive(Debug, Clone)]
pub struct Score {
    /// Title, for the tags of the recording.
    pub title: String,
    /// Performer, for the tags of the recording.
    pub artist: String,
    /// Seed of the small unevenness of the players.
    pub seed: u64,
    /// Integrated loudness the recording is brought to, in LUFS.
    pub loudness: f64,
    /// Silence before the first beat, in seconds.
    pub lead_in: f64,
    /// Time after the end of the last bar in which the sound dies away, in seconds.
    pub tail: f64,
    /// Bars.
    pub metre: Metre,
    /// Tempo in beats a minute.
    pub tempo: TempoMap,
    /// Dynamics in MIDI velocity.
    pub dynamics: Curve,
    /// The touch in force from a beat on; ascending, the first at beat 0.
    pub touches: Vec<(f64, Touch)>,
    /// Phrases, ascending, the first at beat 0, each up to the next.
    pub phrases: Vec<Phrase>,
    /// At most fifteen pitched parts, and any number of drum parts.
    pub parts: Vec<Part>,
}

/// Bars of two to six crotchets.
#[derive(Debug, Clone, PartialEq)]
pub struct Metre {
    /// First beat of every bar; one more entry than there are bars, the last being the end of the piece.
    pub bars: Vec<f64>,
}

impl Metre {
    /// The end of the piece, in beats.
    pub fn end(&self) -> f64 {
        self.bars.last().copied().unwrap_or(0.0)
    }

    /// The beat of a bar (from 1) and a beat in it (from 1, may be fractional), or none outside the piece.
    pub fn beat(&self, bar: usize, beat: f64) -> Option<f64> {
        let start = self.bars.get(bar.checked_sub(1)?)?;
        let length = self.bars.get(bar).map_or(1.0, |next| next - start);
        (beat >= 1.0 && beat < length + 1.0).then_some(start + beat - 1.0)
    }
}

/// A phrase of the form.
#[derive(Debug, Clone, PartialEq)]
pub struct Phrase {
    /// First beat.
    pub start: f64,
    /// Letter of the form; equal letters are the same music, a prime marks a varied repeat.
    pub letter: String,
    /// What it is, in words.
    pub name: String,
}

/// Who plays a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Voice {
    /// A General MIDI program, 0 to 127.
    Program(u8),
    /// The General MIDI drum kit; all drum parts share it.
    Drums,
}

/// One player or section.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// Name in the score.
    pub name: String,
    /// Sound.
    pub voice: Voice,
    /// MIDI channel volume, 0 to 127.
    pub volume: u8,
    /// MIDI pan, 0 (left) to 127.
    pub pan: u8,
    /// Velocity added to the dynamics of the piece.
    pub louder: f64,
    /// How much before the beat a slow-speaking instrument starts, in seconds, so that it is heard on the beat.
    pub ahead: f64,
    /// The touch of the whole part, where it differs from the piece's.
    pub touch: Option<Touch>,
    /// In the order written.
    pub notes: Vec<Note>,
}

impl Score {
    /// The touch of the piece in force at a beat.
    pub fn touch_at(&self, beat: f64) -> Touch {
        let index = self.touches.partition_point(|(start, _)| *start <= beat).max(1) - 1;
        self.touches.get(index).map_or(Touch::Detached, |(_, touch)| *touch)
    }

    /// Seconds from the start of the recording to a beat.
    pub fn seconds_at(&self, beat: f64) -> f64 {
        self.lead_in + self.tempo.seconds_at(beat)
    }

    /// Length of the recording in seconds.
    pub fn duration(&self) -> f64 {
        self.seconds_at(self.metre.end()) + self.tail
    }

    /// The last beat on which a note begins; 0 for a score without notes.
    pub fn last_onset(&self) -> f64 {
        self.parts.iter().flat_map(|p| &p.notes).map(|n| n.at).fold(0.0, f64::max)
    }
}

/// Dynamic marks and the MIDI velocities they stand for. The steps are ours: 3 to 6 dB each where a sound
/// font follows the velocity curve of the SoundFont 2.04 specification (40 log10 of the share of 127).
pub const DYNAMICS: [(&str, f64); 8] = [
    ("ppp", 30.0),
    ("pp", 42.0),
    ("p", 54.0),
    ("mp", 66.0),
    ("mf", 80.0),
    ("f", 96.0),
    ("ff", 114.0),
    ("fff", 122.0),
];

/// The mark whose velocity is nearest.
pub fn dynamic_mark(velocity: f64) -> &'static str {
    let nearest = DYNAMICS.iter().min_by(|a, b| (a.1 - velocity).abs().total_cmp(&(b.1 - velocity).abs()));
    nearest.map_or("mf", |(mark, _)| mark)
}
