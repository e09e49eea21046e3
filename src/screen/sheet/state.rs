//! What the count sheet knows, and what can be read off it. Nothing here touches a terminal, a disk, a clock or a device.

use super::layout::Layout;
use super::modes::{Dragged, Effect, Grain, Mode, Music, Purpose};
use crate::check::{Finding, Report};
use crate::dance::edit::{Command, History, Record, Selection, Stretch};
use crate::dance::{Cue, Dance, Move, MoveBook, MoveId};
use crate::grid::{Grid, PhraseSpan};
use crate::listening::{Listening, Sureness};
use crate::screen::colours::Palette;
use crate::screen::repair::{Readiness, Repairing};
use crate::sound::{Heard, Sound, Speed};
use crate::trail::Trail;
use crate::units::{Beat, Seconds};
use std::sync::Arc;
use std::time::Duration;

/// How long a short message stands.
const NOTICE: Duration = Duration::from_secs(6);
/// How long a key keeps the paper from following the music.
const STAY: Duration = Duration::from_secs(4);

/// Everything the sheet knows.
#[derive(Debug, Clone)]
pub struct Sheet {
    /// The dance. It is changed by commands and by undo alone.
    pub dance: Dance,
    /// What was done to it.
    pub history: History,
    /// Moves to choose from.
    pub book: MoveBook,
    /// Where she is.
    pub cursor: Beat,
    /// The other end of what is selected.
    pub anchor: Option<Beat>,
    /// Steps of the cursor.
    pub grain: Grain,
    /// What the keys mean.
    pub mode: Mode,
    /// What was heard in the recording.
    pub listening: Option<Arc<Listening>>,
    /// The whole piece as a path.
    pub trail: Trail,
    /// The slowest and the fastest tempo of the grid, in beats a minute.
    pub tempi: (f64, f64),
    /// What the check said last.
    pub report: Option<Report>,
    /// Of which state of the dance.
    pub checked: u64,
    /// Which finding of the report she is at, while she goes from one to the next.
    pub visited: Option<usize>,
    /// The number of this state.
    pub state: u64,
    /// Where the music is.
    pub heard: Heard,
    /// Whether a phrase goes round.
    pub round: bool,
    /// Whether beats click.
    pub clicks: bool,
    /// How fast it plays.
    pub speed: Speed,
    /// What is known of the sound.
    pub music: Music,
    /// Colours.
    pub palette: Palette,
    /// Columns and rows of the terminal.
    pub size: (u16, u16),
    /// The paper.
    pub layout: Layout,
    /// The first row of the paper that is seen.
    pub scroll: usize,
    /// Cues that were taken up, to be put down elsewhere.
    pub copied: Option<Stretch>,
    /// Why nothing can be changed.
    pub read_only: Option<String>,
    /// Whether the program that had the dance has left it, so that this one may take it over.
    pub free: bool,
    /// What cannot be written, until it can.
    pub trouble: Option<String>,
    /// A short message and when it goes.
    pub notice: Option<(String, Duration)>,
    /// The time, as last passed in.
    pub now: Duration,
    /// Until when the paper stays where she put it.
    pub stay: Duration,
    /// What the mouse holds.
    pub dragged: Option<Dragged>,
    /// The cue or prompt that the latest change was aimed at or made, by its index after it.
    pub touched: Option<usize>,
    /// Where the mouse was clicked last, and when.
    pub clicked: Option<(Beat, Duration)>,
    /// The repairing of the beats, while it is open.
    pub repairs: Option<Box<Repairing>>,
    /// Where in the music she opened it, and comes back to.
    pub place: Option<Seconds>,
    /// Whether she came to repair, and leaves from there.
    pub straight: bool,
    /// Gestures of repairing made in earlier visits.
    pub gestures: usize,
    /// Whether the grid can be heard again.
    pub readiness: Readiness,
    /// How sure each bar of the grid is; empty when that is not known.
    pub sureness: Vec<Sureness>,
    /// A sentence where this version of the program hears the beats otherwise than the dance has them.
    pub otherwise: Option<String>,
    /// The grid that the trail was walked on.
    pub walked: Grid,
    /// Whether what is being typed is a step of the history already.
    pub live: bool,
    /// What she was at when a question came up.
    pub interrupted: Option<Box<Mode>>,
    /// Since when a question stands.
    pub asked: Duration,
    /// How far the first hints have come.
    pub hint: usize,
    /// While a move is chosen: those that do not suit the place, and why.
    pub unsuited: Vec<(MoveId, &'static str)>,
}

impl Sheet {
    /// A sheet for a dance, with nothing heard yet.
    #[must_use]
    pub fn new(dance: Dance, history: History, book: MoveBook, palette: Palette) -> Self {
        let trail = Trail::new(&dance.grid, None, length(&dance));
        let mut sheet = Self {
            dance,
            history,
            book,
            cursor: Beat(0.0),
            anchor: None,
            grain: Grain::Count,
            mode: Mode::Sheet,
            listening: None,
            trail,
            tempi: (0.0, 0.0),
            report: None,
            checked: 0,
            visited: None,
            state: 1,
            heard: Heard::default(),
            round: false,
            clicks: false,
            speed: Speed::NORMAL,
            music: Music::Coming(0.0),
            palette,
            size: (80, 24),
            layout: Layout::default(),
            scroll: 0,
            copied: None,
            read_only: None,
            free: false,
            trouble: None,
            notice: None,
            now: Duration::ZERO,
            stay: Duration::ZERO,
            dragged: None,
            touched: None,
            clicked: None,
            repairs: None,
            place: None,
            straight: false,
            gestures: 0,
            readiness: Readiness::Listening(0.0),
            sureness: Vec::new(),
            otherwise: None,
            walked: Grid::default(),
            live: false,
            interrupted: None,
            asked: Duration::ZERO,
            hint: 0,
            unsuited: Vec::new(),
        };
        sheet.cursor = sheet.dance.cues.first().map_or(Beat(0.0), |cue| Beat(cue.at.0.max(0.0).floor()));
        sheet.walk_trail();
        sheet.lay_out();
        sheet
    }

