//! The landing chart: loudness, tempo and articulation over time, with the cues under them, the turns through them, and how
//! far each turn is from the cue nearest to it.

use super::drawing::{Drawing, Ink, Path, Pen, Setting, Weight, drawable, fitted, width};
use super::form::badges;
use super::hill::{Place, stacked};
use crate::check::{Landing, Report, turn_name};
use crate::dance::Dance;
use crate::listening::{Articulation, Listening};
use crate::units::{Beat, Seconds};

/// Margins in points.
const MARGIN: f64 = 34.0;

/// Room for the scales on the left.
const SCALE: f64 = 62.0;

/// A longer piece goes on in another row of panels.
const LONGEST_ROW: f64 = 75.0;

/// Rows of panels on a printed sheet.
const ROWS_A_SHEET: usize = 2;

const HEADER: f64 = 62.0;
const FOOTER: f64 = 26.0;
const LOUDNESS: f64 = 62.0;
const TEMPO: f64 = 50.0;
const LANE: f64 = 16.0;
const WORDS: f64 = 8.0;
const LEVEL: f64 = 11.0;
/// Rows of words that are drawn above and under the panels; further words are left out, their posts stay.
const MOST_LEVELS: usize = 4;

/// What a chart is made from.
#[derive(Debug, Clone, Copy)]
pub struct Chart<'a> {
    /// The dance.
    pub dance: &'a Dance,
    /// What was heard; without it only tempo and cues are drawn.
    pub heard: Option<&'a Listening>,
    /// What the check found.
    pub report: &'a Report,
}

impl Chart<'_> {
    /// The chart as one SVG. Ends with a newline.
    #[must_use]
    pub fn svg(&self) -> String {
        super::drawing::svg(&self.sheet(0, self.rows()))
    }

    /// The chart as a PDF, two rows of panels on a sheet.
    #[must_use]
    pub fn pdf(&self) -> Vec<u8> {
        let rows = self.rows();
        let sheets: Vec<Drawing> = (0..rows)
            .step_by(ROWS_A_SHEET)
            .map(|first| self.sheet(first, rows.min(first + ROWS_A_SHEET)))
            .collect();
        super::drawing::pdf(&self.title(), &sheets)
    }

    fn title(&self) -> String {
        format!("{}: landing chart", self.dance.title)
    }

    /// When the chart ends: with the recording, or the last beat where its length is not known.
    fn length(&self) -> f64 {
        let beats = self.dance.grid.seconds_at(self.dance.grid.end()).0;
        self.dance.recording.length().0.max(if self.dance.grid.is_empty() { 0.0 } else { beats }).max(1.0)
    }

    fn rows(&self) -> usize {
        (self.length() / LONGEST_ROW).ceil().clamp(1.0, 200.0) as usize
    }

    /// Some rows of panels on one sheet.
    fn sheet(&self, first: usize, end: usize) -> Drawing {
        let wide = super::Paper::A4.size().1;
        let row = self.length() / self.rows() as f64;
        let panels: Vec<Panels<'_>> = (first..end)
            .map(|index| Panels::new(self, index as f64 * row, (index + 1) as f64 * row, wide))
            .collect();
        let height = HEADER + FOOTER + panels.iter().map(Panels::height).sum::<f64>();
        let mut sheet = Drawing::new(wide, height, &self.title());
        sheet.about = summary(self.report);
        let inner = wide - 2.0 * MARGIN;
        let title = fitted(&self.title(), Weight::Bold, inner, 1, &[18.0, 14.0]);
        sheet.words("title", (MARGIN, 40.0), Setting::bold(title.size), &title.lines.concat());
        sheet.words("summary", (MARGIN, 56.0), Setting::plain(11.0), &summary(self.report));
        let mut top = HEADER;
        for panel in &panels {
            panel.draw(&mut sheet, top);
            top += panel.height();
        }
        let key = "Filled circle: the turn is met within one count. Ring with a cross: it is not. The number: counts from the \
                   turn to the nearest cue, + later, \u{2013} earlier. Loudness: thin, from moment to moment; thick, over three \
                   seconds.";
        let key = fitted(key, Weight::Regular, inner, 1, &[8.5, 8.0, 7.0]);
        sheet.words(
            "key",
            (MARGIN, height - 12.0),
            Setting::plain(key.size).in_ink(Ink::GREY),
            &key.lines.concat(),
        );
        sheet
    }
}

