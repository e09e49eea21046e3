//! Block letters: words drawn as large as a space allows, to be read from the back of a room.
//!
//! Letters come from one of two fonts of dots ([`Face`]), are set proportionally, scaled separately in height and width with
//! smoothed diagonals, and drawn with quarter blocks. What neither font can draw is written by the terminal, on a patch of
//! colour that is seen from afar ([`Words::Patch`]); nothing is ever dropped.

use super::glyphs::{Glyph, SIZE};
pub use super::letters::Face;
use super::letters::{composed, joins};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};
use unicode_segmentation::UnicodeSegmentation;
use unicode_width::UnicodeWidthStr;

/// Words fitted into a space.
#[derive(Debug, Clone, PartialEq)]
pub enum Words {
    /// Drawn large.
    Block {
        /// The text, line by line.
        lines: Vec<String>,
        /// The font.
        face: Face,
        /// Half rows to a dot of the font.
        tall: f64,
        /// Half columns to a dot of the font.
        wide: f64,
    },
    /// Written in the terminal's own letters, spaced where there is room.
    Plain(Vec<String>),
    /// The same on a patch of the ink's colour, one row and two columns larger on every side: for what no font of ours can
    /// draw.
    Patch(Vec<String>),
}

/// Columns and rows that a patch needs around its words.
const ROUND: (u16, u16) = (4, 2);

/// The letters' sizes that keep their strokes even: whole and half steps.
fn steps() -> impl Iterator<Item = f64> {
    (2..=64).map(|halves| f64::from(halves) / 2.0)
}

impl Words {
    /// Fits `text` into `width` columns and `height` rows, on as many lines up to `most` as make the largest letters.
    #[must_use]
    pub fn fit(text: &str, width: u16, height: u16, most: usize) -> Self {
        let text = composed(text);
        let words: Vec<&str> = text.split_whitespace().collect();
        let Some(face) = Face::of(&text) else { return undrawn(&words, width, height) };
        let mut best: Option<(f64, Self)> = None;
        for lines in 1..=most.min(words.len()) {
            if let Some((area, fitted)) = sized(&broken(&words, face, lines), face, width, height)
                && best.as_ref().is_none_or(|(largest, _)| area > *largest)
            {
                best = Some((area, fitted));
            }
        }
        best.map_or_else(|| Self::Plain(plain(&words, width, height)), |(_, fitted)| fitted)
    }

    /// Rows it takes.
    #[must_use]
    pub fn rows(&self) -> u16 {
        match self {
            Self::Block { lines, face, tall, .. } => {
                (dots_high(lines, *face) as f64 * tall / 2.0).ceil() as u16
            }
            Self::Plain(lines) => u16::try_from(lines.len()).unwrap_or(u16::MAX),
            Self::Patch(lines) => u16::try_from(lines.len()).unwrap_or(u16::MAX).saturating_add(ROUND.1),
        }
    }

    /// Columns it takes.
    #[must_use]
    pub fn columns(&self) -> u16 {
        let widest = |lines: &[String]| {
            let widest = lines.iter().map(|line| line.width()).max().unwrap_or(0);
            u16::try_from(widest).unwrap_or(u16::MAX)
        };
        match self {
            Self::Block { lines, face, wide, .. } => {
                (dots_wide(lines, *face) as f64 * wide / 2.0).ceil() as u16
            }
            Self::Plain(lines) => widest(lines),
            Self::Patch(lines) => widest(lines).saturating_add(ROUND.0),
        }
    }

    /// How many rows high one line of letters is, as those of the eight-dot font: what decides from how far they can be
    /// read.
    #[must_use]
    pub fn letter_rows(&self) -> f64 {
        match self {
            Self::Block { face, tall, .. } => face.reads_like() * tall / 2.0,
            Self::Plain(_) | Self::Patch(_) => 1.0,
        }
    }

