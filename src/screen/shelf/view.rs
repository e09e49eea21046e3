//! Drawing the shelf: a dance a line, and of the one at the cursor its hillside and what it teaches.

use super::keys::KEYS;
use super::state::{Choice, Shelf, Slip, State};
use crate::dance::Need;
use crate::lesson::{Glance, energy_word};
use crate::listening::Articulation;
use crate::screen::colours::{Depth, Ink};
use crate::screen::fitting::{cut, rows};
use crate::words::wrapped;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Modifier;
use unicode_width::UnicodeWidthStr;

/// The smallest window.
const LEAST: (u16, u16) = (30, 6);
/// From how many rows on the dance at the cursor is shown more fully.
const CARD_FROM: u16 = 16;
/// Rows of that, with the line above it, in a usual window and in a high one.
const CARD: u16 = 9;
const HIGH_CARD: u16 = 13;
const HIGH: u16 = 36;

/// Draws the shelf.
pub fn draw(shelf: &Shelf, area: Rect, buffer: &mut Buffer) {
    let area = area.intersection(buffer.area);
    buffer.set_style(area, shelf.palette.ground());
    let page = Page { shelf };
    if area.width < LEAST.0 || area.height < LEAST.1 {
        page.put(buffer, area, 0, 0, "window too small", Ink::Mark);
        return;
    }
    if shelf.help {
        page.help(area, buffer);
        return;
    }
    page.head(rows(area, 0, 1), buffer);
    let card = match area.height {
        HIGH.. => HIGH_CARD,
        CARD_FROM.. => CARD,
        _ if shelf.choosing.is_some() => area.height - 3,
        _ => 0,
    };
    page.list(rows(area, 2, area.height - 3 - card), buffer);
    let below = rows(area, area.height - 1 - card, card);
    if card > 0 {
        match shelf.choosing {
            Some(at) => page.choices(at, below, buffer),
            None => page.card(below, buffer),
        }
    }
    page.foot(rows(area, area.height - 1, 1), buffer);
}

struct Page<'a> {
    shelf: &'a Shelf,
}

/// Where the columns of the list begin and how wide they are.
struct Columns {
    title: u16,
    lively: u16,
    teaches: u16,
    standing: u16,
}

impl Columns {
    fn of(width: u16) -> Self {
        // Two for the sign, seven for the length, two between columns.
        let room = width.saturating_sub(2 + 7 + 2);
        let standing = if room >= 50 { 15 } else { 0 };
        // What is taught matters more than how lively it is.
        let lively = if room >= 90 { 17 } else { 0 };
        let rest = room - standing - lively;
        let title = if rest >= 40 { rest * 9 / 20 } else { rest };
        Self { title, lively, teaches: rest - title, standing }
    }
}

