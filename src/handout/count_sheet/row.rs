//! One row of the count sheet: the hill with its turns, the counts under it, and the boxes with their words.

use super::pace::{Range, STRIP, strip};
use super::rows::{Part, Row};
use super::words_of;
use crate::grid::Grid;
use crate::handout::Material;
use crate::handout::drawing::{Drawing, Ink, Path, Pen, Setting, Weight, fitted, width, wrapped};
use crate::handout::form::Badge;
use crate::handout::hill::{Across, Hill, LEVEL, Signs};
use crate::trail::Trail;
use crate::units::Beat;

/// Height of the hill in points.
const HILL: f64 = 20.0;

/// Height of the line of counts.
const COUNTS: f64 = 13.0;

/// Height of the boxes.
const BOX: f64 = 45.0;

/// Height of a line of a question or an answer.
const ASKED: f64 = 12.5;

/// Sizes of the words in the boxes. 15 points have capitals of 3.9 mm: 20 minutes of arc at 0.66 m, 16 at 0.83 m, the
/// preferred and the least size of ISO 9241-3 at a music stand's distance.
const CALLED: &[f64] = &[15.0, 13.5, 12.0, 10.5, 9.0, 8.0];

/// Sizes of the gentle versions.
const GENTLE: &[f64] = &[9.5, 8.5, 7.5];

/// A row with its place on the sheet.
pub(super) struct Drawn<'a> {
    material: &'a Material<'a>,
    row: &'a Row<'a>,
    hill: Hill<'a>,
    /// Height above the hill for words and flags.
    sky: f64,
    /// Questions and answers under the boxes: whether bold, and the line.
    asked: Vec<(bool, String)>,
}

impl<'a> Drawn<'a> {
    /// A row on a sheet `across` points wide, on which the longest row of the dance has `longest` counts.
    pub(super) fn new(
        material: &'a Material<'a>,
        trail: &'a Trail,
        row: &'a Row<'a>,
        left: f64,
        (across, longest): (f64, usize),
    ) -> Self {
        let grid: &Grid = &material.dance.grid;
        // A count is as wide in every row.
        let share = (row.until.0 - row.from.0) / longest.max(1) as f64;
        let hill = Hill {
            trail,
            across: Across::Counts(grid),
            from: grid.seconds_at(row.from),
            until: grid.seconds_at(row.until),
            left,
            width: across * share,
            top: 0.0,
            bottom: 0.0,
        };
        let sky = LEVEL * hill.levels(Signs::Worded) as f64 + 2.0;
        let mut asked = Vec::new();
        for &prompt in &row.prompts {
            let asking = &material.dance.prompts[prompt];
            let wait = if asking.pause { " (the music waits)" } else { "" };
            let question = format!("?{} {}{wait}", prompt + 1, asking.question);
            asked.extend(wrapped(&question, 10.0, Weight::Bold, across).into_iter().map(|line| (true, line)));
            if !asking.answer.trim().is_empty() {
                let answer = format!("Answer: {}", asking.answer);
                asked.extend(
                    wrapped(&answer, 10.0, Weight::Regular, across).into_iter().map(|line| (false, line)),
                );
            }
        }
        if material.notes {
            for part in row.boxes.iter().filter(|part| part.begins) {
                let cue = &material.dance.cues[part.cue];
                if let Some(why) = cue.why.as_deref().filter(|why| !why.trim().is_empty()) {
                    let why = format!("{}: {why}", material.dance.words_of(cue));
                    asked.extend(
                        wrapped(&why, 10.0, Weight::Regular, across).into_iter().map(|line| (false, line)),
                    );
                }
            }
        }
        Self { material, row, hill, sky, asked }
    }

    /// How high it is.
    pub(super) fn height(&self) -> f64 {
        self.sky
            + HILL
            + COUNTS
            + BOX
            + STRIP
            + ASKED * self.asked.len() as f64
            + if self.asked.is_empty() { 0.0 } else { 3.0 }
    }

    /// Draws it with its upper edge at `top`.
    pub(super) fn draw(&self, sheet: &mut Drawing, top: f64, badge: Option<&Badge<'_>>) {
        let hill = Hill { top: top + self.sky, bottom: top + self.sky + HILL, ..self.hill };
        let tint = badge.map_or(Ink::PALE.tint(0.5), Badge::tint);
        hill.ground(sheet, hill.from, hill.until, tint);
        hill.landmarks(sheet, Signs::Worded);
        self.counts(sheet, &hill);
        let boxes = hill.bottom + COUNTS;
        for part in &self.row.boxes {
            self.part(sheet, &hill, part, boxes);
        }
        self.flags(sheet, &hill);
        self.pace(sheet, &hill, boxes + BOX);
        let mut y = boxes + BOX + STRIP + 11.0;
        for (question, line) in &self.asked {
            let (role, setting) =
                if *question { ("question", Setting::bold(10.0)) } else { ("answer", Setting::plain(10.0)) };
            sheet.words(role, (self.hill.left, y), setting, line);
            y += ASKED;
        }
    }