    /// How long the music lasts.
    #[must_use]
    pub fn length(&self) -> Seconds {
        length(&self.dance)
    }

    /// The paper anew, after a change of the dance, of what was found, or of the window.
    pub(super) fn lay_out(&mut self) {
        let findings = self.report.as_ref().map_or(&[][..], |report| &report.findings);
        let (width, height) = self.size;
        let paper = (width, height);
        self.layout = Layout::new(&self.dance, self.listening.as_deref(), findings, paper);
        self.show_cursor();
    }

    /// The trail anew, after a change of the grid or of what was heard.
    pub(super) fn walk_trail(&mut self) {
        let grid = &self.dance.grid;
        self.trail = Trail::new(grid, self.listening.as_deref(), self.length());
        self.walked.clone_from(grid);
        let tempi = (0..grid.len()).map(|beat| grid.tempo_at(Beat::from(beat)).0);
        self.tempi = tempi.fold((f64::INFINITY, 0.0), |(low, high), bpm| (low.min(bpm), high.max(bpm)));
    }

    /// Rows that the paper has on the screen.
    #[must_use]
    pub fn paper_rows(&self) -> usize {
        usize::from(super::view::paper(self).height)
    }

    /// Scrolls so that a line is seen whole.
    pub(super) fn show(&mut self, at: Beat) {
        let Some(index) = self.layout.line_at(at) else { return };
        let line = &self.layout.lines[index];
        let rows = self.paper_rows().max(1);
        if line.top < self.scroll {
            self.scroll = line.top;
        } else if line.top + line.rows > self.scroll + rows {
            self.scroll = (line.top + line.rows).saturating_sub(rows).min(line.top);
        }
        self.scroll = self.scroll.min(self.layout.rows.saturating_sub(1));
    }

    pub(super) fn show_cursor(&mut self) {
        self.show(self.cursor);
    }

    /// Follows the music unless she is at work elsewhere.
    pub(super) fn follow(&mut self) {
        if self.heard.playing && self.now >= self.stay && self.repairs.is_none() {
            self.show(self.playhead());
        }
    }

    /// She did something: the paper stays with her for a while.
    pub(super) fn stay_here(&mut self) {
        self.stay = self.now.saturating_add(STAY);
    }

    /// The position that is heard.
    #[must_use]
    pub fn playhead(&self) -> Beat {
        self.dance.grid.beat_at(self.heard.at)
    }