/// `5 of 6 turns met within one count, median distance 0.3 counts.`
fn summary(report: &Report) -> String {
    match (report.turns, report.median_distance) {
        (0, _) => "No turns to meet.".into(),
        (turns, None) => format!(
            "{} of {turns} turns met within one count; there is no cue to measure from.",
            report.turns_met
        ),
        (turns, Some(median)) => format!(
            "{} of {turns} turns met within one count, median distance {:.1} counts.",
            report.turns_met, median.0
        ),
    }
}

/// The panels of one stretch of time.
struct Panels<'a> {
    chart: &'a Chart<'a>,
    from: f64,
    until: f64,
    left: f64,
    right: f64,
    turns: Vec<(Landing, Place)>,
    cues: Vec<(usize, Place)>,
}

/// How many rows of words are drawn.
fn levels<'p>(places: impl Iterator<Item = &'p Place>) -> usize {
    places.map(|place| place.level + 1).max().unwrap_or(0).min(MOST_LEVELS)
}

/// A turn's name and its distance: `crescendo +0.3`.
fn label(landing: &Landing) -> String {
    let name = turn_name(landing.kind);
    match landing.off {
        None => format!("{name} (no cue)"),
        Some(off) => {
            let tenths = (off.0.abs() * 10.0).round() / 10.0;
            let sign = match () {
                () if tenths == 0.0 => "\u{B1}",
                () if off.0 > 0.0 => "+",
                () => "\u{2013}",
            };
            format!("{name} {sign}{tenths:.1}")
        }
    }
}

impl<'a> Panels<'a> {
    fn new(chart: &'a Chart<'a>, from: f64, until: f64, wide: f64) -> Self {
        let mut panels = Self {
            chart,
            from,
            until,
            left: MARGIN + SCALE,
            right: wide - MARGIN,
            turns: Vec::new(),
            cues: Vec::new(),
        };
        let grid = &chart.dance.grid;
        let here = |at: Seconds| at.0 >= from && at.0 < until;
        let turns: Vec<Landing> = chart
            .report
            .landings
            .iter()
            .copied()
            .filter(|landing| here(grid.seconds_at(landing.at)))
            .collect();
        let posts: Vec<(f64, f64, f64)> = turns
            .iter()
            .map(|turn| {
                // The sign before the word takes ten points.
                let post = panels.x(grid.seconds_at(turn.at));
                (post, width(&label(turn), WORDS, Weight::Bold) + 10.0, post)
            })
            .collect();
        panels.turns = turns.into_iter().zip(stacked(&posts, panels.right)).collect();
        let mut cues: Vec<usize> = (0..chart.dance.cues.len())
            .filter(|&index| {
                let at = chart.dance.cues[index].at;
                at.0.is_finite() && here(grid.seconds_at(at))
            })
            .collect();
        cues.sort_by(|&a, &b| chart.dance.cues[a].at.total_cmp(&chart.dance.cues[b].at));
        let posts: Vec<(f64, f64, f64)> = cues
            .iter()
            .map(|&index| {
                let cue = &chart.dance.cues[index];
                let words = drawable(chart.dance.words_of(cue));
                let post = panels.x(grid.seconds_at(cue.at));
                (post, width(&words, WORDS, Weight::Regular).min(140.0), post)
            })
            .collect();
        panels.cues = cues.into_iter().zip(stacked(&posts, panels.right)).collect();
        panels
    }

    fn x(&self, at: Seconds) -> f64 {
        self.left + (at.0 - self.from) / (self.until - self.from) * (self.right - self.left)
    }

    fn above(&self) -> f64 {
        LEVEL * levels(self.turns.iter().map(|(_, place)| place)) as f64 + 6.0
    }

