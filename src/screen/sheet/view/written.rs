//! The paper itself: counts, contours, and words in their boxes.

use super::{cut, line};
use crate::check::Severity;
use crate::dance::Side;
use crate::screen::colours::Ink;
use crate::screen::sheet::layout::{About, Line, Note, Part, mark};
use crate::screen::sheet::state::Sheet;
use crate::units::{Beat, Lufs};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};
use unicode_width::UnicodeWidthStr;

/// Dots of a braille character from the bottom up, left and right (Unicode 16, block 2800).
const DOTS: [[u8; 4]; 2] = [[0x40, 0x04, 0x02, 0x01], [0x80, 0x20, 0x10, 0x08]];

/// Tempi that differ by less are drawn as one level. Our decision: what a class does not notice.
const EVEN: f64 = 1.08;

/// Draws the lines that are seen.
pub(super) fn paper(sheet: &Sheet, area: Rect, buffer: &mut Buffer) {
    let first = sheet.layout.lines.partition_point(|line| line.top + line.rows <= sheet.scroll);
    let bottom = sheet.scroll + usize::from(area.height);
    for index in first..sheet.layout.lines.len() {
        let line = &sheet.layout.lines[index];
        if line.top >= bottom {
            break;
        }
        Paper { sheet, line, area, index }.draw(buffer);
    }
}

/// One line being drawn.
struct Paper<'a> {
    sheet: &'a Sheet,
    line: &'a Line,
    area: Rect,
    index: usize,
}

