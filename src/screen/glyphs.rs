//! The dots of letters and signs. Latin and Greek letters come from the public-domain font of the crate `font8x8`; the signs of the
//! move book are drawn here, because a child who does not read yet must see them from the back of the room.

use font8x8::{BASIC_FONTS, GREEK_FONTS, LATIN_FONTS, UnicodeFonts};

/// Rows and greatest columns of a glyph of the smaller font, in dots.
pub(super) const SIZE: usize = 8;
/// And of the larger.
const SIXTEEN: usize = 16;

/// One letter or sign, without empty columns at its sides.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Glyph {
    /// Rows from the top; the lowest bit is the leftmost dot. Only the first `high` are used.
    rows: [u32; SIXTEEN],
    high: usize,
    width: usize,
    /// Columns that the font gives it, empty ones included.
    cell: usize,
}

impl Glyph {
    fn new(rows: [u8; SIZE]) -> Self {
        let rows = std::array::from_fn(|y| rows.get(y).copied().map_or(0, u32::from));
        Self { rows, high: SIZE, width: SIZE, cell: SIZE }.trimmed()
    }

    /// A glyph of the larger font, with its empty columns: accents are drawn over letters in their place.
    pub(super) fn of_sixteen(rows: [u32; SIXTEEN], width: usize) -> Self {
        Self { rows, high: SIXTEEN, width, cell: width }
    }

    /// Without empty columns at its sides.
    fn trimmed(mut self) -> Self {
        let used = self.rows.iter().fold(0, |all, row| all | row);
        if used == 0 {
            return Self { width: 0, ..self };
        }
        let left = used.trailing_zeros();
        self.width = (u32::BITS - used.leading_zeros() - left) as usize;
        self.rows = self.rows.map(|row| row >> left);
        self
    }

    /// Columns in dots; 0 for a space.
    pub(super) fn width(&self) -> usize {
        self.width
    }

    /// Columns that the font gives it, empty ones included.
    pub(super) fn width_of_cell(&self) -> usize {
        self.cell
    }

    /// The first and the last row with a dot; `None` for a space.
    pub(super) fn rows_used(&self) -> Option<(usize, usize)> {
        let first = self.rows.iter().position(|row| *row != 0)?;
        Some((first, self.rows.iter().rposition(|row| *row != 0)?))
    }

    /// How many dots are set.
    #[cfg(test)]
    pub(super) fn dots(&self) -> u32 {
        self.rows.iter().map(|row| row.count_ones()).sum()
    }

    /// Every dot as four: a glyph of the smaller font at the size of the larger.
    pub(super) fn twice(&self) -> Self {
        let wide = |row: u32| (0..SIZE).filter(|x| row >> x & 1 == 1).fold(0, |all, x| all | 3 << (2 * x));
        let rows = std::array::from_fn(|y| wide(self.rows[y / 2]));
        Self { rows, high: SIXTEEN, width: 2 * self.width, cell: SIXTEEN }
    }

    /// With another one over it.
    pub(super) fn with(mut self, over: &Self) -> Self {
        for (row, other) in self.rows.iter_mut().zip(over.rows) {
            *row |= other;
        }
        self
    }

    /// With upright strokes of two dots, where the font leaves room for that: in letters half as wide as high. One dot is
    /// thin from the back of a room. Strokes that would touch stay apart.
    pub(super) fn heavier(mut self) -> Self {
        if self.cell <= SIZE {
            // A dot goes to the right of each, except into the only gap before the next.
            self.rows = self.rows.map(|row| row | (row << 1 & !(row >> 1)));
        }
        self
    }

    /// Only `high` rows from row `top` on, without empty columns.
    pub(super) fn cropped(mut self, top: usize, high: usize) -> Self {
        self.rows =
            std::array::from_fn(|y| self.rows.get(top + y).copied().filter(|_| y < high).unwrap_or(0));
        self.high = high.clamp(1, SIXTEEN);
        self.trimmed()
    }

    fn dot(&self, x: usize, y: usize) -> bool {
        self.rows[y] >> x & 1 == 1
    }

    /// The glyph with its diagonals smoothed as far as letters `scale` times as large can show.
    pub(super) fn smoothed(&self, scale: f64) -> Smooth {
        let dots = (0..self.high).flat_map(|y| (0..self.width).map(move |x| self.dot(x, y))).collect();
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

/// Whether a character is drawn here.
pub(super) fn is_sign(letter: char) -> bool {
    sign(letter).is_some()
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
