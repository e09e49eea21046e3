//! Fitting things into a window: parts of an area, and texts that may be too long for it.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// The rows of an area from `from` on, at most `rows` of them.
pub(super) fn rows(area: Rect, from: u16, rows: u16) -> Rect {
    let from = from.min(area.height);
    Rect { y: area.y + from, height: rows.min(area.height - from), ..area }
}

/// A text that fits, ending in a sign that something is missing where it is.
pub(super) fn cut(text: &str, width: u16) -> String {
    let width = usize::from(width);
    if text.width() <= width {
        return text.to_owned();
    }
    let mut kept = String::new();
    for letter in text.chars() {
        if kept.width() + letter.width().unwrap_or(0) + 1 > width {
            break;
        }
        kept.push(letter);
    }
    if width > 0 {
        kept.push('…');
    }
    kept
}

/// The first of several forms of a text, the fullest first, that so many columns have room for.
pub(super) fn fitting<T: AsRef<str>>(forms: &[T], width: usize) -> Option<&str> {
    forms.iter().map(AsRef::as_ref).find(|form| form.width() <= width)
}

/// Writes a text into the first row of an area, cut at its edge.
pub(super) fn line(buffer: &mut Buffer, area: Rect, text: &str, style: Style) {
    if !area.is_empty() {
        buffer.set_stringn(area.x, area.y, text, usize::from(area.width), style);
    }
}

/// Writes words of several inks one after another, from the left.
pub(super) fn pieces(buffer: &mut Buffer, area: Rect, words: &[(&str, Style)]) {
    let mut x = area.x;
    for (text, style) in words {
        let left = area.right().saturating_sub(x);
        line(buffer, Rect { x, width: left, ..area }, text, *style);
        x = x.saturating_add(u16::try_from(text.width()).unwrap_or(u16::MAX)).min(area.right());
    }
}
