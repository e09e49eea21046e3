//! Which letters words can be drawn in: two fonts of dots, and what neither can draw.
//!
//! The eight-dot font has even, heavy strokes and serves the words that it can write whole. All others are written whole in
//! the sixteen-dot font (GNU Unifont), which has nearly every script that is set letter by letter from left to right. Scripts
//! whose letters join, change places or run from right to left, and emoji, are not drawn: they are left to the terminal.

use super::glyphs::{Glyph, SIZE, glyph};
use unicode_normalization::UnicodeNormalization;
use unicode_segmentation::UnicodeSegmentation;

/// The letters of some words.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Face {
    /// Eight dots high.
    Eight,
    /// Sixteen dots high; a line takes only the rows that its letters use.
    Sixteen,
}

/// Dots of an eight-dot line with small letters as high as those of sixteen dots: 8 dots there, and a share of 0.6 here.
const ALIKE: f64 = 8.0 / 0.6;

impl Face {
    /// The letters that can write all of `text`, which is as [`composed`] makes it; `None` when neither font can.
    pub(super) fn of(text: &str) -> Option<Self> {
        if letters_of(text).all(|letter| single(letter).is_some_and(|letter| glyph(letter).is_some())) {
            return Some(Self::Eight);
        }
        letters_of(text)
            .all(|letter| sixteen(letter).is_some_and(|glyph| glyph.width() > 0))
            .then_some(Self::Sixteen)
    }

    /// The glyph of one letter as a reader takes it (a grapheme) in a line of this [`span`](Self::span); an empty one, or
    /// none, for a space.
    pub(super) fn glyph(self, letter: &str, (top, high): (usize, usize)) -> Option<Glyph> {
        match self {
            Self::Eight => glyph(single(letter)?),
            Self::Sixteen => Some(sixteen(letter)?.cropped(top, high)),
        }
    }

    /// The first row of dots that a line uses, and how many it takes, at least 1.
    pub(super) fn span(self, line: &str) -> (usize, usize) {
        if self == Self::Eight {
            return (0, SIZE);
        }
        let used = letters_of(line).filter_map(|letter| sixteen(letter)?.rows_used());
        let all = used.reduce(|all, one| (all.0.min(one.0), all.1.max(one.1)));
        all.map_or((0, 1), |(first, last)| (first, last + 1 - first))
    }

    /// Dots between words, and between lines.
    pub(super) fn between(self) -> (usize, usize) {
        match self {
            Self::Eight => (4, 1),
            Self::Sixteen => (5, 1),
        }
    }

    /// Dots of a line of the eight-dot font that could be read from as far.
    pub(super) fn reads_like(self) -> f64 {
        match self {
            Self::Eight => SIZE as f64,
            Self::Sixteen => ALIKE,
        }
    }
}

/// Text with every accent in one character with its letter, where there is such a character (Unicode's form NFC).
pub(super) fn composed(text: &str) -> String {
    text.nfc().collect()
}

/// Whether the letters of a script join or change places, so that no space may be put between them; also those that run
/// from right to left.
pub(super) fn joins(text: &str) -> bool {
    text.chars().any(|letter| {
        matches!(letter as u32, 0x590..=0x109F | 0x1780..=0x18AF | 0x200D | 0xFB1D..=0xFDFF | 0xFE70..=0xFEFF
            | 0x1_0800..=0x1_1FFF | 0x1_E800..=0x1_EFFF)
    })
}

fn letters_of(text: &str) -> impl Iterator<Item = &str> {
    text.graphemes(true).filter(|letter| !letter.trim().is_empty())
}

/// The only character of a letter.
fn single(letter: &str) -> Option<char> {
    let mut all = letter.chars();
    all.next().filter(|_| all.next().is_none())
}

/// A letter in the sixteen-dot font, with the accents that have no character together with it drawn over it.
fn sixteen(letter: &str) -> Option<Glyph> {
    let mut characters = letter.chars();
    let first = characters.next()?;
    let mut drawn = one(first)?;
    for accent in characters {
        // An accent is drawn for letters half as wide as high.
        if !matches!(accent as u32, 0x300..=0x36F) || drawn.width_of_cell() > SIZE {
            return None;
        }
        drawn = drawn.with(&one(accent)?);
    }
    Some(drawn.heavier())
}

/// A character in the sixteen-dot font, uncropped.
fn one(letter: char) -> Option<Glyph> {
    if let Some(sign) = glyph(letter).filter(|_| super::glyphs::is_sign(letter)) {
        return Some(sign.twice());
    }
    if !set_alone(letter) {
        return None;
    }
    let found = unifont::get_glyph(letter)?;
    let width = found.get_width();
    let rows = std::array::from_fn(|y| {
        (0..width).filter(|&x| found.get_pixel(x, y)).fold(0u32, |row, x| row | 1 << x)
    });
    Some(Glyph::of_sixteen(rows, width))
}

/// Characters of scripts that are set one by one, from left to right, and accents. Source: the blocks of the Unicode
/// Standard, and its chapters on the scripts.
fn set_alone(letter: char) -> bool {
    matches!(letter as u32,
        0x21..=0x7E | 0xA1..=0xAC | 0xAE..=0x52F // Latin, phonetic signs, accents, Greek, Cyrillic
        | 0x531..=0x58F // Armenian
        | 0x10A0..=0x10FF | 0x1C90..=0x1CBF // Georgian
        | 0x1E00..=0x1FFF // Latin and Greek with more accents
        | 0x2010..=0x2027 | 0x2030..=0x205E | 0x20A0..=0x20CF | 0x2100..=0x2BFF // punctuation, coins, arrows, signs
        | 0x3001..=0x30FF | 0x3131..=0x318E | 0x31F0..=0x31FF // kana and their punctuation, single Korean letters
        | 0x3400..=0x4DBF | 0x4E00..=0x9FFF // Han
        | 0xAC00..=0xD7A3 // Hangul
        | 0xFF01..=0xFFEE) // wide Latin, narrow kana
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_written_in_the_heavy_letters_where_these_have_all_of_them() {
        assert_eq!(Face::of("Step élan"), Some(Face::Eight));
        // The same with the accent as a character of its own.
        assert_eq!(Face::of(&composed("Step e\u{301}lan")), Some(Face::Eight));
        for text in [
            "прыжок",
            "шаги\u{301}",
            "łapy",
            "kroužit",
            "dön ş",
            "跳舞",
            "スキップ",
            "にほん",
            "줄넘기",
            "ἅλμα",
            "քայլ",
            "ნაბიჯი",
        ] {
            assert!(matches!(Face::of(&composed(text)), Some(Face::Sixteen)), "'{text}'");
        }
    }

    #[test]
    fn scripts_that_join_or_turn_round_and_emoji_are_left_to_the_terminal() {
        for text in ["اقفز", "קפוץ", "कूदो", "กระโดด", "💃 hop", "👩‍👧", "hop \u{E000}", "x\u{FE0F}"]
        {
            assert_eq!(Face::of(&composed(text)), None, "'{text}'");
        }
        for text in ["اقفز", "קפוץ", "कूदो"] {
            assert!(joins(text));
        }
        assert!(!joins("прыжок 跳舞 é"));
    }

    #[test]
    fn an_accent_without_a_character_of_its_own_is_drawn_over_its_letter() {
        let (plain, accented) = (sixteen("и").expect("a letter"), sixteen("и\u{301}").expect("drawn"));
        let dots = |glyph: &Glyph| glyph.dots();
        assert!(dots(&accented) > dots(&plain), "the accent adds dots");
        assert!(accented.rows_used() < plain.rows_used(), "above the letter");
    }
}
