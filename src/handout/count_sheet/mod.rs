//! The printed count sheet: phrases down, counts across, words in the boxes, as dance teachers write it on paper.
//!
//! Its rows are drawn once, and put on sheets of paper or into a page for the browser.

mod html;
mod pace;
mod row;
mod rows;
mod sheets;

pub(super) use html::html;
pub(super) use sheets::sheets;

use super::Material;
use super::drawing::Drawing;
use super::form::badges;
use super::hill::{Across, Hill, LEVEL, Signs};
use crate::dance::{Cue, Side};
use crate::trail::Trail;
use crate::units::Seconds;

/// The whole piece as one trail, for the head of the sheet; returns its height.
fn overview(
    sheet: &mut Drawing,
    material: &Material<'_>,
    trail: &Trail,
    left: f64,
    top: f64,
    width: f64,
) -> f64 {
    use super::drawing::{Ink, Path, Pen, Setting, Weight, fitted};
    let grid = &material.dance.grid;
    let mut hill = Hill {
        trail,
        across: Across::Time,
        from: Seconds(grid.beats().first().map_or(0.0, |beat| beat.0)),
        until: grid.seconds_at(grid.end()),
        left,
        width,
        top,
        bottom: top,
    };
    hill.top += LEVEL * hill.levels(Signs::Worded) as f64 + 4.0;
    hill.bottom = hill.top + 34.0;
    if grid.phrases().is_empty() {
        hill.ground(sheet, hill.from, hill.until, Ink::PALE.tint(0.5));
    }
    for (span, badge) in grid.phrase_spans().zip(badges(grid)) {
        let (from, until) = (grid.seconds_at(span.start), grid.seconds_at(span.end));
        hill.ground(sheet, from, until, badge.tint());
        let (x, wide) = (hill.x(from), hill.x(until) - hill.x(from));
        let place = Path::rectangle(x, hill.bottom + 1.0, wide, 13.0, 2.0);
        sheet.shape("phrase", place, badge.tint(), Pen::solid(Ink::BLACK, 0.6));
        let letter = fitted(badge.letter, Weight::Bold, wide - 1.0, 1, &[9.5, 7.0, 5.0]);
        let setting = Setting::bold(letter.size).middle();
        sheet.words("letter", (x + 0.5 * wide, hill.bottom + 11.0), setting, &letter.lines.concat());
    }
    hill.stones(sheet, 4.0);
    hill.landmarks(sheet, Signs::Worded);
    hill.bottom + 16.0 - top
}

/// What a cue says, with its side where it has one: `step-touch (left first)`.
fn words_of(material: &Material<'_>, cue: &Cue) -> String {
    let words = material.dance.words_of(cue);
    match cue.side {
        Some(Side::Left) => format!("{words} (left first)"),
        Some(Side::Right) => format!("{words} (right first)"),
        None => words.to_owned(),
    }
}
