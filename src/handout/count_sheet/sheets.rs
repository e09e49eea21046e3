//! The count sheet on sheets of paper, upright, to be read from a music stand.

use super::pace::KEY;
use super::row::Drawn;
use super::rows::{Row, longest, rows};
use super::{overview, words_of};
use crate::dance::Move;
use crate::handout::cautions::{GENERAL, moves_used};
use crate::handout::drawing::{Drawing, Ink, Path, Pen, Setting, Weight, fitted, width, wrapped};
use crate::handout::form::badges;
use crate::handout::{Material, facts, like, rights};
use crate::trail::Trail;
use crate::units::Beat;

/// Margin in points: 12 mm.
const MARGIN: f64 = 34.0;

/// Height of the line over a phrase.
const HEAD: f64 = 20.0;

/// Room between two rows.
const GAP: f64 = 9.0;

/// Room between two columns of moves.
const BETWEEN: f64 = 16.0;

/// How far what is said of a move stands in from its name.
const INDENT: f64 = 10.0;

/// From line to line, in sizes of the letters.
const LEADING: f64 = 1.28;

/// The sheets of a dance.
pub(in crate::handout) fn sheets(material: &Material<'_>) -> Vec<Drawing> {
    let mut paper = Paper::new(material);
    let trail = Trail::new(&material.dance.grid, material.heard, material.dance.recording.length());
    paper.head(&trail);
    let badges = badges(&material.dance.grid);
    let rows = rows(material.dance);
    for row in &rows {
        let drawn = Drawn::new(material, &trail, row, MARGIN, (paper.inner, longest(&rows)));
        let head = if row.begins { HEAD } else { 0.0 };
        paper.need(head + drawn.height() + GAP);
        let badge = row.phrase.and_then(|phrase| badges.get(phrase.index));
        if row.begins {
            paper.phrase(row);
            if let Some(badge) = badge {
                let y = paper.y;
                badge.draw(paper.sheet(), MARGIN + 10.0, y + 10.0, 8.5, true);
            }
            paper.y += HEAD;
        }
        let y = paper.y;
        drawn.draw(paper.sheet(), y, badge);
        paper.y += drawn.height() + GAP;
    }
    // What is said at the end stays together where that takes no sheet more: else the last one might hold the rights alone.
    let mut apart = paper.clone();
    apart.need(f64::INFINITY);
    for paper in [&mut paper, &mut apart] {
        paper.moves();
        paper.notes();
        paper.rights();
    }
    if apart.sheets.len() <= paper.sheets.len() { apart.finish() } else { paper.finish() }
}

/// The sheets so far, and where the last one goes on.
#[derive(Clone)]
struct Paper<'a> {
    material: &'a Material<'a>,
    sheets: Vec<Drawing>,
    y: f64,
    inner: f64,
}

impl<'a> Paper<'a> {
    fn new(material: &'a Material<'a>) -> Self {
        let (width, height) = material.paper.size();
        let first = Drawing::new(width, height, &title(material));
        Self { material, sheets: vec![first], y: MARGIN, inner: width - 2.0 * MARGIN }
    }

    /// The sheet that is drawn on.
    fn sheet(&mut self) -> &mut Drawing {
        let last = self.sheets.len() - 1;
        // There is a first sheet from the beginning, and none is ever taken away.
        &mut self.sheets[last]
    }

    /// Begins a new sheet when less than `height` is left on this one.
    fn need(&mut self, height: f64) {
        let (wide, high) = self.material.paper.size();
        if self.y + height > high - MARGIN - 10.0 && self.y > MARGIN {
            self.sheets.push(Drawing::new(wide, high, &title(self.material)));
            self.y = MARGIN;
        }
    }

    /// Lines of text, wrapped, from `indent` on; a new sheet where they need one.
    fn text(&mut self, role: &'static str, setting: Setting, indent: f64, text: &str) {
        let leading = setting.size * LEADING;
        for line in wrapped(text, setting.size, setting.weight, self.inner - indent) {
            self.need(leading);
            self.y += leading;
            let at = (MARGIN + indent, self.y - 0.28 * setting.size);
            self.sheet().words(role, at, setting, &line);
        }
    }

