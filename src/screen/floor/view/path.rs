//! Drawing the trail in cells: the hillside, its stones, its landmarks, and the leader who walks it.

use super::{line, rows};
use crate::dance::Dance;
use crate::screen::colours::{Depth, Ink, Palette};
use crate::trail::Trail;
use crate::units::Seconds;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use unicode_width::UnicodeWidthStr;

/// Stones are drawn no closer than this many columns.
const APART: f64 = 3.0;

/// Draws the trail with the leader at `at`; `step` says which foot is in front.
pub(in crate::screen) fn path(
    trail: &Trail,
    dance: &Dance,
    (at, step): (Seconds, bool),
    palette: Palette,
    area: Rect,
    buffer: &mut Buffer,
) {
    if area.height == 0 || area.width < 2 {
        return;
    }
    // From the top: landmarks, two rows of air for the leader, the hill, the phrases' letters.
    let letters = u16::from(area.height >= 5);
    let landmarks = u16::from(area.height >= 6);
    let air = if area.height >= 4 { 2 } else { u16::from(area.height == 3) };
    let hill = rows(area, landmarks + air, area.height - landmarks - air - letters);
    let column = |at: Seconds| (trail.along(at) * f64::from(area.width - 1)).round() as u16;
    let here = column(at);
    for x in 0..area.width {
        let along = f64::from(x) / f64::from(area.width - 1);
        let level = level(trail, trail.instant(along), hill.height);
        ground(buffer, (hill, x), level, palette);
    }
    let stones = trail.stones_apart(f64::from(area.width - 1), APART);
    for (index, stone) in stones.iter().enumerate() {
        let from = column(stone.at);
        let to = stones.get(index + 1).map_or(area.width, |next| column(next.at));
        let ink = if from < here { Ink::Crossed } else { Ink::Stone };
        for x in from..to.saturating_sub(1).max(from + 1).min(area.width) {
            let along = f64::from(x) / f64::from(area.width - 1);
            let level = level(trail, trail.instant(along), hill.height);
            stone_half(buffer, (hill, x), level, palette, ink);
        }
    }
    if letters == 1 {
        let base = rows(area, area.height - 1, 1);
        for phrase in dance.grid.phrase_spans() {
            let x = column(dance.grid.seconds_at(phrase.start));
            let room = column(dance.grid.seconds_at(phrase.end)).saturating_sub(x + 1);
            if usize::from(room) >= phrase.letter.width() {
                let cell = Rect { x: base.x + x, width: room, ..base };
                line(buffer, cell, phrase.letter, palette.style(Ink::Quiet));
            }
        }
    }
    if air > 1 {
        let head = (landmarks == 0).then_some(here);
        write_landmarks(trail, (at, head), palette, rows(area, 0, 1), buffer);
    }
    if air > 0 {
        let top = hill.bottom() - 1 - level(trail, at, hill.height) / 2;
        let legs = if step { "Λ" } else { "│" };
        let style = palette.style(Ink::Leader);
        put(buffer, area, (area.x + here, top.saturating_sub(1)), legs, style);
        if air > 1 {
            put(buffer, area, (area.x + here, top.saturating_sub(2)), "o", style);
        }
    }
}

fn put(buffer: &mut Buffer, area: Rect, at: (u16, u16), symbol: &str, style: Style) {
    if area.contains(at.into())
        && let Some(cell) = buffer.cell_mut(at)
    {
        cell.set_symbol(symbol).set_style(style);
    }
}

/// Height of the path in half rows above the lowest half row.
fn level(trail: &Trail, at: Seconds, rows: u16) -> u16 {
    let top = f64::from(2 * rows.max(1) - 1);
    (trail.height(at) * top).round() as u16
}

/// Fills a column of the hillside up to a level.
fn ground(buffer: &mut Buffer, (hill, x): (Rect, u16), level: u16, palette: Palette) {
    let style = palette.style(Ink::Hill);
    let solid = if palette.depth == Depth::None { "░" } else { "█" };
    for row in 0..=level / 2 {
        let whole = row < level / 2 || level % 2 == 1;
        let symbol = if whole { solid } else { "▄" };
        put(buffer, hill, (hill.x + x, (hill.bottom()).saturating_sub(1 + row)), symbol, style);
    }
}

/// Lays a stone on a column: the upper half of a cell that the hill fills, or the lower half of one it does not.
fn stone_half(buffer: &mut Buffer, (hill, x): (Rect, u16), level: u16, palette: Palette, ink: Ink) {
    let at = (hill.x + x, hill.bottom().saturating_sub(1 + level / 2));
    if level.is_multiple_of(2) {
        put(buffer, hill, at, "▄", palette.style(ink));
    } else {
        let mut style = palette.style(ink);
        if palette.depth != Depth::None {
            style.bg = palette.style(Ink::Hill).fg;
        }
        put(buffer, hill, at, "▀", style);
    }
}

/// Writes the turns' words where they begin, as many as stand clear of each other and of the leader's head where that
/// shares their row.
fn write_landmarks(
    trail: &Trail,
    (at, head): (Seconds, Option<u16>),
    palette: Palette,
    row: Rect,
    buffer: &mut Buffer,
) {
    let mut free = 0;
    for landmark in trail.landmarks() {
        let x = (trail.along(landmark.at) * f64::from(row.width - 1)).round() as u16;
        let width = u16::try_from(landmark.word.width()).unwrap_or(u16::MAX);
        let hidden = head.is_some_and(|head| (x..x.saturating_add(width)).contains(&head));
        if hidden || x < free || x.saturating_add(width) > row.width {
            continue;
        }
        let ink = if landmark.until.0 < at.0 { Ink::Quiet } else { Ink::Mark };
        line(buffer, Rect { x: row.x + x, width, ..row }, landmark.word, palette.style(ink));
        free = x + width + 2;
    }
}
