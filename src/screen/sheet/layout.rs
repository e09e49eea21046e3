//! The sheet of paper: which counts stand in which line, which part of which cue in each, and what is written above and
//! below them. Worked out once a change, so that drawing costs only what is seen.

use crate::check::{Finding, RULES, Severity, turn_name};
use crate::dance::{Dance, Prompt};
use crate::listening::{Listening, TurnKind};
use crate::units::Beat;
use unicode_width::UnicodeWidthStr;

/// Counts in a line at the most: two eights, as dance teachers write them. Common practice, no source.
const LONGEST: usize = 16;
/// Columns of a count at the least where there is a choice, and at the most.
const NARROW: u16 = 6;
const WIDE: u16 = 18;
/// Lines of words above or below one line of counts at the most; what does not fit is counted.
const NOTE_ROWS: usize = 2;

/// What a note on the paper is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum About {
    /// A turn of the music.
    Turn,
    /// A question to the class.
    Prompt,
    /// Something the check found.
    Finding,
}

/// Words written above or below a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Note {
    /// Columns from the line's first count.
    pub x: u16,
    /// The words.
    pub text: String,
    /// What they are about.
    pub about: About,
}

/// The part of a cue that lies in a line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// Which cue.
    pub cue: usize,
    /// Where it begins in this line.
    pub from: Beat,
    /// Where it ends in this line.
    pub until: Beat,
    /// Whether the cue begins here; otherwise it is held over from the line before.
    pub begins: bool,
    /// Whether it is held into the next line.
    pub goes_on: bool,
    /// The gravest complaint of the check about it.
    pub found: Option<Severity>,
}

/// A line of counts with all that belongs to it.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// The phrase; `None` for counts before the first one.
    pub phrase: Option<usize>,
    /// Whether the phrase begins with it.
    pub begins: bool,
    /// Its first beat.
    pub from: usize,
    /// One past its last beat.
    pub until: usize,
    /// The number of its first count.
    pub first_count: usize,
    /// Cues in it, by ascending start.
    pub parts: Vec<Part>,
    /// Turns and questions, row by row.
    pub above: Vec<Vec<Note>>,
    /// What the check says, row by row.
    pub below: Vec<Vec<Note>>,
    /// Rows from the top of the paper.
    pub top: usize,
    /// Rows it takes.
    pub rows: usize,
}

/// All lines, for one width and height of the paper.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Layout {
    /// In the order of the music.
    pub lines: Vec<Line>,
    /// Columns of the margin.
    pub margin: u16,
    /// Columns of a count.
    pub cell: u16,
    /// Rows of contour in each line: the last one is the tempo's where there are several, the others are the loudness's.
    pub contours: usize,
    /// Rows of everything.
    pub rows: usize,
    /// The questions that stand above the lines.
    prompts: Vec<Prompt>,
}

/// Signs of the turns: pencil marks, always with their word.
fn sign(kind: TurnKind) -> &'static str {
    match kind {
        TurnKind::Crescendo => "<",
        TurnKind::Diminuendo => ">",
        TurnKind::SubitoLoud => "^",
        TurnKind::SubitoSoft => "v",
        TurnKind::Accelerando | TurnKind::SuddenlyFaster => "»",
        TurnKind::Ritardando | TurnKind::SuddenlySlower => "«",
        TurnKind::ATempo => "=",
        TurnKind::Rest => "‖",
        TurnKind::Fermata => "∩",
    }
}

/// The mark of a severity, in front of its words.
#[must_use]
pub(super) fn mark(severity: Severity) -> &'static str {
    match severity {
        Severity::Problem => "!!",
        Severity::Warning => "!",
        Severity::Note => "·",
    }
}

