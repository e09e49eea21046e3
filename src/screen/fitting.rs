//! Fitting things into a window: parts of an area, and texts that may be too long for it.

use ratatui::layout::Rect;
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
