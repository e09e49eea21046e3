//! Drawing the repairing: the counts in their phrases, what was said of them, and how sure each bar is.
//!
//! Nothing here changes anything: the picture is a function of the state and the window.

use super::keys::{Action, KEYS, chapters};
use super::state::Repairing;
use super::told::Readiness;
use crate::dance::Dance;
use crate::grid::mend::compare;
use crate::grid::{Anchor, Grid};
use crate::listening::Sureness;
use crate::screen::colours::{Ink, Palette};
use crate::screen::fitting::cut;
use crate::screen::help;
use crate::screen::keys::Binding;
use crate::sound::Speed;
use crate::units::{Beat, Seconds};
use crate::words::wrapped;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};
use std::ops::Range;
use unicode_width::UnicodeWidthStr;

/// The smallest window.
const LEAST: (u16, u16) = (40, 12);
/// Columns of the margin in which phrases are named, and in a narrow window.
const MARGIN: u16 = 11;
const NARROW: (u16, u16) = (60, 8);
/// Rows of one line of counts: the counts, what was said of them, how sure the bars are, and the moves.
const ROWS: u16 = 4;
/// The same without the moves, where there is little room, and how many rows that is.
const FEW_ROWS: u16 = 3;
const LITTLE: u16 = 8;
/// From here on a bar is called sure, and from here on fair: the values at which the pulse counts as clear, and at which
/// the check stops warning.
const SURE: f32 = 0.7;
const FAIR: f32 = 0.5;
/// A mark this near to a beat belongs to it; a tap may be farther off.
const AT: f64 = 0.03;
const TAPPED: f64 = 0.13;
/// A beat that moved by less is where it was.
const MOVED: f64 = 0.005;

/// What is likely to be wanted while the music plays.
const WHILE_PLAYING: [Action; 6] =
    [Action::Play, Action::Tap, Action::Round, Action::Slower, Action::Clicks, Action::Undo];

/// One line of counts.
struct Line {
    phrase: Option<usize>,
    /// Whether the phrase begins here.
    first: bool,
    beats: Range<usize>,
}

/// Draws the mode into an area.
pub fn view(state: &Repairing, dance: &Dance, palette: Palette, area: Rect, buffer: &mut Buffer) {
    buffer.set_style(area, palette.ground());
    if area.width < LEAST.0 || area.height < LEAST.1 {
        put(buffer, area, 0, 0, "window too small", palette.style(Ink::Mark));
        return;
    }
    let page = Page { state, dance, palette, grid: state.shown(dance) };
    if let Some(page) = state.help {
        help::draw(&chapters(), "repairing the beats: all keys", page, palette, area, buffer);
        return;
    }
    page.head(area, buffer);
    let body = body(area);
    match state.listed {
        Some(at) => page.list(at, body, buffer),
        None => page.counts(body, buffer),
    }
    page.foot(area, buffer);
}

/// Writes at a place of an area, cut at its edge; gives the column after.
fn put(buffer: &mut Buffer, area: Rect, x: u16, y: u16, text: &str, style: Style) -> u16 {
    if x >= area.width || y >= area.height {
        return x;
    }
    let (end, _) = buffer.set_stringn(area.x + x, area.y + y, text, usize::from(area.width - x), style);
    end - area.x
}

/// Columns of the margin in a window of some columns.
fn margin(width: u16) -> u16 {
    if width < NARROW.0 { NARROW.1 } else { MARGIN }
}

/// Columns of one count in a window of some columns. It does not depend on the phrases, which corrections change: before and
/// after are to be compared.
fn cell(width: u16) -> u16 {
    match width {
        240.. => 8,
        160.. => 6,
        _ => 4,
    }
}

/// Where the counts stand in a window.
fn body(area: Rect) -> Rect {
    Rect { y: area.y + 2, height: area.height - 5, ..area }
}

/// The beat whose count, mark or bar is at a column and row of a window of some columns and rows.
#[must_use]
pub fn beat_under(
    state: &Repairing,
    dance: &Dance,
    (width, height): (u16, u16),
    (column, row): (u16, u16),
) -> Option<usize> {
    let area = Rect { x: 0, y: 0, width, height };
    if width < LEAST.0 || height < LEAST.1 || state.help.is_some() || state.listed.is_some() {
        return None;
    }
    let page = Page { state, dance, palette: Palette::default(), grid: state.shown(dance) };
    let body = body(area);
    let row = row.checked_sub(body.y).filter(|row| *row < body.height)?;
    let count = usize::from(column.checked_sub(margin(width))? / cell(width));
    let (lines, top) = page.seen(body);
    let line = lines.get(top + usize::from(row / Page::rows(body)))?;
    Some(line.beats.start + count).filter(|beat| line.beats.contains(beat))
}

