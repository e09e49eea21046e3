//! The dance file: a dance as text that people can read and version control can compare.
//!
//! Strings only: the shelf finds, locks and saves files. `docs/dance-file.md` describes the form for readers,
//! `docs/dance.schema.json` states it for programs.

mod read;
mod write;

pub use read::{Opened, from_json};
pub(super) use write::exact;
pub use write::{canonical, to_json};

/// Why a text cannot be opened as a dance. The text must be mended, or a newer program used; nothing was changed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum DanceFileError {
    /// Not JSON: someone (or a tool) damaged it while editing.
    #[error(
        "the text is damaged at line {line}, column {column}: {what}; mend it there or go back to an earlier copy"
    )]
    Broken {
        /// Line, from 1.
        line: usize,
        /// Column in bytes, from 1.
        column: usize,
        /// What is wrong there.
        what: String,
    },
    /// The text ends before the dance does.
    #[error("the text stops in the middle, at line {line}: it was cut short; go back to an earlier copy")]
    CutShort {
        /// Last line, from 1.
        line: usize,
    },
    /// Two versions stand side by side, as version control leaves them.
    #[error("line {line} marks two versions that were never joined; keep one of them and delete the marks")]
    Unmerged {
        /// Line of the first mark, from 1.
        line: usize,
    },
    /// JSON, but something else.
    #[error("this is not a dance: it has no 'schema' number; choose a file that Farandole saved")]
    NotADance,
    /// Written by a newer program in a way that this one cannot make sense of.
    #[error(
        "this dance needs a newer Farandole: it is written in form {version} and this program reads up to {known}; \
         update the program",
        known = super::SCHEMA
    )]
    Newer {
        /// The form it is written in.
        version: u64,
    },
    /// A part is missing or of the wrong kind.
    #[error("line {line}, column {column}{place}: {what}; mend it there or go back to an earlier copy")]
    Misfit {
        /// Line, from 1.
        line: usize,
        /// Column in bytes, from 1.
        column: usize,
        /// Which part, with a leading comma, or nothing.
        place: String,
        /// What is wrong there.
        what: String,
    },
    /// A value that no dance can have.
    #[error("{place} {what}")]
    Impossible {
        /// Which part.
        place: String,
        /// What is wrong with it and what is allowed.
        what: String,
    },
}
