//! The letters of printed hand-outs: one family in two weights, carried by the program, and how much room they take.
//!
//! `assets/fonts` holds the fonts unchanged, with their licence.

use std::sync::OnceLock;
use ttf_parser::Face;

/// Regular or bold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(in crate::handout) enum Weight {
    /// For what is read once.
    Regular,
    /// For what is read from a stand.
    Bold,
}

/// The family, as an SVG viewer looks for it; the others are about as wide.
pub(super) const FAMILY: &str = "'DejaVu Sans Condensed', 'DejaVu Sans', Tahoma, Arial, sans-serif";

const REGULAR: &[u8] = include_bytes!("../../../assets/fonts/DejaVuSansCondensed.ttf");
const BOLD: &[u8] = include_bytes!("../../../assets/fonts/DejaVuSansCondensed-Bold.ttf");

impl Weight {
    /// The font file.
    pub(super) fn file(self) -> &'static [u8] {
        match self {
            Self::Regular => REGULAR,
            Self::Bold => BOLD,
        }
    }

    /// The font, read. `None` never happens in a program that was tested: the files are part of it.
    pub(super) fn face(self) -> Option<&'static Face<'static>> {
        static FACES: [OnceLock<Option<Face<'static>>>; 2] = [OnceLock::new(), OnceLock::new()];
        let place = match self {
            Self::Regular => 0,
            Self::Bold => 1,
        };
        FACES[place].get_or_init(|| Face::parse(self.file(), 0).ok()).as_ref()
    }
}

/// What is set for a character that the fonts have no letter for.
pub(in crate::handout) const STAND_IN: char = '\u{25A1}';

/// Whether the printed fonts can set a character as a reader of its script expects. Scripts that run from right to left
/// or join their letters are left to the browser.
pub(in crate::handout) fn covered(letter: char) -> bool {
    let joined = ('\u{0590}'..='\u{109F}').contains(&letter) || ('\u{FB1D}'..='\u{FEFF}').contains(&letter);
    !joined && Weight::Regular.face().is_some_and(|face| face.glyph_index(letter).is_some())
}

/// Text as it can be set: on one line, without control characters and marks that only choose a picture's style, with a box
/// for each character that has no letter.
pub(in crate::handout) fn drawable(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            letter if letter.is_whitespace() => {
                if !out.ends_with(' ') {
                    out.push(' ');
                }
            }
            '\u{FE00}'..='\u{FE0F}'
            | '\u{200B}'..='\u{200F}'
            | '\u{202A}'..='\u{202E}'
            | '\u{2060}'..='\u{206F}' => {}
            letter if letter.is_control() => {}
            letter if covered(letter) => out.push(letter),
            _ => out.push(STAND_IN),
        }
    }
    out.trim().to_owned()
}

/// How wide a line of words is, in points. Pairs are not kerned, here or in print.
pub(in crate::handout) fn width(text: &str, size: f64, weight: Weight) -> f64 {
    let Some(face) = weight.face() else { return 0.5 * size * text.chars().count() as f64 };
    let advance =
        |letter| face.glyph_index(letter).and_then(|glyph| face.glyph_hor_advance(glyph)).unwrap_or(0);
    let units: u64 = text.chars().map(|letter| u64::from(advance(letter))).sum();
    units as f64 / f64::from(face.units_per_em()) * size
}

/// Lines at most `room` points wide, broken at spaces; a longer word is broken where it must be. None for no words.
pub(in crate::handout) fn wrapped(text: &str, size: f64, weight: Weight, room: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let fits = |line: &str| width(line, size, weight) <= room + 1e-6;
    for word in drawable(text).split(' ').filter(|word| !word.is_empty()) {
        if let Some(line) = lines.last_mut()
            && fits(&format!("{line} {word}"))
        {
            line.push(' ');
            line.push_str(word);
            continue;
        }
        lines.push(String::new());
        for letter in word.chars() {
            let full = lines.last().is_some_and(|line| !line.is_empty() && !fits(&format!("{line}{letter}")));
            if full {
                lines.push(String::new());
            }
            if let Some(line) = lines.last_mut() {
                line.push(letter);
            }
        }
    }
    lines
}