impl Paper<'_> {
    fn style(&self, ink: Ink) -> Style {
        self.sheet.palette.style(ink)
    }

    /// The screen's row for a row of this line, if it is seen.
    fn row(&self, row: usize) -> Option<Rect> {
        let row = (self.line.top + row).checked_sub(self.sheet.scroll)?;
        let y = u16::try_from(row).ok().filter(|row| *row < self.area.height)?;
        Some(Rect { y: self.area.y + y, height: 1, ..self.area })
    }

    /// The part of a row that is right of the margin.
    fn counts(&self, row: usize) -> Option<Rect> {
        let row = self.row(row)?;
        let margin = self.sheet.layout.margin.min(row.width);
        Some(Rect { x: row.x + margin, width: row.width - margin, ..row })
    }

    fn column(&self, at: Beat) -> u16 {
        self.line.column(at, self.sheet.layout.cell)
    }

    fn draw(&self, buffer: &mut Buffer) {
        let contours = self.sheet.layout.contours;
        for (row, notes) in self.line.above.iter().enumerate() {
            self.notes(row, notes, buffer);
        }
        let numbers = self.line.above.len();
        self.numbers(numbers, buffer);
        if contours > 0 {
            self.loudness(numbers + 1, buffer);
        }
        if contours > 1 {
            self.tempo(numbers + contours, buffer);
        }
        let words = self.line.words_row(contours);
        self.words(words, buffer);
        for (row, notes) in self.line.below.iter().enumerate() {
            self.notes(words + 1 + row, notes, buffer);
        }
        self.margin(numbers, buffer);
        self.cursor((numbers, words), buffer);
    }

    fn notes(&self, row: usize, notes: &[Note], buffer: &mut Buffer) {
        let Some(area) = self.counts(row) else { return };
        for note in notes {
            let ink = match note.about {
                About::Turn => Ink::Hill,
                About::Prompt => Ink::Next,
                About::Finding => Ink::Mark,
            };
            let style = if ink == Ink::Hill {
                // Words need more contrast than the hill has.
                self.style(Ink::Quiet).add_modifier(Modifier::ITALIC)
            } else {
                self.style(ink)
            };
            let x = note.x.min(area.width);
            let place = Rect { x: area.x + x, width: area.width - x, ..area };
            line(buffer, place, &cut(&note.text, place.width), style);
        }
    }

    fn numbers(&self, row: usize, buffer: &mut Buffer) {
        let Some(area) = self.counts(row) else { return };
        let cell = self.sheet.layout.cell;
        let bars = self.sheet.dance.grid.bars();
        let playing = self.sheet.heard.playing.then(|| self.sheet.playhead().0.floor());
        for beat in self.line.from..self.line.until {
            let number = (self.line.first_count + beat - self.line.from).to_string();
            let bar = bars.binary_search(&beat).is_ok();
            if usize::from(cell) <= number.len() && !bar {
                continue;
            }
            let x = self.column(Beat::from(beat)).min(area.width);
            let place = Rect { x: area.x + x, width: area.width - x, ..area };
            let style = self.style(if bar { Ink::Now } else { Ink::Quiet });
            if playing == Some(beat as f64) {
                let here = self.style(Ink::Leader).add_modifier(Modifier::REVERSED);
                line(buffer, place, &format!("{number}▼"), here);
            } else {
                line(buffer, place, &number, style);
            }
        }
    }

    /// A row of braille, filled or dotted, whose heights (0 to 1) stand exactly over their counts.
    fn contour(
        &self,
        row: usize,
        filled: bool,
        style: Style,
        buffer: &mut Buffer,
        height: impl Fn(Beat) -> f64,
    ) {
        let Some(area) = self.counts(row) else { return };
        let cell = self.sheet.layout.cell;
        let width = self.column(Beat::from(self.line.until)).min(area.width);
        for x in 0..width {
            let mut dots = 0;
            for half in 0..2_u16 {
                let at = self.line.from as f64 + f64::from(2 * x + half) / f64::from(2 * cell);
                let level = (height(Beat(at)).clamp(0.0, 1.0) * 4.0).round() as usize;
                let column = DOTS[usize::from(half)];
                dots |= if filled {
                    column.iter().take(level).fold(0, |all, dot| all | dot)
                } else {
                    column[level.saturating_sub(1).min(3)]
                };
            }
            if dots != 0
                && let Some(sign) = char::from_u32(0x2800 + u32::from(dots))
                && let Some(cell) = buffer.cell_mut((area.x + x, area.y))
            {
                cell.set_char(sign).set_style(style);
            }
        }
    }

    fn loudness(&self, row: usize, buffer: &mut Buffer) {
        if self.sheet.listening.is_none() {
            return;
        }
        let (trail, grid) = (&self.sheet.trail, &self.sheet.dance.grid);
        // One hill over all rows but the tempo's.
        let rows = self.sheet.layout.contours.saturating_sub(1).max(1);
        for above in 0..rows {
            let below = (rows - 1 - above) as f64;
            let height = |at| trail.height(grid.seconds_at(at)) * rows as f64 - below;
            self.contour(row + above, true, self.style(Ink::Hill), buffer, height);
        }
    }

    fn tempo(&self, row: usize, buffer: &mut Buffer) {
        let (slowest, fastest) = self.sheet.tempi;
        let grid = &self.sheet.dance.grid;
        let even = fastest < slowest * EVEN;
        let height = |at| {
            if even { 0.5 } else { (grid.tempo_at(at).0 - slowest) / (fastest - slowest) * 0.75 + 0.25 }
        };
        self.contour(row, false, self.style(Ink::Quiet), buffer, height);
    }

    fn words(&self, row: usize, buffer: &mut Buffer) {
        let Some(area) = self.counts(row) else { return };
        for beat in self.line.from..self.line.until {
            let x = self.column(Beat::from(beat));
            if x < area.width {
                line(buffer, Rect { x: area.x + x, width: 1, ..area }, "·", self.style(Ink::Crossed));
            }
        }
        for part in &self.line.parts {
            self.part(part, area, buffer);
        }
    }

    fn part(&self, part: &Part, area: Rect, buffer: &mut Buffer) {
        let Some(cue) = self.sheet.cue(part.cue) else { return };
        let from = self.column(part.from).min(area.width);
        let until = self.column(part.until).min(area.width);
        let width = until.saturating_sub(from);
        if width == 0 {
            return;
        }
        let place = Rect { x: area.x + from, width, ..area };
        let dance = &self.sheet.dance;
        let complained = part.found.filter(|severity| *severity > Severity::Note);
        let ink = match (part.begins, complained) {
            (false, _) => Ink::Quiet,
            (true, Some(_)) => Ink::Mark,
            (true, None) => Ink::Next,
        };
        let side = match cue.side {
            Some(Side::Left) => " (left)",
            Some(Side::Right) => " (right)",
            None => "",
        };
        let sign = dance.move_of(cue).map_or("", |entry| entry.sign.as_str());
        let words = dance.words_of(cue);
        let text = match (part.begins, complained) {
            (false, _) => format!("┄ {words}{side} "),
            (true, Some(severity)) => format!("├{} {words}{side} ", mark(severity)),
            (true, None) if sign.is_empty() => format!("├ {words}{side} "),
            (true, None) => format!("├{sign} {words}{side} "),
        };
        let (end, held) = if part.goes_on { ('┄', '┄') } else { ('┤', '─') };
        let fill = self.style(Ink::Quiet);
        let dashes: String = (0..width).map(|x| if x + 1 == width { end } else { held }).collect();
        line(buffer, place, &dashes, fill);
        let room = width.saturating_sub(u16::from(width > 3));
        let mut text = cut(&text, room);
        if text.width() < usize::from(room) || text.ends_with('…') {
            // The words have room.
        } else {
            text.truncate(text.trim_end().len());
        }
        line(buffer, Rect { width: room, ..place }, &text, self.style(ink));
    }

    fn margin(&self, numbers: usize, buffer: &mut Buffer) {
        let (sheet, layout) = (self.sheet, &self.sheet.layout);
        let width = layout.margin.saturating_sub(1);
        if width == 0 {
            return;
        }
        let write = |row: usize, text: &str, style: Style, buffer: &mut Buffer| {
            if let Some(area) = self.row(row) {
                let place = Rect { x: area.x + 1, width: width.min(area.width.saturating_sub(1)), ..area };
                line(buffer, place, &cut(text, place.width), style);
            }
        };
        let grid = &sheet.dance.grid;
        let start = Beat::from(self.line.from);
        let name = match (self.line.phrase, self.line.begins) {
            (None, _) => "pickup".to_owned(),
            (Some(_), false) => String::new(),
            (Some(index), true) => {
                let letter = grid.phrases().get(index).map_or("", |phrase| &phrase.letter);
                format!("{} {letter}", index + 1)
            }
        };
        write(numbers, &name, self.style(Ink::Now), buffer);
        let quiet = self.style(Ink::Quiet);
        let at = grid.seconds_at(start);
        let level = sheet.listening.as_ref().and_then(|heard| {
            let middle = Beat((self.line.from + self.line.until) as f64 / 2.0);
            let level = heard.loudness.short_term.at(grid.seconds_at(middle))?;
            heard.dynamics.mark(Lufs(f64::from(level)))
        });
        let dynamic = level.map_or_else(String::new, |mark| mark.to_string());
        let tempo = format!("{:.0}", grid.tempo_at(Beat::from((self.line.from + self.line.until) / 2)).0);
        let words = self.line.words_row(layout.contours);
        let bar = grid.bar_at(start).bar;
        if layout.margin < 14 {
            if layout.contours > 0 {
                write(numbers + 1, &at.clock(), quiet, buffer);
            }
            write(words, &format!("{dynamic} {tempo}"), quiet, buffer);
        } else if layout.contours == 0 {
            write(words, &format!("{} {dynamic} {tempo}", at.clock()), quiet, buffer);
        } else {
            // What comes before the first bar is in none.
            let place = if bar < 1 { at.clock() } else { format!("bar {bar} {}", at.clock()) };
            write(numbers + 1, &place, quiet, buffer);
            if layout.contours > 1 {
                write(numbers + layout.contours, &format!("{tempo} a minute"), quiet, buffer);
                write(words, &dynamic, quiet, buffer);
            } else {
                write(words, format!("{dynamic} {tempo}/min").trim_start(), quiet, buffer);
            }
        }
    }

    /// The place where she is, and what is selected: their boxes are turned dark for light.
    fn cursor(&self, (numbers, words): (usize, usize), buffer: &mut Buffer) {
        let sheet = self.sheet;
        if sheet.layout.line_at(sheet.cursor) == Some(self.index) {
            let half = sheet.cursor.0.fract() > 1e-6;
            let until = Beat(sheet.cursor.0 + if half { 0.5 } else { 1.0 });
            self.turn(words, (sheet.cursor, until), Modifier::REVERSED, buffer);
            let number = Beat(sheet.cursor.0.floor());
            self.turn(numbers, (number, Beat(number.0 + 0.3)), Modifier::UNDERLINED | Modifier::BOLD, buffer);
        }
        if sheet.anchor.is_some() {
            let ends = sheet.selection();
            self.turn(words, (ends.from, ends.to), Modifier::REVERSED, buffer);
        }
    }

    fn turn(&self, row: usize, (from, until): (Beat, Beat), how: Modifier, buffer: &mut Buffer) {
        let Some(area) = self.counts(row) else { return };
        let (low, high) = (self.line.from as f64, self.line.until as f64);
        if until.0 <= low || from.0 >= high {
            return;
        }
        let from = self.column(Beat(from.0.max(low)));
        let until = self.column(Beat(until.0.min(high))).max(from + 1);
        for x in from..until.min(area.width) {
            if let Some(cell) = buffer.cell_mut((area.x + x, area.y)) {
                cell.modifier.insert(how);
            }
        }
    }
}
