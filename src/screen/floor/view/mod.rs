//! Drawing the floor. Nothing here changes anything: the picture is a function of the state and the window.

mod floor;
mod in_step;
mod opening;
mod path;

pub(in crate::screen) use path::path;

use super::app::{App, Page};
use crate::screen::colours::Ink;
use crate::screen::fitting::rows;
use ratatui::Frame;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use unicode_width::UnicodeWidthStr;

/// The smallest window in which a class can be led.
const LEAST: (u16, u16) = (24, 6);

/// Draws what the app shows.
pub fn view(app: &App, frame: &mut Frame<'_>) {
    let area = frame.area();
    let buffer = frame.buffer_mut();
    draw(app, area, buffer);
}

fn draw(app: &App, area: Rect, buffer: &mut Buffer) {
    if area.is_empty() {
        return;
    }
    buffer.set_style(area, app.palette.ground());
    if area.width < LEAST.0 || area.height < LEAST.1 {
        line(buffer, area, "window too small", app.palette.style(Ink::Mark));
        return;
    }
    match app.page {
        _ if app.help => opening::help(app, area, buffer),
        Page::Opening => opening::opening(app, area, buffer),
        Page::Floor => floor::floor(app, area, buffer),
        Page::InStep => in_step::in_step(app, area, buffer),
    }
}

/// One line of text at the top of an area, cut at its edge.
fn line(buffer: &mut Buffer, area: Rect, text: &str, style: Style) {
    if !area.is_empty() {
        buffer.set_stringn(area.x, area.y, text, usize::from(area.width), style);
    }
}

/// One line of text at the right edge of the top of an area; nothing when it does not fit.
fn line_right(buffer: &mut Buffer, area: Rect, text: &str, style: Style) {
    if let Ok(width) = u16::try_from(text.width())
        && width <= area.width
    {
        line(buffer, Rect { x: area.right() - width, width, ..area }, text, style);
    }
}

#[cfg(test)]
mod tests;