    fn below(&self) -> f64 {
        LEVEL * levels(self.cues.iter().map(|(_, place)| place)).max(1) as f64 + 8.0
    }

    fn height(&self) -> f64 {
        LANE + self.above() + LOUDNESS + 6.0 + TEMPO + 4.0 + LANE + self.below() + LANE + 12.0
    }

    fn draw(&self, sheet: &mut Drawing, top: f64) {
        self.phrases(sheet, top);
        let loudness = top + LANE + self.above();
        self.loudness(sheet, loudness);
        let tempo = loudness + LOUDNESS + 6.0;
        self.tempo(sheet, tempo);
        let lane = tempo + TEMPO + 4.0;
        let cues = lane + LANE;
        // The words of the notes lie over the posts of the turns, not under them.
        self.turns(sheet, loudness, cues);
        self.articulation(sheet, lane);
        self.cues(sheet, cues);
        self.time(sheet, cues + self.below());
    }

    fn name(&self, sheet: &mut Drawing, y: f64, words: &str) {
        sheet.words("scale", (MARGIN, y), Setting::bold(8.5), words);
    }

    /// The letters of the form along the top.
    fn phrases(&self, sheet: &mut Drawing, top: f64) {
        let grid = &self.chart.dance.grid;
        self.name(sheet, top + 11.0, "form");
        for (span, badge) in grid.phrase_spans().zip(badges(grid)) {
            let (from, until) = (grid.seconds_at(span.start), grid.seconds_at(span.end));
            let (left, right) = (self.x(from).max(self.left), self.x(until).min(self.right));
            if right - left < 1.0 {
                continue;
            }
            let place = Path::rectangle(left, top, right - left, LANE - 2.0, 2.0);
            sheet.shape("phrase", place, badge.tint(), Pen::solid(Ink::BLACK, 0.6));
            let letter = fitted(badge.letter, Weight::Bold, right - left - 2.0, 1, &[9.5, 7.0]);
            let setting = Setting::bold(letter.size).middle();
            sheet.words("letter", (0.5 * (left + right), top + 10.5), setting, &letter.lines.concat());
        }
    }

    /// A panel's frame and its scale, from `low` at the foot to `high` at the top.
    fn frame(&self, sheet: &mut Drawing, top: f64, height: f64, (low, high): (f64, f64), every: f64) {
        let place = Path::rectangle(self.left, top, self.right - self.left, height, 0.0);
        sheet.shape("panel", place, Ink::WHITE, Pen::solid(Ink::GREY, 0.6));
        let mut value = (low / every).ceil() * every;
        while value <= high + 1e-9 {
            let y = top + height * (high - value) / (high - low);
            sheet.line("level", (self.left, y), (self.right, y), Pen::solid(Ink::PALE, 0.4));
            let setting = Setting::plain(7.5).end().in_ink(Ink::GREY);
            sheet.words("scale", (self.left - 3.0, y + 2.7), setting, &format!("{:.0}", value + 0.0));
            value += every;
        }
    }

    fn loudness(&self, sheet: &mut Drawing, top: f64) {
        self.name(sheet, top + 10.0, "loudness");
        sheet.words("scale", (MARGIN, top + 20.0), Setting::plain(7.5).in_ink(Ink::GREY), "LU");
        let Some(heard) = self.chart.heard else {
            self.frame(sheet, top, LOUDNESS, (-10.0, 0.0), 10.0);
            let setting = Setting::plain(9.0).in_ink(Ink::GREY);
            sheet.words("missing", (self.left + 8.0, top + 34.0), setting, "the recording was not heard");
            return;
        };
        let base = heard.loudness.integrated.map_or(-23.0, |level| level.0);
        let mut levels: Vec<f64> = heard
            .loudness
            .short_term
            .values
            .iter()
            .map(|&value| f64::from(value) - base)
            .filter(|value| *value > -50.0)
            .collect();
        levels.sort_by(f64::total_cmp);
        let low = levels.get(levels.len() / 50).copied().unwrap_or(-10.0);
        let high = levels.last().copied().unwrap_or(0.0);
        let every = if high - low > 20.0 { 10.0 } else { 5.0 };
        let scale = (((low - 1.0) / 5.0).floor() * 5.0, ((high + 1.0) / 5.0).ceil() * 5.0);
        self.frame(sheet, top, LOUDNESS, scale, every);
        for (contour, pen) in [
            (&heard.loudness.momentary, Pen::solid(Ink::SKY, 0.6)),
            (&heard.loudness.short_term, Pen::solid(Ink::BLACK, 1.3)),
        ] {
            if contour.step.0 > 0.0 {
                let values =
                    contour.values.iter().enumerate().map(|(index, &value)| {
                        (Seconds(index as f64 * contour.step.0), f64::from(value) - base)
                    });
                self.curve(sheet, "loudness", top, LOUDNESS, scale, values, pen);
            }
        }
    }