/// Words set as large as a box allows.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::handout) struct Fitted {
    /// Size of the letters.
    pub(in crate::handout) size: f64,
    /// The lines.
    pub(in crate::handout) lines: Vec<String>,
    /// Whether words had to be left out; the last line then ends in an ellipsis.
    pub(in crate::handout) cut: bool,
}

/// Words on at most `most` lines of `room` points, at the largest of `sizes` (largest first) at which no word is broken;
/// at the smallest, words may be broken or left out.
pub(in crate::handout) fn fitted(
    text: &str,
    weight: Weight,
    room: f64,
    most: usize,
    sizes: &[f64],
) -> Fitted {
    let whole = |size: f64| {
        drawable(text).split(' ').all(|word| width(word, size, weight) <= room + 1e-6)
            && wrapped(text, size, weight, room).len() <= most
    };
    let smallest = sizes.last().copied().unwrap_or(8.0);
    let size = sizes.iter().copied().find(|&size| whole(size)).unwrap_or(smallest);
    let mut lines = wrapped(text, size, weight, room);
    let cut = lines.len() > most;
    lines.truncate(most);
    if cut && let Some(last) = lines.last_mut() {
        while !last.is_empty() && width(&format!("{last}\u{2026}"), size, weight) > room {
            last.pop();
        }
        last.push('\u{2026}');
    }
    Fitted { size, lines, cut }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_fonts_can_be_read_and_have_the_letters_of_european_schools() {
        for weight in [Weight::Regular, Weight::Bold] {
            let face = weight.face().expect("a font");
            for letter in
                "AZaz09 .,;:!?'\"()-\u{2013}\u{2026}ÄÖÜäöüßÉéèçñøåłőšžğİ\u{3b1}\u{3a9}жЯ\u{2018}\u{2019}"
                    .chars()
            {
                assert!(face.glyph_index(letter).is_some(), "{weight:?} has no {letter}");
            }
        }
    }

    #[test]
    fn what_cannot_be_set_is_a_box_and_never_nothing() {
        assert_eq!(drawable("a\u{1F483}b\u{6F22}"), "a\u{25A1}b\u{25A1}");
        assert_eq!(drawable(" two\n lines\u{0}\u{FE0F} "), "two lines");
        assert_eq!(drawable("\u{5D0}"), "\u{25A1}", "scripts from right to left are left to the browser");
    }

    #[test]
    fn no_line_is_wider_than_its_room() {
        let text = "swing both arms wide and Donaudampfschifffahrtsgesellschaft then stop";
        for room in [20.0, 60.0, 200.0] {
            let lines = wrapped(text, 12.0, Weight::Bold, room);
            assert!(lines.iter().all(|line| width(line, 12.0, Weight::Bold) <= room + 1e-6), "{lines:?}");
            assert_eq!(lines.concat().replace(' ', ""), text.replace(' ', ""), "no letter is lost");
        }
        assert!(wrapped("  ", 12.0, Weight::Bold, 50.0).is_empty());
    }

    #[test]
    fn words_are_made_smaller_before_they_are_cut() {
        let sizes = [15.0, 12.0, 9.0];
        assert_eq!(fitted("march", Weight::Bold, 200.0, 1, &sizes).size, 15.0);
        let narrow = fitted("march on the spot", Weight::Bold, 75.0, 2, &sizes);
        assert!(narrow.size < 15.0 || narrow.lines.len() == 2);
        assert!(!narrow.cut);
        let tiny = fitted("march on the spot and then some", Weight::Bold, 30.0, 1, &sizes);
        assert!(
            tiny.cut
                && tiny.lines[0].ends_with('\u{2026}')
                && width(&tiny.lines[0], 9.0, Weight::Bold) <= 30.0
        );
    }
}
