//! What a check says.

use crate::units::{Beat, Counts};
use serde::Serialize;

/// How much a finding matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// Worth knowing; the dance works.
    Note,
    /// Some pupils will be late, lost or uncomfortable.
    Warning,
    /// It cannot work as it stands, or should not be done for safety.
    Problem,
}

/// One thing the check found.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Finding {
    /// Identifier of the rule, lower-case words joined by hyphens.
    pub rule: &'static str,
    /// How much it matters.
    pub severity: Severity,
    /// Where; `None` when it is about the whole dance.
    pub at: Option<Beat>,
    /// Index of the cue it is about, in the dance's order.
    pub cue: Option<usize>,
    /// What was found, one sentence with its numbers, without the place.
    pub message: String,
    /// What to do about it, one line.
    pub remedy: String,
}

/// Everything the check found, in the order of the music, whole-dance findings first.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Report {
    /// What was found and not silenced.
    pub findings: Vec<Finding>,
    /// How many findings the teacher has silenced.
    pub silenced: usize,
    /// Turns that some cue meets within one count.
    pub turns_met: usize,
    /// Turns that a dance should show.
    pub turns: usize,
    /// Median distance from a turn to the nearest cue start; `None` without turns or cues.
    pub median_distance: Option<Counts>,
}
