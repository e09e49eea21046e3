//! The dots of letters and signs. Letters come from the public-domain font of the crate `font8x8`; the signs of the
//! move book are drawn here, because a child who does not read yet must see them from the back of the room.

use font8x8::{BASIC_FONTS, GREEK_FONTS, LATIN_FONTS, UnicodeFonts};

/// Rows and greatest columns of a glyph, in dots.
pub(super) const SIZE: usize = 8;

/// One letter or sign, without empty columns at its sides.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Glyph {
    /// Rows from the top; the lowest bit is the leftmost dot.
    rows: [u8; SIZE],
    width: usize,
}

impl Glyph {
    fn new(rows: [u8; SIZE]) -> Self {
        let used = rows.iter().fold(0, |all, row| all | row);
        let left = used.trailing_zeros();
        if used == 0 {
            return Self { rows, width: 0 };
        }
        let width = (8 - used.leading_zeros() - left) as usize;
        Self { rows: rows.map(|row| row >> left), width }
    }

    /// Columns in dots; 0 for a space.
    pub(super) fn width(&self) -> usize {
        self.width
    }

    fn dot(&self, x: usize, y: usize) -> bool {
        self.rows[y] >> x & 1 == 1
    }

    /// The glyph with its diagonals smoothed as far as letters `scale` times as large can show.
    pub(super) fn smoothed(&self, scale: f64) -> Smooth {
        let dots = (0..SIZE).flat_map(|y| (0..self.width).map(move |x| self.dot(x, y))).collect();
        let mut smooth = Smooth { dots, width: self.width };
        let mut level = 1.0;
        while level < scale && level < 4.0 {
            smooth = smooth.doubled();
            level *= 2.0;
        }
        smooth
    }
}

/// A glyph at a finer grid.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Smooth {
    dots: Vec<bool>,
    width: usize,
}

impl Smooth {
    fn height(&self) -> usize {
        self.dots.len() / self.width.max(1)
    }

    /// Whether the dot at a share of the width and the height (0 to 1) is set.
    pub(super) fn at(&self, x: f64, y: f64) -> bool {
        let column = ((x * self.width as f64) as usize).min(self.width.saturating_sub(1));
        let row = ((y * self.height() as f64) as usize).min(self.height().saturating_sub(1));
        self.dots.get(row * self.width + column).copied().unwrap_or(false)
    }

    fn get(&self, x: usize, y: usize) -> bool {
        x < self.width && self.dots.get(y * self.width + x).copied().unwrap_or(false)
    }

    /// Twice as fine: each dot becomes four, and a corner between two like neighbours that differ from the ones
    /// opposite takes their side (the doubling of pixel art known as EPX, E. Johnston 1992; from memory).
    fn doubled(&self) -> Self {
        let (width, height) = (self.width, self.height());
        let mut dots = vec![false; 4 * self.dots.len()];
        for y in 0..height {
            for x in 0..width {
                let here = self.get(x, y);
                let above = y.checked_sub(1).is_some_and(|y| self.get(x, y));
                let left = x.checked_sub(1).is_some_and(|x| self.get(x, y));
                let (right, below) = (self.get(x + 1, y), self.get(x, y + 1));
                let corner =
                    |a: bool, b: bool, c: bool, d: bool| if a == b && a != c && b != d { a } else { here };
                let mut set = |dx: usize, dy: usize, dot| dots[(2 * y + dy) * 2 * width + 2 * x + dx] = dot;
                set(0, 0, corner(above, left, right, below));
                set(1, 0, corner(above, right, left, below));
                set(0, 1, corner(below, left, right, above));
                set(1, 1, corner(below, right, left, above));
            }
        }
        Self { dots, width: 2 * width }
    }
}

/// The glyph of a character, or `None` when there is none. A space is an empty glyph.
pub(super) fn glyph(letter: char) -> Option<Glyph> {
    let rows = sign(letter)
        .map(drawn)
        .or_else(|| BASIC_FONTS.get(letter).filter(|_| !letter.is_control()))
        .or_else(|| LATIN_FONTS.get(letter))
        .or_else(|| GREEK_FONTS.get(letter))?;
    // Fonts hold empty glyphs for what they lack: only a space may be empty.
    let glyph = Glyph::new(rows);
    (glyph.width > 0 || letter == ' ').then_some(glyph)
}

