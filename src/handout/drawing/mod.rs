//! Drawings that become SVG and PDF alike: shapes and words at places on a sheet, with no layout of their own.
//!
//! Lengths are points (1/72 inch) from the sheet's upper left corner, y downwards. A drawing knows nothing of dances.

mod face;
mod ink;
mod path;
mod pdf;
mod svg;
mod tags;

pub(super) use face::{STAND_IN, Weight, drawable, fitted, width, wrapped};
pub(super) use ink::Ink;
pub(super) use path::Path;
pub(super) use pdf::pdf;
pub(super) use svg::{inner_svg, svg};

/// A line's thickness and colour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pen {
    /// Its colour.
    pub(super) ink: Ink,
    /// How thick.
    pub(super) width: f64,
    /// Lengths of dash and gap; a solid line without.
    pub(super) dash: Option<(f64, f64)>,
}

impl Pen {
    /// A solid line.
    pub(super) fn solid(ink: Ink, width: f64) -> Self {
        Self { ink, width, dash: None }
    }

    /// A dashed line.
    pub(super) fn dashed(ink: Ink, width: f64, dash: f64, gap: f64) -> Self {
        Self { ink, width, dash: Some((dash, gap)) }
    }
}

/// Which point of a line of words stands at its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Anchor {
    /// Its beginning.
    Start,
    /// Its middle.
    Middle,
    /// Its end.
    End,
}

/// How words are set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Setting {
    /// Size of the letters in points.
    pub(super) size: f64,
    /// Regular or bold.
    pub(super) weight: Weight,
    /// Their colour.
    pub(super) ink: Ink,
    /// Which point is placed.
    pub(super) anchor: Anchor,
}

impl Setting {
    /// Regular black letters from their beginning.
    pub(super) fn plain(size: f64) -> Self {
        Self { size, weight: Weight::Regular, ink: Ink::BLACK, anchor: Anchor::Start }
    }

    /// Bold black letters from their beginning.
    pub(super) fn bold(size: f64) -> Self {
        Self { weight: Weight::Bold, ..Self::plain(size) }
    }

    /// The same around its middle.
    pub(super) fn middle(self) -> Self {
        Self { anchor: Anchor::Middle, ..self }
    }

    /// The same up to its end.
    pub(super) fn end(self) -> Self {
        Self { anchor: Anchor::End, ..self }
    }

    /// The same in another colour.
    pub(super) fn in_ink(self, ink: Ink) -> Self {
        Self { ink, ..self }
    }
}

/// One mark on the sheet.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Mark {
    /// A shape.
    Shape {
        /// What it stands for, one lower-case word; it becomes a class in SVG.
        role: &'static str,
        /// Its outline.
        path: Path,
        /// Its filling.
        fill: Option<Ink>,
        /// Its line.
        pen: Option<Pen>,
    },
    /// One line of words.
    Words {
        /// What they stand for, one lower-case word; it becomes a class in SVG.
        role: &'static str,
        /// Where the baseline is anchored.
        at: (f64, f64),
        /// How they are set.
        setting: Setting,
        /// The words.
        text: String,
    },
}

/// One sheet.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Drawing {
    /// How wide.
    pub(super) width: f64,
    /// How high.
    pub(super) height: f64,
    /// What it is called, for whoever cannot see it.
    pub(super) title: String,
    /// What it shows, for whoever cannot see it.
    pub(super) about: String,
    /// What is drawn, the lowest first.
    pub(super) marks: Vec<Mark>,
}

impl Drawing {
    /// An empty sheet.
    pub(super) fn new(width: f64, height: f64, title: &str) -> Self {
        Self { width, height, title: title.to_owned(), about: String::new(), marks: Vec::new() }
    }

    /// Draws a filled shape.
    pub(super) fn fill(&mut self, role: &'static str, path: Path, ink: Ink) {
        self.marks.push(Mark::Shape { role, path, fill: Some(ink), pen: None });
    }

    /// Draws a line or an outline.
    pub(super) fn stroke(&mut self, role: &'static str, path: Path, pen: Pen) {
        self.marks.push(Mark::Shape { role, path, fill: None, pen: Some(pen) });
    }

    /// Draws a filled shape with its outline.
    pub(super) fn shape(&mut self, role: &'static str, path: Path, fill: Ink, pen: Pen) {
        self.marks.push(Mark::Shape { role, path, fill: Some(fill), pen: Some(pen) });
    }

    /// Draws a straight line.
    pub(super) fn line(&mut self, role: &'static str, from: (f64, f64), to: (f64, f64), pen: Pen) {
        self.stroke(role, Path::line(from, to), pen);
    }

    /// Sets one line of words, on a line whatever was typed. Nothing is set when there is nothing to read.
    pub(super) fn words(&mut self, role: &'static str, at: (f64, f64), setting: Setting, text: &str) {
        let text = drawable(text);
        if !text.is_empty() {
            self.marks.push(Mark::Words { role, at, setting, text });
        }
    }
}