    /// Says something for a while.
    pub(super) fn say(&mut self, text: impl Into<String>) {
        self.notice = Some((text.into(), self.now.saturating_add(NOTICE)));
    }

    /// What is selected: both ends, in order, or the cursor alone.
    #[must_use]
    pub fn selection(&self) -> Selection {
        match self.anchor {
            None => Selection::at(self.cursor),
            Some(anchor) => {
                let (from, to) =
                    if anchor <= self.cursor { (anchor, self.cursor) } else { (self.cursor, anchor) };
                // The count under the cursor is part of it.
                Selection { from, to: Beat(to.0 + 1.0) }
            }
        }
    }

    /// The cue under the cursor: of several the one written last.
    #[must_use]
    pub fn cue_here(&self) -> Option<usize> {
        let line = self.layout.lines.get(self.layout.line_at(self.cursor)?)?;
        let here = self.cursor.0 + 1e-6;
        let parts = line.parts.iter().rev();
        parts.filter(|part| part.from.0 <= here && part.until.0 > here).map(|part| part.cue).next()
    }

    /// A cue by its index.
    #[must_use]
    pub fn cue(&self, index: usize) -> Option<&Cue> {
        self.dance.cues.get(index)
    }

    /// The question pinned to the cursor's count.
    #[must_use]
    pub fn prompt_here(&self) -> Option<usize> {
        let count = self.cursor.0.floor();
        self.dance.prompts.iter().position(|prompt| prompt.at.0.floor() == count)
    }

    /// The phrase under the cursor.
    #[must_use]
    pub fn phrase_here(&self) -> Option<PhraseSpan<'_>> {
        self.dance.grid.phrase_at(self.cursor)
    }

    /// The finding she has gone to; else what the check says about the cursor's count, the gravest first; then what it
    /// says of the cue under it.
    #[must_use]
    pub fn finding_here(&self) -> Option<&Finding> {
        let report = self.report.as_ref()?;
        if let Some(finding) = self.visited.and_then(|index| report.findings.get(index)) {
            return Some(finding);
        }
        let here =
            |finding: &&Finding| finding.at.is_some_and(|at| (at.0 - self.cursor.0).abs() < 0.5 + 1e-6);
        let cue = self.cue_here().filter(|_| self.checked == self.state);
        let gravest = |a: &&Finding, b: &&Finding| a.severity.cmp(&b.severity);
        // `max_by` takes the last of equals, and the first is wanted.
        let findings = || report.findings.iter().rev();
        findings()
            .filter(here)
            .max_by(gravest)
            .or_else(|| findings().filter(|finding| cue.is_some() && finding.cue == cue).max_by(gravest))
    }

    /// Moves that fit what is typed, the likeliest first. While nothing is typed, those that suit the place come first, of
    /// these the everyday ones, and of these the ones that the class dances already; the one that is to be replaced comes
    /// after them.
    #[must_use]
    pub fn found(&self, typed: &str) -> Vec<&Move> {
        let mut found = self.book.search(typed);
        if typed.trim().is_empty() {
            let known = |entry: &Move| self.dance.moves.iter().any(|own| own.id == entry.id);
            let there = match &self.mode {
                Mode::Choose(Purpose::Change(cue), ..) => {
                    self.cue(*cue).and_then(|cue| cue.movement.as_ref())
                }
                Mode::Choose(Purpose::Replace(id), ..) => Some(id),
                _ => None,
            };
            let everyday = |entry: &Move| {
                let mut listed = self.book.entries().iter();
                listed.any(|listed| listed.movement.id == entry.id && listed.is_everyday())
            };
            found.sort_by_cached_key(|entry| {
                let unsuited = self.unsuited_here(&entry.id).is_some();
                (unsuited, there == Some(&entry.id), !everyday(entry), !known(entry))
            });
        }
        found
    }