fn drawn(rows: [&str; SIZE]) -> [u8; SIZE] {
    rows.map(|row| row.bytes().enumerate().fold(0, |bits, (x, dot)| bits | u8::from(dot == b'#') << x))
}

/// The signs of the move book, as pictures.
fn sign(letter: char) -> Option<[&'static str; SIZE]> {
    Some(match letter {
        '■' => {
            ["########", "########", "########", "########", "########", "########", "########", "########"]
        }
        '□' => {
            ["########", "########", "##    ##", "##    ##", "##    ##", "##    ##", "########", "########"]
        }
        '●' => {
            ["  ####  ", " ###### ", "########", "########", "########", "########", " ###### ", "  ####  "]
        }
        '○' => {
            ["  ####  ", " ##  ## ", "##    ##", "##    ##", "##    ##", "##    ##", " ##  ## ", "  ####  "]
        }
        '▲' => {
            ["   ##   ", "   ##   ", "  ####  ", "  ####  ", " ###### ", " ###### ", "########", "########"]
        }
        '▼' => {
            ["########", "########", " ###### ", " ###### ", "  ####  ", "  ####  ", "   ##   ", "   ##   "]
        }
        '►' => {
            ["##      ", "####    ", "######  ", "########", "########", "######  ", "####    ", "##      "]
        }
        '◄' => {
            ["      ##", "    ####", "  ######", "########", "########", "  ######", "    ####", "      ##"]
        }
        '↑' => {
            ["   ##   ", "  ####  ", " ###### ", "## ## ##", "   ##   ", "   ##   ", "   ##   ", "   ##   "]
        }
        '↓' => {
            ["   ##   ", "   ##   ", "   ##   ", "   ##   ", "## ## ##", " ###### ", "  ####  ", "   ##   "]
        }
        '→' => {
            ["    #   ", "    ##  ", "    ### ", "########", "########", "    ### ", "    ##  ", "    #   "]
        }
        '←' => {
            ["   #    ", "  ##    ", " ###    ", "########", "########", " ###    ", "  ##    ", "   #    "]
        }
        '↔' => {
            ["        ", "  #  #  ", " ##  ## ", "########", "########", " ##  ## ", "  #  #  ", "        "]
        }
        '↕' => {
            ["   ##   ", "  ####  ", " ###### ", "   ##   ", "   ##   ", " ###### ", "  ####  ", "   ##   "]
        }
        '↗' => {
            ["   #####", "    ####", "     ###", "    ####", "   ### #", "  ###   ", " ###    ", "###     "]
        }
        '·' => {
            ["        ", "        ", "        ", "  ###   ", "  ###   ", "  ###   ", "        ", "        "]
        }
        '∞' => {
            ["        ", " ##  ## ", "#  ##  #", "#  ##  #", "#  ##  #", "#  ##  #", " ##  ## ", "        "]
        }
        '∩' => {
            ["  ####  ", " ###### ", "###  ###", "##    ##", "##    ##", "##    ##", "##    ##", "##    ##"]
        }
        '∪' => {
            ["##    ##", "##    ##", "##    ##", "##    ##", "##    ##", "###  ###", " ###### ", "  ####  "]
        }
        '≈' => {
            [" ##   ##", "#### ## ", "## #### ", "   ##   ", " ##   ##", "#### ## ", "## #### ", "   ##   "]
        }
        '└' => {
            ["##      ", "##      ", "##      ", "##      ", "##      ", "##      ", "########", "########"]
        }
        '┬' => {
            ["########", "########", "   ##   ", "   ##   ", "   ##   ", "   ##   ", "   ##   ", "   ##   "]
        }
        '♪' => {
            ["   ##   ", "   ###  ", "   #### ", "   ## ##", "   ##   ", " ####   ", "#####   ", " ###    "]
        }
        '♫' => {
            ["  ######", "  ######", "  ##  ##", "  ##  ##", "  ##  ##", "#### ###", "#### ###", " ##   ##"]
        }
        _ => return None,
    })
}