impl Page<'_> {
    fn put(&self, buffer: &mut Buffer, area: Rect, x: u16, y: u16, text: &str, ink: Ink) {
        if x < area.width && y < area.height {
            let room = usize::from(area.width - x);
            buffer.set_stringn(area.x + x, area.y + y, text, room, self.shelf.palette.style(ink));
        }
    }

    fn head(&self, area: Rect, buffer: &mut Buffer) {
        let shelf = self.shelf;
        let (all, shown) = (shelf.slips.len(), shelf.shown().len());
        let dances = if all == 1 { "1 dance".to_owned() } else { format!("{all} dances") };
        let sought = shelf.writing || !shelf.words.is_empty();
        let right = match (sought, shelf.coming()) {
            (true, _) => {
                let caret = if shelf.writing { "_" } else { "" };
                format!("with '{}{caret}': {shown} ", shelf.words)
            }
            (false, 0) => String::new(),
            (false, coming) => format!("{coming} still being looked at "),
        };
        let wide = u16::try_from(right.width()).unwrap_or(u16::MAX).min(area.width);
        let left = cut(&format!(" {dances} on the shelf '{}'", shelf.folder), area.width - wide);
        self.put(buffer, area, 0, 0, &left, Ink::Now);
        let ink = if sought { Ink::Next } else { Ink::Quiet };
        self.put(buffer, area, area.width - wide, 0, &right, ink);
    }

    fn list(&self, area: Rect, buffer: &mut Buffer) {
        let shelf = self.shelf;
        let shown = shelf.shown();
        if shown.is_empty() {
            for (row, line) in self.nothing().iter().enumerate() {
                self.put(buffer, area, 2, row as u16, line, Ink::Quiet);
            }
            return;
        }
        let fit = usize::from(area.height).max(1);
        let top = shelf.cursor.saturating_sub(fit / 2).min(shown.len().saturating_sub(fit));
        let columns = Columns::of(area.width);
        for (row, (place, index)) in shown.iter().enumerate().skip(top).take(fit).enumerate() {
            let row = rows(area, row as u16, 1);
            self.line(&shelf.slips[*index], place == shelf.cursor, &columns, row, buffer);
        }
    }

    /// What an empty shelf says.
    fn nothing(&self) -> Vec<String> {
        let shelf = self.shelf;
        if !shelf.words.is_empty() {
            return vec![
                "no dance has all these words".into(),
                String::new(),
                "look for what it teaches (crescendo, faster, rest), its pace (allegro, slow), its moves,"
                    .into(),
                "its title, or words of your notes; esc shows all again".into(),
            ];
        }
        [
            "there is no dance here yet",
            "",
            "farandole draft song.mp3        makes a first dance for a recording, beside it",
            "farandole demo --copy-to here   puts the demo dances into a folder",
            "farandole shelf FOLDER          opens another shelf",
        ]
        .map(str::to_owned)
        .to_vec()
    }

    fn line(&self, slip: &Slip, here: bool, columns: &Columns, area: Rect, buffer: &mut Buffer) {
        let ink = if here { Ink::Now } else { Ink::Quiet };
        let mut x = 2;
        self.put(buffer, area, 0, 0, if here { ">" } else { " " }, Ink::Leader);
        self.put(buffer, area, x, 0, &cut(slip.title(), columns.title), ink);
        x += columns.title + 2;
        match &slip.state {
            State::Coming => self.put(buffer, area, x, 0, "being looked at ...", Ink::Quiet),
            State::Broken(_) => self.put(buffer, area, x, 0, "cannot be opened: enter says why", Ink::Mark),
            State::Known(glance) => {
                self.put(buffer, area, x, 0, &format!("{:>5}", glance.length.minutes()), ink);
                x += 7;
                if columns.lively > 0 {
                    self.put(buffer, area, x, 0, &cut(&glance.liveliness(), columns.lively - 2), ink);
                    x += columns.lively;
                }
                if columns.teaches > 2 {
                    self.put(buffer, area, x, 0, &cut(&glance.teaches(), columns.teaches - 2), ink);
                    x += columns.teaches;
                }
                if columns.standing > 0 {
                    let standing = glance.standing();
                    let ink = if standing == "ready" { ink } else { Ink::Mark };
                    self.put(buffer, area, x, 0, &cut(&standing, columns.standing - 1), ink);
                }
            }
        }
        if here {
            let bold = self.shelf.palette.style(Ink::Now).add_modifier(Modifier::UNDERLINED);
            buffer.set_style(Rect { x: area.x + 2, width: columns.title.min(area.width - 2), ..area }, bold);
        }
    }

    /// The dance at the cursor, more fully.
    fn card(&self, area: Rect, buffer: &mut Buffer) {
        self.put(buffer, area, 0, 0, &"─".repeat(usize::from(area.width)), Ink::Hill);
        let inside = rows(area, 1, area.height - 1);
        let Some(slip) = self.shelf.current() else { return };
        let glance = match &slip.state {
            State::Known(glance) => glance,
            State::Coming => {
                self.put(buffer, inside, 2, 0, "being looked at ...", Ink::Quiet);
                return;
            }
            State::Broken(why) => {
                for (row, line) in wrap(why, inside.width.saturating_sub(4)).iter().enumerate() {
                    self.put(buffer, inside, 2, row as u16, line, Ink::Mark);
                }
                return;
            }
        };
        let hill = if area.height >= HIGH_CARD { 6 } else { 3 };
        let hill = Rect { x: inside.x + 2, width: inside.width.saturating_sub(4), ..rows(inside, 0, hill) };
        if glance.heights.is_empty() {
            let words = "the music has not been heard here yet: check it, and its path is drawn";
            self.put(buffer, hill, 0, hill.height / 2, words, Ink::Quiet);
        } else {
            self.hill(&glance.heights, hill, buffer);
        }
        let mut y = hill.height;
        for (label, text) in facts(glance) {
            let room = inside.width.saturating_sub(13);
            let most = if inside.height - y > 6 { 2 } else { 1 };
            let lines = wrap(&text, room);
            let more = lines.len() > most;
            self.put(buffer, inside, 2, y, label, Ink::Next);
            for (row, line) in lines.iter().take(most).enumerate() {
                let line = if more && row + 1 == most {
                    cut(&format!("{line} \u{2026}"), room)
                } else {
                    line.clone()
                };
                self.put(buffer, inside, 12, y, &line, Ink::Quiet);
                y += 1;
            }
            if y >= inside.height {
                break;
            }
        }
    }

    /// The hillside from its beginning to its end.
    fn hill(&self, heights: &[u8], area: Rect, buffer: &mut Buffer) {
        const PARTS: [&str; 9] = [" ", "▁", "▂", "▃", "▄", "▅", "▆", "▇", "█"];
        let plain = self.shelf.palette.depth == Depth::None;
        for x in 0..area.width {
            let place = f64::from(x) / f64::from(area.width.max(2) - 1) * (heights.len() - 1) as f64;
            let (from, share) = (place.floor() as usize, place.fract());
            let next = heights[(from + 1).min(heights.len() - 1)];
            let height = f64::from(heights[from]) * (1.0 - share) + f64::from(next) * share;
            // An eighth of a row is left of the softest, so that there is ground to walk on.
            let eighths = 1 + (height / 8.0 * f64::from(8 * area.height - 1)).round() as u16;
            for row in 0..area.height {
                let part = eighths.saturating_sub(8 * row).min(8);
                let symbol = if plain && part == 8 { "░" } else { PARTS[usize::from(part)] };
                self.put(buffer, area, x, area.height - 1 - row, symbol, Ink::Hill);
            }
        }
    }

    fn choices(&self, at: usize, area: Rect, buffer: &mut Buffer) {
        self.put(buffer, area, 0, 0, &"─".repeat(usize::from(area.width)), Ink::Hill);
        let title = self.shelf.current().map_or("", Slip::title);
        self.put(buffer, area, 2, 1, &cut(title, area.width.saturating_sub(4)), Ink::Now);
        for (row, (_, letter, words)) in Choice::ALL.iter().enumerate() {
            let (sign, ink) = if row == at { (">", Ink::Now) } else { (" ", Ink::Quiet) };
            self.put(buffer, area, 2, row as u16 + 2, &format!("{sign} {letter}  {words}"), ink);
        }
    }

    fn foot(&self, area: Rect, buffer: &mut Buffer) {
        let shelf = self.shelf;
        let (text, ink) = match (&shelf.notice, shelf.choosing, shelf.writing) {
            (Some(notice), ..) => (cut(&format!(" {notice}"), area.width), Ink::Mark),
            (None, Some(_), _) => (" up down enter, or the letter    esc back".to_owned(), Ink::Quiet),
            (None, None, true) => (
                " letters look for words    up down    enter choose    esc all dances".to_owned(),
                Ink::Quiet,
            ),
            (None, None, false) => (
                " letters look for words    up down    enter choose    ? keys    q leave".to_owned(),
                Ink::Quiet,
            ),
        };
        self.put(buffer, area, 0, 0, &text, ink);
    }

    fn help(&self, area: Rect, buffer: &mut Buffer) {
        self.put(buffer, area, 1, 0, "the shelf: all keys (any key closes this)", Ink::Now);
        let mut y = 2;
        for key in KEYS.iter().filter(|key| !key.help.is_empty()) {
            self.put(buffer, area, 1, y, key.name, Ink::Next);
            for line in wrap(key.help, area.width.saturating_sub(12)) {
                self.put(buffer, area, 11, y, &line, Ink::Quiet);
                y += 1;
            }
        }
        let words = "Words are looked for in titles, performers, moves, notes, turns (crescendo, louder), pace (allegro, \
                     quick), loudness (pp, soft), touch (staccato, smooth), what is needed (scarf) and how the check stands \
                     (ready, mend).";
        for line in wrap(words, area.width.saturating_sub(3)) {
            y += 1;
            self.put(buffer, area, 1, y, &line, Ink::Quiet);
        }
    }
}