    /// Draws it at the left of `area`, in the middle of its height; what lies outside is cut off.
    pub fn draw(&self, area: Rect, buffer: &mut Buffer, style: Style) {
        let area = area.intersection(buffer.area);
        let top = area.y + area.height.saturating_sub(self.rows()) / 2;
        match self {
            Self::Plain(lines) => {
                for (row, line) in (top..area.bottom()).zip(lines) {
                    buffer.set_stringn(area.x, row, line, usize::from(area.width), style);
                }
            }
            Self::Patch(lines) => {
                let style = style.add_modifier(Modifier::REVERSED | Modifier::BOLD);
                let patch = Rect { y: top, width: self.columns(), height: self.rows(), ..area };
                let patch = patch.intersection(area);
                for y in patch.top()..patch.bottom() {
                    buffer.set_stringn(
                        area.x,
                        y,
                        " ".repeat(usize::from(patch.width)),
                        usize::from(patch.width),
                        style,
                    );
                }
                let room = usize::from(patch.width.saturating_sub(ROUND.0 / 2));
                for (y, line) in (top + 1..patch.bottom()).zip(lines) {
                    buffer.set_stringn(area.x + ROUND.0 / 2, y, line, room, style);
                }
            }
            Self::Block { lines, face, tall, wide } => {
                let mut first_dot = 0;
                for line in lines {
                    let offset = (first_dot as f64 * tall).round() as usize;
                    draw_line((line, *face), (*wide, *tall), (area, top, offset), buffer, style);
                    first_dot += face.span(line).1 + face.between().1;
                }
            }
        }
    }
}

/// Words on so many lines that the widest line is as narrow as can be. `lines` is at most the number of words.
fn broken(words: &[&str], face: Face, lines: usize) -> Vec<String> {
    if lines <= 1 {
        return vec![words.join(" ")];
    }
    // The first line takes 1, 2, 3 ... words; the rest is broken in the same way. Few lines and words: no table needed.
    (1..=words.len().saturating_sub(lines - 1).max(1))
        .map(|first| {
            let mut all = vec![words[..first].join(" ")];
            all.extend(broken(&words[first..], face, lines - 1));
            all
        })
        .min_by_key(|all| dots_wide(all, face))
        .unwrap_or_default()
}

/// The largest letters in which the lines fit, with the area of a letter; `None` when even the smallest do not fit.
///
/// Letters are at least half as wide as high (narrower ones are hard to tell apart) and at most a quarter
/// wider than the font has them.
fn sized(lines: &[String], face: Face, width: u16, height: u16) -> Option<(f64, Words)> {
    let (high, long) = (dots_high(lines, face) as f64, dots_wide(lines, face) as f64);
    if long == 0.0 {
        return None;
    }
    let tall_limit = 2.0 * f64::from(height) / high;
    let wide_limit = 2.0 * f64::from(width) / long;
    let mut best: Option<(f64, Words)> = None;
    for tall in steps().filter(|tall| *tall <= tall_limit) {
        let wide = steps().filter(|wide| *wide <= wide_limit.min(2.5 * tall) && *wide >= tall).last();
        if let Some(wide) = wide
            && best.as_ref().is_none_or(|(area, _)| tall * wide > *area)
        {
            best = Some((tall * wide, Words::Block { lines: lines.to_vec(), face, tall, wide }));
        }
    }
    best
}

fn dots_high(lines: &[String], face: Face) -> usize {
    let between = face.between().1;
    lines.iter().map(|line| face.span(line).1 + between).sum::<usize>().saturating_sub(between)
}

fn dots_wide(lines: &[String], face: Face) -> usize {
    lines.iter().map(|line| line_dots(line, face)).max().unwrap_or(0)
}

fn line_dots(line: &str, face: Face) -> usize {
    letters(line, face).last().map_or(0, |(start, glyph)| start + glyph.width())
}

/// The glyphs of a line with the dot at which each starts.
fn letters(line: &str, face: Face) -> Vec<(usize, Glyph)> {
    let span = face.span(line);
    // The space after the last letter is part of that between words.
    let (mut at, mut space) = (0, 0);
    let mut set = Vec::new();
    for letter in line.graphemes(true) {
        match face.glyph(letter, span) {
            Some(glyph) if glyph.width() > 0 => {
                set.push((at, glyph));
                // Letters as wide as high stand further apart.
                space = glyph.width_of_cell() / SIZE;
                at += glyph.width() + space;
            }
            _ => at += face.between().0.saturating_sub(space),
        }
    }
    set
}