impl Layout {
    /// Lays out a dance on paper of some columns and rows.
    #[must_use]
    pub fn new(
        dance: &Dance,
        heard: Option<&Listening>,
        findings: &[Finding],
        (width, height): (u16, u16),
    ) -> Self {
        let margin = match width {
            60.. => 14,
            34.. => 9,
            _ => 0,
        };
        let room = width.saturating_sub(margin + 1);
        let most = usize::from(room / NARROW).clamp(1, LONGEST);
        // Eights where two of them do not fit.
        let most = if (9..16).contains(&most) { if most >= 12 { 12 } else { 8 } } else { most };
        let contours = match height {
            80.. => 3,
            36.. => 2,
            16.. => 1,
            _ => 0,
        };
        let mut lines = lines(dance, most);
        let widest = lines.iter().map(|line| line.until - line.from).max().unwrap_or(1).max(1);
        let cell = (room / u16::try_from(widest).unwrap_or(u16::MAX)).clamp(1, WIDE);
        let mut layout =
            Self { lines: Vec::new(), margin, cell, contours, rows: 0, prompts: dance.prompts.clone() };
        place_cues(dance, findings, &mut lines);
        let columns = room;
        write_above(dance, heard, &mut lines, cell, columns);
        write_below(dance, findings, &mut lines, cell, columns);
        let air = usize::from(height >= 30);
        for line in &mut lines {
            let gap = if line.begins && layout.rows > 0 { air } else { 0 };
            line.top = layout.rows + gap;
            // Numbers, contours, the words.
            line.rows = line.above.len() + 1 + contours + 1 + line.below.len();
            layout.rows = line.top + line.rows;
        }
        layout.lines = lines;
        layout
    }

    /// Lays the cues out anew after a change that leaves grid, findings and paper as they were: lines and words about them
    /// stay, which is most of the work. `false`, and nothing is done, where a question was changed too.
    pub(super) fn place_again(&mut self, dance: &Dance, findings: &[Finding]) -> bool {
        if self.prompts != dance.prompts {
            return false;
        }
        self.lines.iter_mut().for_each(|line| line.parts.clear());
        place_cues(dance, findings, &mut self.lines);
        true
    }

    /// The line that holds a position; the nearest one outside the music. `None` without lines.
    #[must_use]
    pub fn line_at(&self, at: Beat) -> Option<usize> {
        let after = self.lines.partition_point(|line| line.from as f64 <= at.0 + 1e-6);
        (!self.lines.is_empty()).then(|| after.saturating_sub(1))
    }

    /// The position under a column (from the paper's left edge) of a line; `None` in the margin and after the end.
    #[must_use]
    pub fn beat_under(&self, line: usize, column: u16) -> Option<usize> {
        let line = self.lines.get(line)?;
        let count = usize::from(column.checked_sub(self.margin)? / self.cell.max(1));
        Some(line.from + count).filter(|beat| *beat < line.until)
    }

    /// The line that a row of the paper belongs to.
    #[must_use]
    pub fn line_on_row(&self, row: usize) -> Option<usize> {
        let after = self.lines.partition_point(|line| line.top <= row);
        let index = after.checked_sub(1)?;
        (row < self.lines[index].top + self.lines[index].rows).then_some(index)
    }
}

impl Line {
    /// Columns from the line's first count.
    #[must_use]
    pub fn column(&self, at: Beat, cell: u16) -> u16 {
        ((at.0 - self.from as f64).max(0.0) * f64::from(cell)).round() as u16
    }

    /// The row of the words, from the line's top.
    #[must_use]
    pub fn words_row(&self, contours: usize) -> usize {
        self.above.len() + 1 + contours
    }
}

fn lines(dance: &Dance, most: usize) -> Vec<Line> {
    let grid = &dance.grid;
    let first = grid.phrases().first().map_or(grid.len(), |phrase| phrase.start);
    let mut lines = Vec::new();
    if first > 0 {
        phrase_lines(dance, None, (0, first), most, &mut lines);
    }
    for span in grid.phrase_spans() {
        let ends = (span.start.index(), span.end.index());
        phrase_lines(dance, Some(span.index), ends, most, &mut lines);
    }
    lines
}