    /// A heading, which is never left alone at the foot of a sheet.
    fn heading(&mut self, text: &str, with: f64) {
        self.need(28.0 + with);
        self.y += 22.0;
        let (y, inner) = (self.y, self.inner);
        let sheet = self.sheet();
        sheet.words("heading", (MARGIN, y), Setting::bold(14.0), text);
        sheet.line("rule", (MARGIN, y + 3.5), (MARGIN + inner, y + 3.5), Pen::solid(Ink::BLACK, 0.8));
        self.y += 8.0;
    }

    /// Title, details, the whole trail and the cautions.
    fn head(&mut self, trail: &Trail) {
        let title = fitted(&self.material.dance.title, Weight::Bold, self.inner, 2, &[24.0, 20.0, 16.0]);
        for line in &title.lines {
            self.y += title.size;
            let y = self.y - 2.0;
            self.sheet().words("title", (MARGIN, y), Setting::bold(title.size), line);
        }
        let facts = facts::facts(self.material.dance);
        let facts: Vec<String> =
            facts.into_iter().map(|(label, value)| format!("{label}: {value}")).collect();
        self.y += 2.0;
        self.text("facts", Setting::plain(10.0), 0.0, &facts.join("  \u{B7}  "));
        self.y += 8.0;
        let (y, inner, material) = (self.y, self.inner, self.material);
        self.y += overview(self.sheet(), material, trail, MARGIN, y, inner) + 4.0;
        self.text("key", Setting::plain(8.0), 0.0, KEY);
        self.y += 6.0;
        let lines: Vec<String> = GENERAL
            .iter()
            .flat_map(|caution| {
                let lines = wrapped(caution, 9.0, Weight::Regular, inner - 28.0);
                lines
                    .into_iter()
                    .enumerate()
                    .map(|(n, line)| if n == 0 { format!("\u{2022} {line}") } else { format!("   {line}") })
            })
            .collect();
        let high = 11.5 * lines.len() as f64 + 22.0;
        let y = self.y;
        let sheet = self.sheet();
        let place = Path::rectangle(MARGIN, y, inner, high, 4.0);
        sheet.shape("cautions", place, Ink::WHITE, Pen::solid(Ink::BLACK, 1.2));
        sheet.words("caution", (MARGIN + 8.0, y + 13.0), Setting::bold(10.0), "Before you dance");
        for (n, line) in lines.iter().enumerate() {
            let at = (MARGIN + 8.0, y + 25.0 + 11.5 * n as f64);
            sheet.words("caution", at, Setting::plain(9.0), line);
        }
        self.y += high + 12.0;
    }

    /// The line over a phrase: which one, when, and what it is like.
    fn phrase(&mut self, row: &Row<'_>) {
        let grid = &self.material.dance.grid;
        let clock = grid.seconds_at(row.from).minutes();
        let y = self.y + 14.0;
        let right = MARGIN + self.inner;
        let (named, like, indent) = match row.phrase {
            None => (format!("pickup, at {clock}"), String::new(), 0.0),
            Some(span) => {
                let middle = grid.tempo_at(Beat(0.5 * (span.start.0 + span.end.0)));
                (
                    format!(
                        "phrase {} ({}), at {clock}, {} counts",
                        span.index + 1,
                        span.letter,
                        span.counts().0
                    ),
                    like::words(self.material.heard, span.index, middle),
                    26.0,
                )
            }
        };
        let named = fitted(&named, Weight::Bold, 0.5 * self.inner, 1, &[10.5, 9.0, 8.0]);
        let taken = indent + width(&named.lines.concat(), named.size, Weight::Bold) + 12.0;
        let like = fitted(&like, Weight::Regular, self.inner - taken, 1, &[10.0, 9.0, 8.0]);
        let sheet = self.sheet();
        sheet.words("phrase", (MARGIN + indent, y), Setting::bold(named.size), &named.lines.concat());
        sheet.words("like", (right, y), Setting::plain(like.size).end(), &like.lines.concat());
    }