/// Draws one line of letters, `offset` half rows below row `top`.
fn draw_line(
    (line, face): (&str, Face),
    (wide, tall): (f64, f64),
    (area, top, offset): (Rect, u16, usize),
    buffer: &mut Buffer,
    style: Style,
) {
    for (start, glyph) in letters(line, face) {
        let left = (start as f64 * wide).round() as usize;
        let right = ((start + glyph.width()) as f64 * wide).round() as usize;
        let high = (face.span(line).1 as f64 * tall).round() as usize;
        let smooth = glyph.smoothed(tall.max(wide / 2.0));
        for y in 0..high {
            for x in left..right {
                let across = (x - left) as f64 + 0.5;
                if smooth.at(across / (right - left) as f64, (y as f64 + 0.5) / high as f64) {
                    quarter(x, y + offset, (area, top), buffer, style);
                }
            }
        }
    }
}

/// Blocks by which of their quarters are filled: 1 upper left, 2 upper right, 4 lower left, 8 lower right.
const QUARTERS: [&str; 16] = [" ", "▘", "▝", "▀", "▖", "▌", "▞", "▛", "▗", "▚", "▐", "▜", "▄", "▙", "▟", "█"];

/// Fills the quarter of a cell at half column `x` and half row `y`.
fn quarter(x: usize, y: usize, (area, top): (Rect, u16), buffer: &mut Buffer, style: Style) {
    let column = usize::from(area.x) + x / 2;
    let row = usize::from(top) + y / 2;
    if column >= usize::from(area.right()) || row >= usize::from(area.bottom()) {
        return;
    }
    let bit = 1 << (x % 2 + 2 * (y % 2));
    // In range: both are smaller than a `u16` of the area.
    let Some(cell) = buffer.cell_mut((column as u16, row as u16)) else { return };
    let now = QUARTERS.iter().position(|block| *block == cell.symbol()).unwrap_or(0);
    cell.set_symbol(QUARTERS[now | bit]).set_style(style);
}

/// What no font of ours can draw: on a patch where there is room for one.
fn undrawn(words: &[&str], width: u16, height: u16) -> Words {
    if width < ROUND.0 + 4 || height <= ROUND.1 {
        return Words::Plain(plain(words, width, height));
    }
    Words::Patch(plain(words, width - ROUND.0, height - ROUND.1))
}