/// A phrase in lines of about one length, of whole bars where bars are even.
fn phrase_lines(
    dance: &Dance,
    phrase: Option<usize>,
    (start, end): (usize, usize),
    most: usize,
    lines: &mut Vec<Line>,
) {
    let counts = end.saturating_sub(start);
    let bars = dance.grid.bars();
    let place = bars.partition_point(|bar| *bar < start);
    let bar = match (bars.get(place), bars.get(place + 1)) {
        (Some(one), Some(next)) if *one == start => next - one,
        _ => 1,
    };
    let mut wide = counts.div_ceil(counts.div_ceil(most).max(1)).max(1);
    // A bar is not torn: rather more lines than one.
    if wide.next_multiple_of(bar) <= most {
        wide = wide.next_multiple_of(bar);
    } else if wide > bar {
        wide -= wide % bar;
    }
    for from in (start..end).step_by(wide) {
        lines.push(Line {
            phrase,
            begins: from == start,
            from,
            until: end.min(from + wide),
            first_count: from - start + 1,
            parts: Vec::new(),
            above: Vec::new(),
            below: Vec::new(),
            top: 0,
            rows: 0,
        });
    }
}

/// Which line a place belongs to: one before the music is said in the first, one after it in the last.
fn line_of(lines: &[Line], at: f64) -> usize {
    lines.partition_point(|line| line.from as f64 <= at + 1e-6).saturating_sub(1)
}

fn place_cues(dance: &Dance, findings: &[Finding], lines: &mut [Line]) {
    let mut worst: Vec<Option<Severity>> = vec![None; dance.cues.len()];
    for finding in findings {
        if let Some(slot) = finding.cue.and_then(|cue| worst.get_mut(cue)) {
            *slot = (*slot).max(Some(finding.severity));
        }
    }
    for (index, cue) in dance.cues.iter().enumerate() {
        let (start, end) = (cue.at.0, cue.end().0);
        if !start.is_finite() || !end.is_finite() {
            continue;
        }
        let first = line_of(lines, start);
        for line in lines.iter_mut().skip(first) {
            if line.from as f64 >= end - 1e-6 {
                break;
            }
            let from = start.max(line.from as f64);
            let until = end.min(line.until as f64);
            if until - from > 1e-3 {
                line.parts.push(Part {
                    cue: index,
                    from: Beat(from),
                    until: Beat(until),
                    begins: start >= line.from as f64 - 1e-3,
                    goes_on: end > line.until as f64 + 1e-3,
                    found: worst[index],
                });
            }
        }
    }
}

fn write_above(dance: &Dance, heard: Option<&Listening>, lines: &mut [Line], cell: u16, columns: u16) {
    let mut notes: Vec<(f64, String, About)> = Vec::new();
    for turn in heard.iter().flat_map(|heard| &heard.turns) {
        let at = dance.grid.beat_at(turn.start).0;
        notes.push((at, format!("{} {}", sign(turn.kind), turn_name(turn.kind)), About::Turn));
    }
    for prompt in &dance.prompts {
        notes.push((prompt.at.0, format!("? {}", prompt.question), About::Prompt));
    }
    write(notes, lines, cell, columns, |line| &mut line.above);
}

fn write_below(dance: &Dance, findings: &[Finding], lines: &mut [Line], cell: u16, columns: u16) {
    let mut notes: Vec<(f64, String, About)> = Vec::new();
    for finding in findings {
        let Some(at) = finding.at else { continue };
        let name = RULES.iter().find(|rule| rule.id == finding.rule).map_or(finding.rule, |rule| rule.name);
        notes.push((at.0, format!("{} {}", mark(finding.severity), name.to_lowercase()), About::Finding));
    }
    if !dance.grid.is_empty() {
        write(notes, lines, cell, columns, |line| &mut line.below);
    }
}