    fn x(&self, hill: &Hill<'_>, at: Beat) -> f64 {
        hill.left + (at.0 - self.row.from.0) / (self.row.until.0 - self.row.from.0) * hill.width
    }

    /// The counts as numbers, heavy where a bar begins.
    fn counts(&self, sheet: &mut Drawing, hill: &Hill<'_>) {
        let bars = self.material.dance.grid.bars();
        let one = self.x(hill, Beat(self.row.from.0 + 1.0)) - hill.left;
        for beat in self.row.from.index()..self.row.until.index() {
            let number = self.row.first_count + beat - self.row.from.index();
            let x = self.x(hill, Beat::from(beat));
            let bar = bars.binary_search(&beat).is_ok();
            let pen = Pen::solid(Ink::BLACK, if bar { 1.2 } else { 0.5 });
            sheet.line("beat", (x, hill.bottom), (x, hill.bottom + if bar { COUNTS } else { 4.0 }), pen);
            let setting = if bar { Setting::bold(10.0) } else { Setting::plain(9.0) };
            if one > 12.0 || bar {
                sheet.words("count", (x + 2.5, hill.bottom + 11.0), setting, &number.to_string());
            }
        }
        let right = hill.left + hill.width;
        sheet.line("beat", (hill.left, hill.bottom), (right, hill.bottom), Pen::solid(Ink::BLACK, 0.8));
    }

    /// A box with what is done in it, and how it is done sitting or gently.
    fn part(&self, sheet: &mut Drawing, hill: &Hill<'_>, part: &Part, top: f64) {
        let (left, right) = (self.x(hill, part.from), self.x(hill, part.until));
        let dance = self.material.dance;
        let cue = &dance.cues[part.cue];
        let place = Path::rectangle(left + 0.6, top, right - left - 1.2, BOX - 2.0, 2.5);
        sheet.shape("box", place, Ink::WHITE, Pen::solid(Ink::BLACK, if part.begins { 1.3 } else { 0.7 }));
        let room = right - left - 9.0;
        let mut said = words_of(self.material, cue);
        if !part.begins {
            said = format!("\u{2026} {said}");
        }
        if part.goes_on {
            said.push_str(" \u{2192}");
        }
        let entry = dance.move_of(cue);
        // The gentle versions stand where the cue begins; where it goes on they would only crowd the sheet.
        let gentle: Vec<String> = entry.filter(|_| part.begins).map_or_else(Vec::new, |entry| {
            vec![format!("sitting: {}", entry.seated.words), format!("gently: {}", entry.low_impact.words)]
        });
        let most = if gentle.is_empty() { 2 } else { 1 };
        let called = fitted(&said, Weight::Bold, room, most, CALLED);
        let mut y = top + called.size + 3.0;
        for line in &called.lines {
            sheet.words("call", (left + 5.0, y), Setting::bold(called.size), line);
            y += called.size + 1.0;
        }
        let mut y = top + 28.0;
        for text in gentle {
            let small = fitted(&text, Weight::Regular, room, 1, GENTLE);
            sheet.words("gentle", (left + 5.0, y), Setting::plain(small.size), &small.lines.concat());
            y += 10.0;
        }
        if let Some(entry) = entry.filter(|_| part.begins) {
            let sign = Setting::plain(11.0).end().in_ink(Ink::GREY);
            let taken = called.lines.first().map_or(0.0, |line| width(line, called.size, Weight::Bold));
            if taken + width(&entry.sign, 11.0, Weight::Regular) + 8.0 < room {
                sheet.words("sign", (right - 5.0, top + 14.0), sign, &entry.sign);
            }
        }
    }

    /// How fast the music is under each count, and how its notes are joined.
    fn pace(&self, sheet: &mut Drawing, hill: &Hill<'_>, top: f64) {
        let heard = self.material.heard;
        let phrase = self.row.phrase.and_then(|span| heard?.phrases.get(span.index));
        let counts = (self.row.from.index(), self.row.until.index());
        let grid = &self.material.dance.grid;
        let told = (Range::of(grid), phrase.map(|phrase| phrase.articulation));
        strip(sheet, grid, told, counts, &|at| self.x(hill, at), top);
    }

    /// Numbered flags where questions are asked.
    fn flags(&self, sheet: &mut Drawing, hill: &Hill<'_>) {
        for &prompt in &self.row.prompts {
            let at = self.material.dance.prompts[prompt].at;
            let at = if at.0.is_finite() {
                at.0.clamp(self.row.from.0, self.row.until.0)
            } else {
                self.row.from.0
            };
            // At the end of its count, where no number and no landmark's word stands.
            let x = self.x(hill, Beat(at.floor() + 1.0)).min(hill.left + hill.width) - 7.5;
            let y = hill.bottom + 6.8;
            sheet.shape("flag", Path::circle(x, y, 6.2), Ink::WHITE, Pen::solid(Ink::BLACK, 0.9));
            let setting = Setting::bold(7.5).middle();
            sheet.words("flag", (x, y + 2.7), setting, &format!("?{}", prompt + 1));
        }
    }
}
