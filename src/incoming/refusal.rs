//! Why no beats can be taken from a file.

use super::{FEWEST, MOST};

/// Why no beats can be taken from a file, with the way out.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Refusal {
    /// Nothing is in it.
    #[error("the file is empty; export the beats again")]
    Empty,
    /// No list of beats is so large.
    #[error("it is larger than any list of beats (16 MB); give the file with the beats alone")]
    TooLarge,
    /// It is neither text nor MIDI.
    #[error("it is neither text nor MIDI; export the beats as CSV, as JAMS or as a MIDI file")]
    NotText,
    /// A line of a table without a time.
    #[error("line {line} ('{text}') has no time in seconds; mend that line or remove it")]
    NoTime {
        /// Which, from 1.
        line: usize,
        /// What stands there.
        text: String,
    },
    /// A head, and none of its columns is a time.
    #[error("none of its columns ({columns}) is called a time; call the one with the seconds 'time'")]
    NoTimeColumn {
        /// What the columns are called.
        columns: String,
    },
    /// A time that goes back.
    #[error("in line {line} the time goes back, from {before} s to {at} s; put the lines in order of time")]
    Back {
        /// Which, from 1.
        line: usize,
        /// The time before it.
        before: f64,
        /// Its own.
        at: f64,
    },
    /// The same in JAMS, where nobody counts lines.
    #[error("beat {index} goes back in time, from {before} s to {at} s; put the beats in order of time")]
    BeatBack {
        /// Which, from 1.
        index: usize,
        /// The time before it.
        before: f64,
        /// Its own.
        at: f64,
    },
    /// A beat of a JAMS file without a time.
    #[error("beat {index} has no time in seconds; export the beats again")]
    BeatWithoutTime {
        /// Which, from 1.
        index: usize,
    },
    /// It begins like JSON and is none.
    #[error("it is not whole: as JSON it goes wrong in line {line}; export or copy it again")]
    NotJson {
        /// Which, from 1.
        line: usize,
    },
    /// JSON, but about something else.
    #[error("it is JSON without a list of beats; export the namespace 'beat' or 'beat_position' as JAMS")]
    NoBeats,
    /// It is called a MIDI file and is none, or is cut short.
    #[error("it is not a whole MIDI file; export or copy it again")]
    NotMidi,
    /// Time code instead of a tempo map.
    #[error("it counts film frames, so it has no tempo map; export it as MIDI with bars and beats")]
    TimeCode,
    /// Several songs in one file.
    #[error("it holds several songs one after another (MIDI format 2); export one of them")]
    SeveralSongs,
    /// Not a grid.
    #[error("it holds {}, and a grid needs {FEWEST} at least", held(*beats))]
    TooFew {
        /// How many there are.
        beats: usize,
    },
    /// More than any recording has.
    #[error("it holds {beats} beats, more than any recording ({MOST}); give the file with the beats alone")]
    TooMany {
        /// How many there are.
        beats: usize,
    },
}

fn held(beats: usize) -> String {
    match beats {
        0 => "no beats".into(),
        1 => "1 beat".into(),
        many => format!("{many} beats"),
    }
}
