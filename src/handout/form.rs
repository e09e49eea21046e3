//! The letters of the form as shapes and colours: music that sounds alike gets the same shape.

use super::drawing::{Drawing, Ink, Path, Pen, Setting};
use crate::grid::Grid;

/// How a phrase is marked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Badge<'a> {
    /// The letter or word that the grid gives it.
    pub(super) letter: &'a str,
    /// Which shape, from 0 in the order in which letters come; `None` for words such as `intro`.
    shape: Option<usize>,
    /// Whether it is a variation (`A'`): the shape has a second line around it.
    varied: bool,
}

/// Colours in the order in which letters come, beside the shapes.
const COLOURS: [Ink; 7] =
    [Ink::ORANGE, Ink::SKY, Ink::GREEN, Ink::YELLOW, Ink::BLUE, Ink::VERMILION, Ink::PURPLE];

/// Shapes before they come again: more than the letters of any piece that a class could follow.
const SHAPES: usize = 14;

impl Badge<'_> {
    /// Its colour, thin enough for black words on it.
    pub(super) fn tint(&self) -> Ink {
        self.shape.map_or(Ink::PALE.tint(0.5), |shape| COLOURS[shape % COLOURS.len()].tint(0.4))
    }

    /// Draws it around a point; the letter only when it is `told`.
    pub(super) fn draw(&self, drawing: &mut Drawing, x: f64, y: f64, radius: f64, told: bool) {
        let size = radius * if self.letter.chars().count() > 2 { 0.62 } else { 1.05 };
        let outline = |r: f64| match self.shape.map(|shape| shape % SHAPES) {
            None => Path::rectangle(x - 1.25 * r, y - 0.7 * r, 2.5 * r, 1.4 * r, 0.7 * r),
            Some(0) => Path::circle(x, y, 0.95 * r),
            Some(1) => Path::rectangle(x - 0.85 * r, y - 0.85 * r, 1.7 * r, 1.7 * r, 0.0),
            Some(2) => Path::polygon(x, y + 0.18 * r, 1.25 * r, 3, 0.0),
            Some(3) => Path::polygon(x, y, 1.15 * r, 4, 0.0),
            Some(4) => Path::polygon(x, y, 1.05 * r, 6, 0.0),
            Some(5) => Path::star(x, y, 1.3 * r, 5),
            Some(6) => Path::polygon(x, y + 0.05 * r, 1.1 * r, 5, 0.0),
            // From here on colours come again, but no shape does.
            Some(7) => Path::polygon(x, y - 0.18 * r, 1.25 * r, 3, 0.5),
            Some(8) => Path::rectangle(x - 1.2 * r, y - 0.6 * r, 2.4 * r, 1.2 * r, 0.0),
            Some(9) => Path::star(x, y, 1.35 * r, 8),
            Some(10) => Path::rectangle(x - 0.6 * r, y - 1.15 * r, 1.2 * r, 2.3 * r, 0.6 * r),
            Some(11) => Path::polygon(x, y, 1.05 * r, 8, 1.0 / 16.0),
            Some(12) => Path::rectangle(x - 0.6 * r, y - 1.15 * r, 1.2 * r, 2.3 * r, 0.0),
            Some(_) => Path::star(x, y, 1.4 * r, 4),
        };
        if self.varied {
            drawing.shape("badge", outline(1.25 * radius), Ink::WHITE, Pen::solid(Ink::BLACK, 0.8));
        }
        drawing.shape("badge", outline(radius), self.tint(), Pen::solid(Ink::BLACK, 1.1));
        if told {
            let setting = Setting::bold(size).middle();
            drawing.words("letter", (x, y + 0.36 * size), setting, self.letter);
        }
    }
}

/// The badges of the phrases, in order.
pub(super) fn badges(grid: &Grid) -> Vec<Badge<'_>> {
    let mut known: Vec<&str> = Vec::new();
    grid.phrases()
        .iter()
        .map(|phrase| {
            let letter = phrase.letter.as_str();
            let base = letter.trim_end_matches(|c: char| c == '\'' || c == '\u{2032}' || c.is_ascii_digit());
            let mut letters = base.chars();
            let lettered = letters.next().is_some_and(char::is_uppercase) && letters.next().is_none();
            let shape = lettered.then(|| {
                known.iter().position(|&earlier| earlier == base).unwrap_or_else(|| {
                    known.push(base);
                    known.len() - 1
                })
            });
            Badge { letter, shape, varied: lettered && base.len() < letter.len() }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::Phrase;
    use crate::units::Seconds;

    #[test]
    fn music_that_sounds_alike_gets_the_same_shape() {
        let letters = ["intro", "A", "A'", "B", "A", "C", "end"];
        let phrases =
            letters.iter().enumerate().map(|(i, l)| Phrase { start: i, letter: (*l).into() }).collect();
        let beats = (0..8).map(|beat| Seconds(f64::from(beat))).collect();
        let grid = Grid::new(beats, vec![], phrases).expect("ascending");
        let badges = badges(&grid);
        let shapes: Vec<_> = badges.iter().map(|badge| badge.shape).collect();
        assert_eq!(shapes, [None, Some(0), Some(0), Some(1), Some(0), Some(2), None]);
        assert_eq!(
            badges.iter().map(|badge| badge.varied).collect::<Vec<_>>(),
            [false, false, true, false, false, false, false]
        );
    }

    #[test]
    fn no_shape_comes_again_before_all_have_been_used() {
        let drawn: Vec<String> = (0..SHAPES)
            .map(|shape| {
                let mut drawing = Drawing::new(40.0, 40.0, "shapes");
                Badge { letter: "A", shape: Some(shape), varied: false }.draw(
                    &mut drawing,
                    20.0,
                    20.0,
                    10.0,
                    false,
                );
                crate::handout::drawing::svg(&drawing)
            })
            .collect();
        // Colours come again after seven, so the outlines have to differ.
        for (index, one) in drawn.iter().enumerate() {
            assert!(drawn[index + 1..].iter().all(|other| other != one), "shape {index}");
        }
    }
}