    /// Why a move does not suit the place that one is chosen for, in a few words; `None` when it does.
    #[must_use]
    pub fn unsuited_here(&self, id: &MoveId) -> Option<&'static str> {
        self.unsuited.iter().find(|(unsuited, _)| unsuited == id).map(|(_, why)| *why)
    }

    /// What goes round and round: what is selected, else the phrase under the cursor, else everything.
    #[must_use]
    pub fn round_span(&self) -> (Seconds, Seconds) {
        let grid = &self.dance.grid;
        let (from, to) = if self.anchor.is_some() {
            let ends = self.selection();
            (ends.from, ends.to)
        } else {
            self.phrase_here().map_or((Beat(0.0), grid.end()), |span| (span.start, span.end))
        };
        (grid.seconds_at(from), grid.seconds_at(to))
    }

    /// What a move is called: in the dance, or in the book.
    #[must_use]
    pub fn named<'a>(&'a self, id: &'a MoveId) -> &'a str {
        let own = self.dance.moves.iter().find(|entry| entry.id == *id);
        own.or_else(|| self.book.get(id)).map_or(id.0.as_str(), |entry| entry.words.as_str())
    }

    /// Whether what is on the screen is not in the file yet.
    #[must_use]
    pub fn unsaved(&self) -> bool {
        self.history.unsaved()
    }

    /// Whether a sound can be heard, in words; empty when all is well.
    #[must_use]
    pub fn sound_words(&self) -> String {
        match (&self.music, self.heard.sound) {
            (Music::Coming(part), _) if *part > 0.0 => format!("listening, {:.0} %", part * 100.0),
            (Music::Coming(_), _) => "opening the recording".into(),
            (Music::Missing(_), _) => "no recording".into(),
            (Music::Ready, Sound::NoDevice) => "no sound device".into(),
            (Music::Ready, Sound::Silenced) => "silent".into(),
            (Music::Ready, _) => String::new(),
        }
    }

    /// Does what was asked and says what is to be kept; a refusal is shown in its own words.
    pub(super) fn perform(&mut self, command: &Command) -> Vec<Effect> {
        let selection = self.selection();
        self.perform_at(command, selection)
    }

    /// The same with something else selected.
    pub(super) fn perform_at(&mut self, command: &Command, selection: Selection) -> Vec<Effect> {
        if let Some(why) = self.read_only.clone() {
            self.say(why);
            return Vec::new();
        }
        let done = self.history.perform(&mut self.dance, &self.book, command, selection, self.now);
        match done {
            Err(error) => {
                self.say(error.to_string());
                Vec::new()
            }
            Ok(None) => Vec::new(),
            Ok(Some(performed)) => {
                self.touched = performed.target;
                self.changed(vec![performed.record])
            }
        }
    }

    /// After any change of the dance, and what is to be kept of it.
    pub(super) fn changed(&mut self, records: Vec<Record>) -> Vec<Effect> {
        if records.is_empty() {
            return Vec::new();
        }
        self.state += 1;
        let mut effects: Vec<Effect> =
            records.into_iter().map(|record| Effect::Record(Box::new(record))).collect();
        effects.push(Effect::Check(self.state));
        let regridded = self.walked != self.dance.grid;
        if regridded {
            effects.extend(self.regrid());
        }
        self.cursor = self.inside(self.cursor);
        let findings = self.report.as_ref().map_or(&[][..], |report| &report.findings);
        if !regridded && self.layout.place_again(&self.dance, findings) {
            self.show_cursor();
        } else {
            self.lay_out();
        }
        effects
    }

    /// The nearest position in the music.
    pub(super) fn inside(&self, at: Beat) -> Beat {
        let last = self.dance.grid.len().saturating_sub(1) as f64;
        // The last count can be halved too.
        let last = if at.0.fract() > 0.0 { last + 0.5 } else { last };
        Beat(at.0.clamp(0.0, last.max(0.0)))
    }

    /// The dance and its history were replaced from outside.
    pub fn replace(&mut self, dance: Dance, history: History) -> Vec<Effect> {
        self.dance = dance;
        self.history = history;
        self.anchor = None;
        self.state += 1;
        self.live = false;
        let mut effects = vec![Effect::Check(self.state)];
        if self.walked != self.dance.grid {
            effects.extend(self.regrid());
        }
        self.cursor = self.inside(self.cursor);
        self.repair_anew();
        self.lay_out();
        effects
    }
}

fn length(dance: &Dance) -> Seconds {
    let said = dance.recording.length();
    if said.0 > 0.0 { said } else { dance.grid.seconds_at(dance.grid.end()) }
}
