//! Tempo words. No standard exists: published tables disagree, so a word is printed from one set of bands that do
//! not overlap, and a teacher's own word is accepted wherever any of the tables would use it.

use crate::units::Bpm;
use std::fmt;

/// How far past a band's edge a tempo must go before the word changes, in BPM.
const HYSTERESIS: f64 = 3.0;

/// A musician's word for a tempo, slowest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(missing_docs, reason = "the words are the trade's own names")]
pub enum TempoWord {
    Grave,
    Largo,
    Adagio,
    Andante,
    Moderato,
    Allegretto,
    Allegro,
    Vivace,
    Presto,
    Prestissimo,
}

/// One row of the table: the word, where its core band ends (it starts where the one before ends), the band in
/// which it is accepted, the Italian word and what it says.
type Row = (TempoWord, f64, (f64, f64), &'static str, &'static str);

/// Core bands after plates and dictionaries; accepted is the union of five published tables (a plate, a magazine
/// guide, a device list, the marks called Maelzel's, and a survey of tables), as compared in `docs/turns.md`.
const TABLE: [Row; 10] = [
    (TempoWord::Grave, 40.0, (20.0, 44.0), "Grave", "very slow and heavy"),
    (TempoWord::Largo, 60.0, (35.0, 60.0), "Largo", "very slow and broad"),
    (TempoWord::Adagio, 76.0, (52.0, 76.0), "Adagio", "slow"),
    (TempoWord::Andante, 100.0, (72.0, 108.0), "Andante", "at a walking pace"),
    (TempoWord::Moderato, 112.0, (86.0, 120.0), "Moderato", "at a medium pace"),
    (TempoWord::Allegretto, 120.0, (98.0, 128.0), "Allegretto", "fairly quick"),
    (TempoWord::Allegro, 152.0, (109.0, 168.0), "Allegro", "quick"),
    (TempoWord::Vivace, 168.0, (132.0, 176.0), "Vivace", "lively and quick"),
    (TempoWord::Presto, 200.0, (168.0, 200.0), "Presto", "very fast"),
    (TempoWord::Prestissimo, f64::INFINITY, (178.0, f64::INFINITY), "Prestissimo", "extremely fast"),
];

impl TempoWord {
    /// Every word, slowest first.
    pub fn all() -> impl ExactSizeIterator<Item = Self> {
        TABLE.iter().map(|row| row.0)
    }

    fn row(self) -> &'static Row {
        &TABLE[self as usize]
    }

    /// The word for a tempo, whatever came before. Bands include their lower edge; no number at all is the last word.
    #[must_use]
    pub fn of(bpm: Bpm) -> Self {
        TABLE.iter().find(|row| bpm.0 < row.1).map_or(Self::Prestissimo, |row| row.0)
    }

    /// The word for a tempo after this word: it stays until the tempo is more than 3 BPM past its band, so that
    /// a tempo at an edge does not flicker between two words.
    #[must_use]
    pub fn then(self, bpm: Bpm) -> Self {
        let (from, to) = self.core();
        if bpm.0 >= from.0 - HYSTERESIS && bpm.0 < to.0 + HYSTERESIS { self } else { Self::of(bpm) }
    }

    /// The words for tempi that follow one another, each kept while the tempo stays near its band. Words go with the whole
    /// numbers that are printed beside them.
    pub fn along(tempi: impl IntoIterator<Item = Bpm>) -> impl Iterator<Item = Self> {
        tempi.into_iter().scan(None, |before: &mut Option<Self>, bpm| {
            let shown = Bpm(bpm.0.round());
            *before = Some(before.map_or_else(|| Self::of(shown), |word| word.then(shown)));
            *before
        })
    }

    /// The band in which the word is printed, from (included) and to (excluded); the last has no end.
    #[must_use]
    pub fn core(self) -> (Bpm, Bpm) {
        let from = (self as usize).checked_sub(1).map_or(0.0, |below| TABLE[below].1);
        (Bpm(from), Bpm(self.row().1))
    }

    /// The band, ends included, in which the word is not contradicted when a teacher uses it.
    #[must_use]
    pub fn accepted(self) -> (Bpm, Bpm) {
        let (from, to) = self.row().2;
        (Bpm(from), Bpm(to))
    }

    /// What it says, as in "it is ...".
    #[must_use]
    pub fn plain(self) -> &'static str {
        self.row().4
    }
}

impl fmt::Display for TempoWord {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.row().3)
    }
}