    /// Every move that is danced, with its gentle versions and its caution.
    fn moves(&mut self) {
        let moves = moves_used(self.material.dance);
        if moves.is_empty() {
            return;
        }
        self.heading("The moves, and how to do them sitting or gently", 60.0);
        let wide = 0.5 * (self.inner - BETWEEN);
        let entries: Vec<Vec<Said>> = moves.into_iter().map(|entry| said(entry, wide)).collect();
        // Two side by side, read from left to right: what a sheet for a stand says last takes little of it.
        for pair in entries.chunks(2) {
            let height = |entry: &Vec<Said>| entry.iter().map(Said::leading).sum::<f64>();
            let high = pair.iter().map(height).fold(0.0, f64::max) + 4.0;
            self.need(high);
            for (left, entry) in [MARGIN, MARGIN + wide + BETWEEN].into_iter().zip(pair) {
                let mut y = self.y + 3.0;
                for line in entry {
                    y += line.leading();
                    let at = (left + line.indent, y - 0.28 * line.setting.size);
                    self.sheet().words(line.role, at, line.setting, &line.words);
                }
            }
            self.y += high;
        }
        let long: Vec<String> = self
            .material
            .dance
            .cues
            .iter()
            .filter(|cue| self.material.dance.move_of(cue).is_none())
            .map(|cue| words_of(self.material, cue))
            .collect();
        if !long.is_empty() {
            self.text(
                "how",
                Setting::plain(10.0),
                0.0,
                &format!("In the teacher's own words: {}.", long.join("; ")),
            );
        }
    }

    /// The teacher's notes, when she asked for them.
    fn notes(&mut self) {
        let notes = self.material.dance.notes.as_str();
        if !self.material.notes || notes.trim().is_empty() {
            return;
        }
        self.heading("Notes", 30.0);
        for paragraph in notes.lines() {
            self.text("notes", Setting::plain(10.0), 0.0, paragraph);
        }
    }

    fn rights(&mut self) {
        self.heading("Rights in the recording", 40.0);
        for line in rights::note(self.material.dance.recording.year) {
            self.text("rights", Setting::plain(9.0), 0.0, &line);
            self.y += 2.0;
        }
    }

    /// The sheets with their numbers.
    fn finish(mut self) -> Vec<Drawing> {
        let count = self.sheets.len();
        let right = MARGIN + self.inner;
        for (index, sheet) in self.sheets.iter_mut().enumerate() {
            let y = sheet.height - MARGIN + 12.0;
            let grey = Setting::plain(8.5).in_ink(Ink::GREY);
            let name = fitted(&sheet.title, Weight::Regular, 0.8 * self.inner, 1, &[8.5]);
            sheet.words("foot", (MARGIN, y), grey, &name.lines.concat());
            sheet.words("foot", (right, y), grey.end(), &format!("{} of {count}", index + 1));
        }
        self.sheets
    }
}

/// A line of what is said of a move.
struct Said {
    role: &'static str,
    setting: Setting,
    indent: f64,
    words: String,
}

impl Said {
    /// Points from the line before it.
    fn leading(&self) -> f64 {
        self.setting.size * LEADING
    }
}

/// A move with its gentle versions and its caution, in lines of some points.
fn said(entry: &Move, wide: f64) -> Vec<Said> {
    let mut lines = Vec::new();
    let mut say = |role, setting: Setting, indent: f64, text: &str| {
        for words in wrapped(text, setting.size, setting.weight, wide - indent) {
            lines.push(Said { role, setting, indent, words });
        }
    };
    say("move", Setting::bold(11.0), 0.0, &format!("{}  {}", entry.words, entry.sign));
    say("how", Setting::plain(10.0), INDENT, &entry.how);
    for (name, gentle) in [("Sitting", &entry.seated), ("Gently", &entry.low_impact)] {
        let text = format!("{name}: {} \u{2013} {}", gentle.words, gentle.how);
        say("gentle", Setting::plain(10.0), INDENT, &text);
    }
    if let Some(caution) = &entry.caution {
        say("caution", Setting::bold(10.0), INDENT, &format!("Take care: {caution}"));
    }
    lines
}

/// What the sheets are called.
pub(super) fn title(material: &Material<'_>) -> String {
    format!("{}: count sheet", material.dance.title)
}