    fn tempo(&self, sheet: &mut Drawing, top: f64) {
        self.name(sheet, top + 10.0, "tempo");
        sheet.words("scale", (MARGIN, top + 20.0), Setting::plain(7.5).in_ink(Ink::GREY), "counts/min");
        let grid = &self.chart.dance.grid;
        let values: Vec<(Seconds, f64)> = grid
            .beats()
            .iter()
            .enumerate()
            .map(|(beat, &at)| (at, grid.tempo_at(Beat::from(beat)).0))
            .collect();
        let low = values.iter().map(|value| value.1).fold(f64::INFINITY, f64::min).min(400.0);
        let high = values.iter().map(|value| value.1).fold(0.0, f64::max).clamp(low, 1000.0);
        let middle = 0.5 * (low + high);
        let half = (0.5 * (high - low) + 4.0).max(12.0);
        let every = if half > 40.0 { 40.0 } else { 10.0 };
        let scale = (middle - half, middle + half);
        self.frame(sheet, top, TEMPO, scale, every);
        self.curve(sheet, "tempo", top, TEMPO, scale, values.into_iter(), Pen::solid(Ink::VERMILION, 1.4));
    }

    /// A curve inside its panel; what lies above or below runs along the edge.
    #[allow(clippy::too_many_arguments, reason = "a curve, its panel and its pen")]
    fn curve(
        &self,
        sheet: &mut Drawing,
        role: &'static str,
        top: f64,
        height: f64,
        (low, high): (f64, f64),
        values: impl Iterator<Item = (Seconds, f64)>,
        pen: Pen,
    ) {
        let points = values
            .filter(|(at, value)| at.0 >= self.from && at.0 <= self.until && value.is_finite())
            .map(|(at, value)| (self.x(at), top + height * (high - value.clamp(low, high)) / (high - low)));
        sheet.stroke(role, Path::through(points), pen);
    }

    /// How notes are joined, phrase by phrase: as dots, dashes or a line, and in a word where there is room.
    fn articulation(&self, sheet: &mut Drawing, top: f64) {
        self.name(sheet, top + 10.5, "notes");
        let Some(heard) = self.chart.heard else { return };
        let grid = &heard.grid;
        for (span, phrase) in grid.phrase_spans().zip(&heard.phrases) {
            let (from, until) = (grid.seconds_at(span.start), grid.seconds_at(span.end));
            let (left, right) = (self.x(from).max(self.left), self.x(until).min(self.right));
            if right - left < 3.0 {
                continue;
            }
            let (word, pen) = match phrase.articulation {
                Articulation::Staccato => ("short", Some(Pen::dashed(Ink::BLACK, 2.0, 2.0, 4.0))),
                Articulation::Detached => ("separate", Some(Pen::dashed(Ink::BLACK, 2.0, 7.0, 4.0))),
                Articulation::Legato => ("smooth", Some(Pen::solid(Ink::BLACK, 2.0))),
                Articulation::Unclear => ("unclear", None),
            };
            if let Some(pen) = pen {
                sheet.line("articulation", (left + 1.0, top + 4.0), (right - 2.0, top + 4.0), pen);
            }
            let room = width(word, 7.5, Weight::Regular);
            if room < right - left - 4.0 {
                sheet.fill("under", Path::rectangle(left + 1.0, top + 7.0, room + 2.0, 8.0, 0.0), Ink::WHITE);
                sheet.words("articulation", (left + 2.0, top + 13.5), Setting::plain(7.5), word);
            }
        }
    }

