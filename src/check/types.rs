//! What a check says, and what a rule is.

use super::scene::{Scene, Step};
use crate::dance::edit::{Command, Over};
use crate::dance::{Cue, MoveId, Side};
use crate::listening::TurnKind;
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
    /// Where; `None` when it is about the whole dance, or about a cue that is nowhere.
    pub at: Option<Beat>,
    /// Index of the cue it is about, in the dance's order.
    pub cue: Option<usize>,
    /// What was found, one sentence with its numbers, without the place.
    pub message: String,
    /// What to do about it, one line.
    pub remedy: String,
    /// The remedy as an edit, where one edit is enough.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fix: Option<Fix>,
}

impl Finding {
    /// The same finding with an edit that mends it.
    #[must_use]
    pub(super) fn mended_by(self, fix: Fix) -> Self {
        Self { fix: Some(fix), ..self }
    }
}

/// One edit of one cue that removes a finding. `cue` is an index in the dance's order.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "edit")]
pub enum Fix {
    /// Begin elsewhere.
    MoveTo {
        /// Which cue.
        cue: usize,
        /// Where it should begin.
        to: Beat,
    },
    /// Last longer or shorter.
    Last {
        /// Which cue.
        cue: usize,
        /// How long it should last.
        counts: Counts,
    },
    /// Let the call appear earlier.
    Lead {
        /// Which cue.
        cue: usize,
        /// Counts before the cue.
        counts: Counts,
    },
    /// Do it to a side.
    Side {
        /// Which cue.
        cue: usize,
        /// Which side first.
        side: Side,
    },
    /// Take it out.
    Remove {
        /// Which cue.
        cue: usize,
    },
    /// Dance another move there.
    ReplaceMove {
        /// Which cue.
        cue: usize,
        /// The move that fits, of the dance or of the move book.
        to: MoveId,
    },
    /// Begin a move where none begins.
    Pin {
        /// Where.
        at: Beat,
        /// For how long.
        counts: Counts,
        /// Which, of the dance or of the move book.
        movement: MoveId,
    },
}

impl Fix {
    /// What the editor is asked to do. Cues that a moved or longer one comes to lie over are rubbed out there, as when
    /// the teacher does it herself.
    #[must_use]
    pub fn command(&self) -> Command {
        match *self {
            Self::MoveTo { cue, to } => Command::MoveCue { cue, to, over: Over::Erase },
            Self::Last { cue, counts } => Command::StretchCue { cue, counts, over: Over::Erase },
            Self::Lead { cue, counts } => Command::SetLead { cue, lead: Some(counts) },
            Self::Side { cue, side } => Command::SetSide { cue, side: Some(side) },
            Self::Remove { cue } => Command::RemoveCue { cue },
            Self::ReplaceMove { cue, ref to } => Command::ChangeMove { cue, to: Some(to.clone()) },
            Self::Pin { at, counts, ref movement } => {
                Command::AddCue { cue: Cue::new(at, counts, movement.clone()), over: Over::Erase }
            }
        }
    }
}

/// Everything the check found, in the order of the music, whole-dance findings first.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Report {
    /// What was found and not silenced.
    pub findings: Vec<Finding>,
    /// How many findings the teacher has silenced.
    pub silenced: usize,
    /// Those findings with her reasons, in the rules' order.
    pub hushed: Vec<Hushed>,
    /// Turns that some cue meets within one count.
    pub turns_met: usize,
    /// Turns that a dance should show.
    pub turns: usize,
    /// Median distance from a turn to the nearest cue start; `None` without turns or cues.
    pub median_distance: Option<Counts>,
    /// Every turn that a dance should show with the cue nearest to it, in the order of the music.
    pub landings: Vec<Landing>,
}

/// A finding that the teacher has seen and silenced.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Hushed {
    /// The finding.
    #[serde(flatten)]
    pub finding: Finding,
    /// Her reason, as she wrote it.
    pub reason: String,
}

/// How a turn is met.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Landing {
    /// What changes.
    pub kind: TurnKind,
    /// Where the turn begins, on the dance's counts.
    pub at: Beat,
    /// Index of the cue whose start is nearest, in the dance's order; `None` without cues.
    pub cue: Option<usize>,
    /// How many counts later than the turn that cue begins; negative when it is earlier.
    pub off: Option<Counts>,
    /// Whether it begins within one count, before or after.
    pub met: bool,
}

impl Report {
    /// The gravest severity found, or `None` when nothing was.
    #[must_use]
    pub fn worst(&self) -> Option<Severity> {
        self.findings.iter().map(|finding| finding.severity).max()
    }

    /// How many findings are of a severity.
    #[must_use]
    pub fn count(&self, severity: Severity) -> usize {
        self.findings.iter().filter(|finding| finding.severity == severity).count()
    }
}

/// What a rule cannot do without; where it is missing the rule is not looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Needs {
    /// The dance alone.
    Dance,
    /// A grid with beats.
    Beats,
    /// What was heard in the recording.
    Recording,
    /// Both: what was heard, put on the dance's beats.
    BeatsAndRecording,
}

impl Needs {
    /// Whether the recording must have been heard.
    #[must_use]
    pub fn recording(self) -> bool {
        matches!(self, Self::Recording | Self::BeatsAndRecording)
    }

    /// Whether the dance's grid must have beats.
    #[must_use]
    pub fn beats(self) -> bool {
        matches!(self, Self::Beats | Self::BeatsAndRecording)
    }
}

/// A rule: what it is called, why it is there, and the function that looks.
#[derive(Debug, Clone, Copy)]
pub struct Rule {
    /// Identifier, lower-case words joined by hyphens; what a dance file silences.
    pub id: &'static str,
    /// What it is called on the screen.
    pub name: &'static str,
    /// How much its findings matter.
    pub severity: Severity,
    /// What it cannot do without.
    pub needs: Needs,
    /// What it asks, one line.
    pub asks: &'static str,
    /// Why: the reasoning a teacher may want to argue with.
    pub why: &'static str,
    /// Where its numbers come from; `our decision` and `common practice, no source` are said so.
    pub source: &'static str,
    /// Finds everything that breaks the rule.
    pub(super) look: fn(&Scene<'_>) -> Vec<Finding>,
}

impl Rule {
    /// A finding about the dance as a whole.
    pub(super) fn about_dance(&self, message: String, remedy: impl Into<String>) -> Finding {
        Finding {
            rule: self.id,
            severity: self.severity,
            at: None,
            cue: None,
            message,
            remedy: remedy.into(),
            fix: None,
        }
    }

    /// A finding about a place in the music.
    pub(super) fn at(&self, at: Beat, message: String, remedy: impl Into<String>) -> Finding {
        Finding { at: Some(at), ..self.about_dance(message, remedy) }
    }

    /// A finding about a cue.
    pub(super) fn at_cue(&self, step: &Step<'_>, message: String, remedy: impl Into<String>) -> Finding {
        Finding { cue: Some(step.index), ..self.at(step.cue.at, message, remedy) }
    }
}