/// Plain letters: spaced out where a line has room, wrapped at words, cut with an ellipsis when they do not fit.
fn plain(words: &[&str], width: u16, height: u16) -> Vec<String> {
    let (width, height) = (usize::from(width), usize::from(height));
    let mut lines: Vec<String> = Vec::new();
    for word in words {
        match lines.last_mut() {
            Some(line) if line.width() + 1 + word.width() <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push((*word).to_owned()),
        }
    }
    lines.truncate(height);
    let spaced: Vec<String> =
        lines.iter().map(|line| line.graphemes(true).collect::<Vec<_>>().join(" ")).collect();
    if spaced.iter().all(|line| line.width() <= width) && !lines.iter().any(|line| joins(line)) {
        return spaced;
    }
    for line in &mut lines {
        if line.width() > width {
            while !line.is_empty() && line.width() + 1 > width {
                // A whole letter, with its accents.
                let last = line.grapheme_indices(true).next_back().map_or(0, |(start, _)| start);
                line.truncate(last);
            }
            line.push('…');
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dance::MoveBook;
    use proptest::prelude::*;

    fn drawn(text: &str, width: u16, height: u16) -> String {
        let area = Rect::new(0, 0, width, height);
        let mut buffer = Buffer::empty(area);
        Words::fit(text, width, height, 2).draw(area, &mut buffer, Style::default());
        let rows: Vec<String> = (0..height)
            .map(|y| {
                let row: String =
                    (0..width).map(|x| buffer.cell((x, y)).map_or(" ", |cell| cell.symbol())).collect();
                row.trim_end().to_owned()
            })
            .collect();
        rows.join("\n")
    }

    #[test]
    fn letters_are_drawn_with_quarter_blocks() {
        insta::assert_snapshot!(drawn("Step élan", 78, 12));
    }

    #[test]
    fn large_letters_have_smooth_diagonals() {
        insta::assert_snapshot!(drawn("walk", 80, 20));
    }

    #[test]
    fn words_are_broken_before_they_are_made_small() {
        let lines = |words: Words| match words {
            Words::Block { lines, .. } => lines,
            Words::Plain(lines) | Words::Patch(lines) => lines,
        };
        assert_eq!(lines(Words::fit("gallop around", 80, 12, 2)), ["gallop", "around"]);
        assert_eq!(lines(Words::fit("gallop around", 160, 8, 2)), ["gallop around"]);
    }

    #[test]
    fn a_larger_window_never_makes_smaller_letters() {
        for text in ["hop", "tiptoe", "reach up high", "skip around the room"] {
            let mut last = 0.0;
            for size in 10..100 {
                let words = Words::fit(text, 2 * size, size / 2, 2);
                let area = match &words {
                    Words::Block { tall, wide, .. } => tall * wide,
                    Words::Plain(_) | Words::Patch(_) => 0.0,
                };
                assert!(area >= last, "'{text}' at {} columns", 2 * size);
                last = area;
            }
        }
    }

    #[test]
    fn every_built_in_move_has_block_letters_and_a_block_sign() {
        for entry in MoveBook::built_in().entries() {
            for text in
                [&entry.movement.words, &entry.movement.seated.words, &entry.movement.low_impact.words]
            {
                assert!(matches!(Words::fit(text, 60, 9, 2), Words::Block { .. }), "'{text}'");
            }
            let sign = &entry.movement.sign;
            assert!(matches!(Words::fit(sign, 16, 8, 2), Words::Block { .. }), "'{sign}'");
        }
    }

    #[test]
    fn other_scripts_have_block_letters_too() {
        // The room that the move now has at 80x24, less its sign.
        for text in
            ["прыжок на месте", "шаги\u{301}", "スキップ", "拍手跳舞", "줄넘기", "kroužit dokola", "άλμα"]
        {
            let words = Words::fit(text, 63, 10, 2);
            assert!(matches!(words, Words::Block { .. }), "'{text}': {words:?}");
        }
        insta::assert_snapshot!("cyrillic", drawn("прыжок", 63, 10));
        insta::assert_snapshot!("kana", drawn("スキップ", 63, 10));
        insta::assert_snapshot!("han", drawn("拍手 跳舞", 100, 20));
        insta::assert_snapshot!("accents", drawn("kroužit ještě", 100, 20));
    }

    #[test]
    fn decomposed_accents_are_drawn_like_composed_ones() {
        assert_eq!(drawn("e\u{301}lan", 60, 10), drawn("élan", 60, 10));
    }

    #[test]
    fn what_the_fonts_lack_is_written_by_the_terminal_on_a_patch() {
        // Letters that join are not torn apart.
        assert_eq!(Words::fit("اقفز عاليا", 40, 5, 2), Words::Patch(vec!["اقفز عاليا".into()]));
        assert_eq!(Words::fit("💃 hop", 40, 5, 2), Words::Patch(vec!["💃   h o p".into()]));
        assert_eq!(Words::fit("💃 hop", 6, 5, 2), Words::Plain(vec!["💃 hop".into()]));
        assert_eq!(Words::fit("прыжок", 4, 3, 2), Words::Plain(vec!["пры…".into()]));
        let area = Rect::new(0, 0, 40, 5);
        let mut buffer = Buffer::empty(area);
        Words::fit("💃 hop", 40, 5, 2).draw(area, &mut buffer, Style::default());
        let turned = |x, y| buffer[(x, y)].modifier.contains(Modifier::REVERSED);
        assert!(
            turned(0, 1) && turned(0, 2) && turned(2, 2) && turned(0, 3) && !turned(0, 0) && !turned(30, 2)
        );
    }

    proptest! {
        #[test]
        fn any_text_in_any_space_neither_panics_nor_spills(
            text in "\\PC{0,24}", width in 0u16..60, height in 0u16..20,
        ) {
            let words = Words::fit(&text, width, height, 2);
            if let Words::Block { .. } = words {
                prop_assert!(words.columns() <= width && words.rows() <= height);
            }
            let mut buffer = Buffer::empty(Rect::new(0, 0, width, height));
            words.draw(Rect::new(0, 0, width + 5, height + 5), &mut buffer, Style::default());
        }
    }
}