    /// The turns through all panels: their word, their distance, and whether they are met.
    fn turns(&self, sheet: &mut Drawing, top: f64, bottom: f64) {
        for (landing, place) in &self.turns {
            let x = place.post;
            let row = place.level.min(MOST_LEVELS);
            let base = top - 4.0 - LEVEL * row as f64;
            sheet.line("turn", (x, base - 7.0), (x, bottom + 4.0), Pen::dashed(Ink::BLUE, 1.0, 4.0, 2.0));
            if place.level < MOST_LEVELS {
                let (cx, cy) = (place.x + 4.0, base - 3.0);
                if landing.met {
                    sheet.fill("met", Path::circle(cx, cy, 3.2), Ink::BLACK);
                } else {
                    sheet.shape(
                        "missed",
                        Path::circle(cx, cy, 3.2),
                        Ink::WHITE,
                        Pen::solid(Ink::VERMILION, 1.0),
                    );
                    for side in [-1.0, 1.0] {
                        let (from, to) = ((cx - 2.2, cy - 2.2 * side), (cx + 2.2, cy + 2.2 * side));
                        sheet.line("missed", from, to, Pen::solid(Ink::VERMILION, 1.0));
                    }
                }
                sheet.words("turn", (place.x + 10.0, base), Setting::bold(WORDS), &label(landing));
            }
            // The way from the turn to its cue.
            let cue = landing.cue.and_then(|index| self.chart.dance.cues.get(index));
            if let Some(cue) = cue {
                let to = self.x(self.chart.dance.grid.seconds_at(cue.at)).clamp(self.left, self.right);
                if (to - x).abs() > 1.0 {
                    sheet.line("distance", (x, bottom + 3.0), (to, bottom + 3.0), Pen::solid(Ink::BLUE, 1.6));
                }
            }
        }
    }

    /// The cues under the panels, with their words.
    fn cues(&self, sheet: &mut Drawing, top: f64) {
        self.name(sheet, top + LEVEL + 4.0, "cues");
        sheet.line("lane", (self.left, top), (self.right, top), Pen::solid(Ink::GREY, 0.6));
        for (index, place) in &self.cues {
            let cue = &self.chart.dance.cues[*index];
            let row = place.level.min(MOST_LEVELS - 1);
            let base = top + 4.0 + LEVEL * (row + 1) as f64;
            sheet.line("cue", (place.post, top), (place.post, base), Pen::solid(Ink::BLACK, 1.4));
            if place.level < MOST_LEVELS {
                let words =
                    fitted(self.chart.dance.words_of(cue), Weight::Regular, place.room + 0.1, 1, &[WORDS]);
                sheet.words("cue", (place.x, base), Setting::plain(WORDS), &words.lines.concat());
            }
        }
    }

    /// The clock along the foot.
    fn time(&self, sheet: &mut Drawing, top: f64) {
        self.name(sheet, top + 11.0, "time");
        sheet.line("time", (self.left, top), (self.right, top), Pen::solid(Ink::GREY, 0.6));
        let every = if self.until - self.from > 40.0 { 5.0 } else { 1.0 };
        let mut tick = (self.from / every).ceil();
        while tick * every <= self.until + 1e-9 {
            let at = Seconds(tick * every);
            let x = self.x(at);
            let labelled = (tick as i64) % if every > 1.0 { 2 } else { 5 } == 0;
            sheet.line(
                "time",
                (x, top),
                (x, top + if labelled { 4.0 } else { 2.0 }),
                Pen::solid(Ink::GREY, 0.6),
            );
            if labelled && x < self.right - 6.0 {
                let setting = Setting::plain(7.5).middle();
                sheet.words("time", (x, top + 11.5), setting, &at.minutes());
            }
            tick += 1.0;
        }
    }
}