/// How many pages the help has in a window of some columns and rows.
#[must_use]
pub fn help_pages(window: (u16, u16)) -> usize {
    help::pages(&chapters(), window)
}

struct Page<'a> {
    state: &'a Repairing,
    dance: &'a Dance,
    palette: Palette,
    grid: &'a Grid,
}

impl Page<'_> {
    fn ink(&self, ink: Ink) -> Style {
        self.palette.style(ink)
    }

    /// Rows of a line of counts in a body of some rows.
    fn rows(body: Rect) -> u16 {
        if body.height < LITTLE { FEW_ROWS } else { ROWS }
    }

    fn head(&self, area: Rect, buffer: &mut Buffer) {
        let title = put(buffer, area, 1, 0, "repairing the beats", self.ink(Ink::Now));
        put(buffer, area, title + 2, 0, &self.dance.title, self.ink(Ink::Quiet));
        let here = Beat::from(self.state.cursor);
        let shown = if self.state.showing_before { "AS IT WAS BEFORE" } else { "" };
        let at = if self.state.playing { self.state.at } else { self.grid.seconds_at(here) };
        let mut playing = if self.state.playing { "playing" } else { "paused" }.to_owned();
        if self.state.round {
            playing.push_str(", round");
        }
        if self.state.speed != Speed::NORMAL {
            playing.push_str(&format!(", {} %", self.state.speed.in_percent()));
        }
        let place = format!("{}  {}  {at}  {playing}", self.grid.count_at(here), self.grid.bar_at(here));
        let width = u16::try_from(place.width()).unwrap_or(u16::MAX);
        let from = put(buffer, area, 1, 1, shown, self.ink(Ink::Mark));
        let x = area.width.saturating_sub(width + 1).max(from + 1);
        put(buffer, area, x, 1, &place, self.ink(Ink::Quiet));
    }

    /// The counts in lines: a phrase begins a new one, and a long phrase goes on in the next, at a bar where it can.
    fn lines(&self, width: u16) -> Vec<Line> {
        let room = usize::from(((width - margin(width)) / cell(width)).max(1));
        let mut phrases: Vec<(Option<usize>, Range<usize>)> = Vec::new();
        let first = self.grid.phrases().first().map_or(self.grid.len(), |phrase| phrase.start);
        if first > 0 {
            phrases.push((None, 0..first));
        }
        phrases.extend(
            self.grid.phrase_spans().map(|span| (Some(span.index), span.start.index()..span.end.index())),
        );
        let mut lines = Vec::new();
        for (phrase, beats) in phrases {
            let mut from = beats.start;
            while from < beats.end {
                let mut to = (from + room).min(beats.end);
                if to < beats.end
                    && let Some(bar) = self.grid.bars().iter().rev().find(|bar| **bar <= to)
                    && *bar > from
                {
                    to = *bar;
                }
                lines.push(Line { phrase, first: from == beats.start, beats: from..to });
                from = to;
            }
        }
        lines
    }

    /// All lines, and the first that is seen: the cursor's stands in the middle.
    fn seen(&self, area: Rect) -> (Vec<Line>, usize) {
        let lines = self.lines(area.width);
        let fit = usize::from((area.height / Self::rows(area)).max(1));
        let here = lines.iter().position(|line| line.beats.contains(&self.state.cursor)).unwrap_or(0);
        let top = here.saturating_sub(fit / 2).min(lines.len().saturating_sub(fit));
        (lines, top)
    }

    fn counts(&self, area: Rect, buffer: &mut Buffer) {
        let (lines, top) = self.seen(area);
        if lines.is_empty() {
            put(
                buffer,
                area,
                1,
                1,
                "no beats were heard: press space, and tap along with t",
                self.ink(Ink::Mark),
            );
            return;
        }
        let rows = Self::rows(area);
        let fit = usize::from((area.height / rows).max(1));
        for (row, line) in lines.iter().skip(top).take(fit).enumerate() {
            let y = row as u16 * rows;
            self.line(line, Rect { y: area.y + y, height: rows.min(area.height - y), ..area }, buffer);
        }
    }

    fn line(&self, line: &Line, area: Rect, buffer: &mut Buffer) {
        let label = match line.phrase {
            Some(index) if line.first => {
                format!("{:>3} {}", index + 1, self.grid.phrases()[index].letter)
            }
            None if line.first => "pickup".into(),
            _ => String::new(),
        };
        put(buffer, Rect { width: margin(area.width) - 1, ..area }, 1, 0, &label, self.ink(Ink::Quiet));
        for (n, beat) in line.beats.clone().enumerate() {
            let x = margin(area.width) + n as u16 * cell(area.width);
            self.beat(beat, x, area, buffer);
        }
        if area.height >= ROWS {
            self.moves(line, area, buffer);
        }
    }

    /// The moves under their counts, quietly: they are not what is being put right, but they follow it.
    fn moves(&self, line: &Line, area: Rect, buffer: &mut Buffer) {
        let cues = if self.state.showing_before { &self.state.cues_before } else { &self.dance.cues };
        let (low, high) = (line.beats.start as f64, line.beats.end as f64);
        let column = |at: f64| margin(area.width) + ((at - low) * f64::from(cell(area.width))).round() as u16;
        for cue in cues.iter().take_while(|cue| cue.at.0 < high) {
            let (from, until) = (cue.at.0.max(low), cue.end().0.min(high));
            // Of a cue whose place is no number nothing is drawn.
            let seen = until - from > 1e-3;
            if !seen {
                continue;
            }
            let begins = cue.at.0 >= low - 1e-3;
            let width = usize::from(column(until).saturating_sub(column(from) + 1)).max(1);
            let words = self.dance.words_of(cue);
            // A word of two letters and a sign that it was cut says nothing.
            let words = match (begins, width < 6) {
                (true, _) => format!("[{words} "),
                (false, true) => String::new(),
                (false, false) => format!(".. {words} "),
            };
            let mut text = cut(&words, width as u16);
            let rest = width.saturating_sub(text.width());
            text.extend(std::iter::repeat_n('-', rest));
            put(buffer, area, column(from) + 1, 3, &text, self.ink(Ink::Crossed));
        }
    }

    fn beat(&self, beat: usize, x: u16, area: Rect, buffer: &mut Buffer) {
        let count = self.grid.count_at(Beat::from(beat)).count;
        let bar = self.grid.bars().binary_search(&beat).ok();
        let edge = if bar.is_some() { "|" } else { " " };
        put(buffer, area, x, 0, edge, self.ink(Ink::Quiet));
        let ink = if count == 1 { Ink::Now } else { Ink::Next };
        let mut style = self.ink(ink);
        if beat == self.state.cursor {
            style = style.add_modifier(Modifier::REVERSED | Modifier::BOLD);
        }
        put(buffer, area, x + 1, 0, &format!("{count:>2}"), style);
        let marks = self.marks(beat);
        put(buffer, area, x + 1, 1, &marks, self.ink(Ink::Mark));
        let sure = bar.filter(|_| !self.state.showing_before).and_then(|bar| self.state.sureness.get(bar));
        if let Some(&sure) = sure {
            let next = bar.and_then(|bar| self.grid.bars().get(bar + 1)).copied().unwrap_or(self.grid.len());
            let room = (next - beat) * usize::from(cell(area.width)) - 1;
            let (word, ink) = called(sure);
            let shown: String = word.chars().take(room).collect();
            put(buffer, area, x + 1, 2, &shown, self.ink(ink));
        }
    }

    /// What was said of a beat, and whether it is elsewhere than before.
    fn marks(&self, beat: usize) -> String {
        let at = self.grid.beats()[beat];
        let near = |time: Seconds, within: f64| (time.0 - at.0).abs() <= within;
        let mut marks = String::new();
        let mut mark = |sign: char| {
            if !marks.contains(sign) && marks.len() < 2 {
                marks.push(sign);
            }
        };
        for anchor in self.dance.anchors.iter().filter(|_| !self.state.showing_before) {
            match *anchor {
                Anchor::Beat { at } if near(at, AT) => mark('+'),
                Anchor::Hold { at, .. } if near(at, AT) => mark('~'),
                Anchor::Tap { at } if near(at, TAPPED) => mark('t'),
                _ => {}
            }
        }
        if !self.state.showing_before && !self.state.comparison.is_nothing() {
            let before = self.state.before.beats();
            let next = before.partition_point(|beat| beat.0 < at.0);
            let nearest = [next.checked_sub(1), (next < before.len()).then_some(next)]
                .into_iter()
                .flatten()
                .map(|beat| at.0 - before[beat].0)
                .min_by(|a, b| a.abs().total_cmp(&b.abs()));
            match nearest {
                Some(by) if by.abs() < MOVED => {}
                Some(by) if by.abs() > 0.25 * self.grid.tempo_at(Beat::from(beat)).beat_length().0 => {
                    mark('n')
                }
                Some(by) if by > 0.0 => mark('>'),
                Some(_) => mark('<'),
                None => mark('n'),
            }
        }
        marks
    }

    fn list(&self, at: usize, area: Rect, buffer: &mut Buffer) {
        let fit = usize::from(area.height.saturating_sub(1)).max(1);
        let top = at.saturating_sub(fit - 1);
        put(buffer, area, 1, 0, "what you have said of the beats, oldest first", self.ink(Ink::Quiet));
        for (row, (index, anchor)) in self.dance.anchors.iter().enumerate().skip(top).take(fit).enumerate() {
            let sign = if index == at { ">" } else { " " };
            let style = self.ink(if index == at { Ink::Now } else { Ink::Quiet });
            put(buffer, area, 1, row as u16 + 1, &format!("{sign} {anchor}"), style);
        }
    }

    fn foot(&self, area: Rect, buffer: &mut Buffer) {
        let y = area.height - 3;
        let since = &self.state.comparison;
        let marks = "t tapped  + placed  ~ held  < earlier  > later  n new";
        let since = if self.state.showing_before {
            format!("b shows the beats as they are now: {}", compare(&self.state.before, &self.dance.grid))
        } else if since.is_nothing() {
            marks.to_owned()
        } else {
            format!("since you came: {since}")
        };
        let (text, ink) = match (&self.state.typing, &self.state.readiness) {
            (Some(digits), _) => {
                (format!("phrases of how many counts? {digits}_ (enter; esc leaves it)"), Ink::Mark)
            }
            (None, _) if self.state.trouble.is_some() => {
                (self.state.trouble.clone().unwrap_or_default(), Ink::Mark)
            }
            (None, Readiness::Listening(part)) if self.state.notice.is_none() => {
                (format!("listening to the recording: {:.0} %", part * 100.0), Ink::Quiet)
            }
            (None, Readiness::Never(why)) if self.state.notice.is_none() => (why.clone(), Ink::Mark),
            (None, _) => (self.state.notice.clone().unwrap_or_default(), Ink::Mark),
        };
        // A sentence that needs both rows has them: its end says what to do.
        let width = area.width.saturating_sub(2);
        let mut said = wrapped(&text, usize::from(width));
        if said.len() > 2 {
            said[1] = cut(&format!("{} …", said[1]), width);
        }
        if let [first, second, ..] = &said[..] {
            put(buffer, area, 1, y, first, self.ink(ink));
            put(buffer, area, 1, y + 1, second, self.ink(ink));
        } else {
            put(buffer, area, 1, y, &cut(&since, width), self.ink(Ink::Quiet));
            put(buffer, area, 1, y + 1, &text, self.ink(ink));
        }
        let keys: Vec<String> = if self.state.listed.is_some() {
            ["up, down choose", "x takes it back", "enter goes there", "l closes"].map(str::to_owned).to_vec()
        } else {
            self.wanted_now()
        };
        self.key_line(&keys, Rect { y: area.y + y + 2, height: 1, ..area }, buffer);
    }

    /// Keys with a word each: while the music plays, those for hearing and tapping first. The last two are help and leaving.
    fn wanted_now(&self) -> Vec<String> {
        let playing = self.state.playing;
        let named = |key: &Binding<Action>| match key.action {
            Action::Play if playing => format!("{} pause", key.name),
            _ => format!("{} {}", key.name, key.short),
        };
        let shown = KEYS.iter().filter(|key| !key.short.is_empty());
        let mut keys: Vec<&Binding<Action>> = shown.collect();
        // The sort is stable: else they stand in the order of the table.
        keys.sort_by_key(|key| match key.action {
            Action::Help | Action::Leave => 2,
            action => u8::from(playing && !WHILE_PLAYING.contains(&action)),
        });
        keys.into_iter().map(named).collect()
    }

    /// As many keys as fit; the last two (help, leave) always.
    fn key_line(&self, keys: &[String], area: Rect, buffer: &mut Buffer) {
        let mut used = 1;
        let width = |text: &String| text.width() + 2;
        let (rest, last) = keys.split_at(keys.len().saturating_sub(2));
        let reserved: usize = last.iter().map(width).sum();
        let mut shown: Vec<&String> = Vec::new();
        for key in rest {
            if used + width(key) + reserved > usize::from(area.width) {
                break;
            }
            used += width(key);
            shown.push(key);
        }
        let text: Vec<&str> = shown.into_iter().chain(last).map(String::as_str).collect();
        put(buffer, area, 1, 0, &text.join("  "), self.ink(Ink::Quiet));
    }
}

/// How sure a bar is, in a word.
fn called(sureness: Sureness) -> (&'static str, Ink) {
    match sureness.0 {
        sure if sure >= SURE => ("sure", Ink::Quiet),
        sure if sure >= FAIR => ("fair", Ink::Quiet),
        _ => ("guess", Ink::Mark),
    }
}
