//! The strip under a row: how fast the music is, as a line, and how its notes are joined, as dots, dashes or a line.

use crate::grid::Grid;
use crate::handout::drawing::{Drawing, Ink, Path, Pen, Setting, Weight, width};
use crate::listening::Articulation;
use crate::units::Beat;

/// Height of the strip in points.
pub(super) const STRIP: f64 = 17.0;
/// What the strip means, for the head of the sheet.
pub(super) const KEY: &str = "Under each row: the tempo as a line, high where it is fast, in counts a minute; then dots for short \
                              notes, dashes for separate ones, a line for smooth ones.";

/// Height of the line of the tempo.
const RISE: f64 = 8.0;
/// A piece whose fastest tempo is less than this times its slowest keeps one tempo, and its line is level. Our decision: the
/// tenth by which tempo words stay apart.
const STEADY: f64 = 1.1;
/// A tempo that differs from the last number by more than this share of it gets its own number.
const TOLD: f64 = 0.06;

/// The tempi between which the lines of a dance run, slowest and fastest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Range(f64, f64);

impl Range {
    /// Of all counts of a grid.
    pub(super) fn of(grid: &Grid) -> Self {
        let tempi = (0..grid.len()).map(|beat| grid.tempo_at(Beat::from(beat)).0);
        tempi.fold(Self(f64::INFINITY, 0.0), |range, tempo| Self(range.0.min(tempo), range.1.max(tempo)))
    }

    /// How high a tempo lies, 0 to 1, on a scale of ratios.
    fn height(self, tempo: f64) -> f64 {
        if self.1 < STEADY * self.0 {
            0.5
        } else {
            ((tempo / self.0).ln() / (self.1 / self.0).ln()).clamp(0.0, 1.0)
        }
    }
}

/// Draws the strip of the counts `from..until` with its upper edge at `top`; `x` says where a count lies.
pub(super) fn strip(
    sheet: &mut Drawing,
    grid: &Grid,
    (range, articulation): (Range, Option<Articulation>),
    (from, until): (usize, usize),
    x: &dyn Fn(Beat) -> f64,
    top: f64,
) {
    let tempo = |beat: usize| grid.tempo_at(Beat::from(beat)).0;
    let (left, right) = (x(Beat::from(from)), x(Beat::from(until)));
    let base = top + RISE + 1.0;
    let number = |beat: usize| format!("{:.0}", tempo(beat));
    let size = Setting::plain(7.5);
    let wide = |text: &str| width(text, 7.5, Weight::Regular) + 3.0;
    let first = number(from);
    sheet.words("pace", (left, base), size, &first);
    let begin = left + wide(&first);
    let last = number(until.saturating_sub(1).max(from));
    let changed = (tempo(until.saturating_sub(1).max(from)) / tempo(from) - 1.0).abs() > TOLD;
    let end = if changed && right - left > 60.0 {
        sheet.words("pace", (right, base), size.end(), &last);
        right - wide(&last)
    } else {
        right
    };
    let mut points: Vec<(f64, f64)> = (from..until)
        .map(|beat| (x(Beat(beat as f64 + 0.5)), base - RISE * range.height(tempo(beat))))
        .filter(|point| point.0 >= begin && point.0 <= end)
        .collect();
    if let (Some(&(_, before)), Some(&(_, after))) = (points.first(), points.last()) {
        points.insert(0, (begin, before));
        points.push((end, after));
        sheet.stroke("tempo", Path::through(points), Pen::solid(Ink::BLACK, 1.0));
    }
    let pen = match articulation {
        Some(Articulation::Staccato) => Pen::dashed(Ink::BLACK, 1.6, 1.6, 4.0),
        Some(Articulation::Detached) => Pen::dashed(Ink::BLACK, 1.6, 7.0, 4.0),
        Some(Articulation::Legato) => Pen::solid(Ink::BLACK, 1.6),
        Some(Articulation::Unclear) | None => return,
    };
    let y = base + 4.5;
    sheet.line("touch", (left + 1.0, y), (right - 2.0, y), pen);
}