/// What is said of the dance at the cursor, a label and its words.
fn facts(glance: &Glance) -> Vec<(&'static str, String)> {
    let mut facts = Vec::new();
    let teaches = match (glance.heard, glance.teaches()) {
        (false, _) => String::new(),
        (true, teaches) if teaches.is_empty() => "nothing turns: keep a beat, keep a pace".to_owned(),
        (true, teaches) => format!("{teaches} ({} of {} met by a move)", glance.met.0, glance.met.1),
    };
    if !teaches.is_empty() {
        facts.push(("teaches", teaches));
    }
    let mut music = vec![format!("{} counts", glance.counts)];
    if let Some((slowest, fastest)) = glance.tempo {
        let numbers = if fastest.0 > 1.1 * slowest.0 {
            format!("{:.0} to {:.0}", slowest.0, fastest.0)
        } else {
            format!("{:.0}", 0.5 * (slowest.0 + fastest.0))
        };
        music.push(format!("{}, {numbers} a minute", glance.pace()));
    }
    if let Some((softest, loudest)) = glance.dynamics {
        music.push(if softest == loudest { loudest.to_string() } else { format!("{softest} to {loudest}") });
    }
    let touch = match glance.articulation {
        Some(Articulation::Staccato) => Some("short"),
        Some(Articulation::Detached) => Some("separate"),
        Some(Articulation::Legato) => Some("smooth"),
        Some(Articulation::Unclear) | None => None,
    };
    music.extend(touch.map(str::to_owned));
    if !glance.form.is_empty() {
        music.push(format!("form {}", glance.form));
    }
    music.extend(glance.performer.clone());
    facts.push(("music", music.join(", ")));
    let arc: Vec<&str> =
        glance.energy.iter().filter(|energy| **energy > 0).map(|energy| energy_word(*energy)).collect();
    let mut arc: Vec<&str> = arc;
    arc.dedup();
    let moves = if glance.moves.is_empty() { "none yet".to_owned() } else { glance.moves.join(", ") };
    facts.push(("moves", moves));
    let mut class = Vec::new();
    if !arc.is_empty() {
        class.push(arc.join(", "));
    }
    class.push(match &glance.not_gentle[..] {
        [] => "gentle versions complete".to_owned(),
        missing => format!("no gentle version of {}", missing.join(", ")),
    });
    class.extend(glance.needs.iter().map(|need| match need {
        Need::Scarf => "needs scarves".to_owned(),
        Need::Hands => "children hold hands".to_owned(),
    }));
    facts.push(("class", class.join("; ")));
    let (problems, warnings, notes) = glance.findings;
    let check = match (glance.heard, problems + warnings + notes) {
        (true, 0) => "ready".to_owned(),
        (true, know) if know == notes => format!("ready, {notes} to know"),
        (heard, _) => {
            let part = if heard { "" } else { "without the sound: " };
            format!("{part}{problems} to mend, {warnings} to look at, {notes} to know")
        }
    };
    facts.push(("check", check));
    let own: Vec<&str> = glance.notes.split_whitespace().collect();
    if !own.is_empty() {
        facts.push(("notes", own.join(" ")));
    }
    facts
}

/// A text on lines of at most so many columns; a longer word is cut.
fn wrap(text: &str, width: u16) -> Vec<String> {
    wrapped(text, usize::from(width)).iter().map(|line| cut(line, width)).collect()
}