/// Writes notes at their counts, side by side, in as few rows as they need.
fn write(
    mut notes: Vec<(f64, String, About)>,
    lines: &mut [Line],
    cell: u16,
    columns: u16,
    rows: impl Fn(&mut Line) -> &mut Vec<Vec<Note>>,
) {
    notes.retain(|note| note.0.is_finite());
    notes.sort_by(|a, b| a.0.total_cmp(&b.0));
    let end = |row: &[Note]| row.last().map_or(0, |note| usize::from(note.x) + note.text.width() + 2);
    for (at, text, about) in notes {
        let index = line_of(lines, at);
        let Some(line) = lines.get_mut(index) else { continue };
        let column = line.column(Beat(at), cell);
        let rows = rows(line);
        let width = u16::try_from(text.width()).unwrap_or(u16::MAX);
        // Words that would run off the paper begin earlier.
        let x = column.min(columns.saturating_sub(width));
        let free = rows.iter().position(|row| end(row) <= usize::from(x));
        match free {
            Some(row) => rows[row].push(Note { x, text, about }),
            None if rows.len() < NOTE_ROWS => rows.push(vec![Note { x, text, about }]),
            None => {
                let after = rows.iter().enumerate().min_by_key(|(_, row)| end(row));
                let Some((row, x)) = after.map(|(index, row)| (index, end(row))) else { continue };
                let x = u16::try_from(x).unwrap_or(u16::MAX);
                if usize::from(x) + usize::from(width) <= usize::from(columns) {
                    rows[row].push(Note { x, text, about });
                } else if let Some(last) = rows[row].last_mut()
                    && !last.text.ends_with('…')
                {
                    last.text.push('…');
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::{Grid, Phrase};
    use crate::screen::floor::test_dance;
    use crate::units::Seconds;

    fn on_grid(beats: usize, bar: usize, phrases: &[usize]) -> Dance {
        let mut dance = test_dance(&[]);
        let first = phrases.first().copied().unwrap_or(0);
        dance.grid = Grid::new(
            (0..beats).map(|beat| Seconds(beat as f64 * 0.5)).collect(),
            (first..beats).step_by(bar).collect(),
            phrases.iter().map(|&start| Phrase { start, letter: "A".into() }).collect(),
        )
        .expect("ascending");
        dance
    }

    fn widths(dance: &Dance, columns: u16) -> Vec<usize> {
        let layout = Layout::new(dance, None, &[], (columns, 24));
        layout.lines.iter().map(|line| line.until - line.from).collect()
    }

    #[test]
    fn counts_stand_in_eights_and_sixes_and_whole_bars() {
        assert_eq!(widths(&on_grid(32, 4, &[0, 16]), 80), [8, 8, 8, 8]);
        assert_eq!(widths(&on_grid(32, 4, &[0, 16]), 200), [16, 16]);
        assert_eq!(widths(&on_grid(24, 3, &[0, 12]), 80), [6, 6, 6, 6]);
        assert_eq!(widths(&on_grid(24, 3, &[0, 12]), 120), [12, 12]);
        assert_eq!(widths(&on_grid(20, 4, &[0]), 80), [8, 8, 4]);
        assert_eq!(widths(&on_grid(30, 3, &[0]), 80), [6, 6, 6, 6, 6], "no bar is torn");
        assert_eq!(widths(&on_grid(25, 5, &[0]), 80), [5, 5, 5, 5, 5]);
        assert_eq!(widths(&on_grid(18, 4, &[2]), 80), [2, 8, 8], "a pickup has a line of its own");
    }

    #[test]
    fn no_count_and_no_part_of_a_cue_is_lost_at_any_width() {
        let mut dance = on_grid(70, 4, &[3, 19, 35, 52]);
        dance.cues = test_dance(&[("march", 0.0, 10.5), ("hop", 10.5, 30.0), ("walk", 50.0, 20.0)]).cues;
        for columns in [1, 5, 20, 40, 80, 120, 200, 300] {
            let layout = Layout::new(&dance, None, &[], (columns, 40));
            assert_eq!(layout.lines.iter().map(|line| line.until - line.from).sum::<usize>(), 70);
            for (index, cue) in dance.cues.iter().enumerate() {
                let parts = layout.lines.iter().flat_map(|line| &line.parts).filter(|part| part.cue == index);
                let counts: f64 = parts.map(|part| part.until.0 - part.from.0).sum();
                assert!((counts - cue.counts.0).abs() < 1e-9, "cue {index} at {columns} columns");
            }
            assert!(layout.lines.windows(2).all(|pair| pair[0].top + pair[0].rows <= pair[1].top));
        }
    }

    #[test]
    fn a_column_and_a_row_find_their_count() {
        let layout = Layout::new(&on_grid(32, 4, &[0, 16]), None, &[], (80, 24));
        assert_eq!(layout.beat_under(1, layout.margin + 3 * layout.cell), Some(11));
        assert_eq!(layout.beat_under(1, layout.margin - 1), None);
        assert_eq!(layout.line_on_row(layout.lines[2].top), Some(2));
        assert_eq!(layout.line_on_row(10_000), None);
        assert_eq!(layout.line_at(Beat(15.5)), Some(1));
    }
}
