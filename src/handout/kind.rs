//! What can be handed out, in which forms, on which paper: the one list that the command line is made from.

use std::fmt;

/// Something that can be handed out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// The printed count sheet: phrases down, counts across, words in the boxes.
    CountSheet,
    /// The piece as a path to follow, with room to write what is heard.
    ListeningMap,
    /// The same with everything written in.
    AnsweredMap,
    /// A page with the recording inside, for home; made by [`super::page`].
    Page,
    /// The calls as captions for a video player.
    Captions,
    /// The beats as a table.
    Beats,
    /// The cues as a table.
    Cues,
    /// The tempo map, markers and cue points for notation and sequencing programs.
    TempoMap,
    /// Beats and phrases for research programs.
    Annotations,
}

impl Kind {
    /// Every kind, in the order in which they are made.
    pub const ALL: &'static [Self] = &[
        Self::CountSheet,
        Self::ListeningMap,
        Self::AnsweredMap,
        Self::Page,
        Self::Captions,
        Self::Beats,
        Self::Cues,
        Self::TempoMap,
        Self::Annotations,
    ];

    /// Those that are made to be printed.
    pub const PRINTED: &'static [Self] = &[Self::CountSheet, Self::ListeningMap, Self::AnsweredMap];

    /// What file names call it: lower-case words joined by hyphens.
    #[must_use]
    pub fn stem(self) -> &'static str {
        match self {
            Self::CountSheet => "count-sheet",
            Self::ListeningMap => "listening-map",
            Self::AnsweredMap => "answered-map",
            Self::Page => "take-home-page",
            Self::Captions => "captions",
            Self::Beats => "beats",
            Self::Cues => "cues",
            Self::TempoMap => "tempo-map",
            Self::Annotations => "annotations",
        }
    }

    /// The forms it comes in, as endings of file names without the dot.
    #[must_use]
    pub fn endings(self) -> &'static [&'static str] {
        match self {
            Self::CountSheet => &["html", "pdf"],
            Self::ListeningMap | Self::AnsweredMap => &["svg", "pdf"],
            Self::Page => &["html"],
            Self::Captions => &["vtt", "srt"],
            Self::Beats | Self::Cues => &["csv"],
            Self::TempoMap => &["mid"],
            Self::Annotations => &["jams"],
        }
    }
}

/// Its name in a sentence: `count sheet`, `table of beats`.
impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Page => f.pad("take-home page"),
            Self::Captions => f.pad("caption file"),
            Self::Beats | Self::Cues => f.pad(&format!("table of {}", self.stem())),
            Self::Annotations => f.pad("file of annotations"),
            _ => f.pad(&self.stem().replace('-', " ")),
        }
    }
}

/// A size of paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Paper {
    /// ISO 216 A4, 210 by 297 mm.
    #[default]
    A4,
    /// US Letter, 8.5 by 11 inches.
    Letter,
}

impl Paper {
    /// Width and height in points (1/72 inch), upright.
    #[must_use]
    pub fn size(self) -> (f64, f64) {
        match self {
            Self::A4 => (210.0 / 25.4 * 72.0, 297.0 / 25.4 * 72.0),
            Self::Letter => (612.0, 792.0),
        }
    }

    /// Its name in a style sheet.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::A4 => "A4",
            Self::Letter => "letter",
        }
    }
}
