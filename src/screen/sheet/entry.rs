//! One text that is being typed.

use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};

/// Text with a place in it, counted in characters.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Entry {
    text: String,
    at: usize,
}

impl Entry {
    /// A text to be changed, with the place at its end.
    #[must_use]
    pub fn of(text: &str) -> Self {
        Self { text: text.to_owned(), at: text.chars().count() }
    }

    /// A text with the place before one of its characters.
    #[must_use]
    pub fn at(text: &str, at: usize) -> Self {
        Self { text: text.to_owned(), at }
    }

    /// The text.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// What stands before the place, and what behind it.
    #[must_use]
    pub fn parts(&self) -> (&str, &str) {
        self.text.split_at(self.byte(self.at))
    }

    fn byte(&self, character: usize) -> usize {
        self.text.char_indices().nth(character).map_or(self.text.len(), |(byte, _)| byte)
    }

    /// Writes one character.
    pub fn put(&mut self, letter: char) {
        let byte = self.byte(self.at);
        self.text.insert(byte, letter);
        self.at += 1;
    }

    /// Empties the line that the place is in, as terminals do with theirs.
    fn clear_line(&mut self) {
        let (before, behind) = self.parts();
        let from = before.rfind('\n').map_or(0, |at| at + 1);
        let until = before.len() + behind.find('\n').unwrap_or(behind.len());
        self.at = before[..from].chars().count();
        self.text.replace_range(from..until, "");
    }

    /// Takes a key of typing; whether it was one.
    pub fn key(&mut self, key: &KeyEvent) -> bool {
        let held = KeyModifiers::CONTROL | KeyModifiers::ALT;
        match key.code {
            KeyCode::Char(letter) if !key.modifiers.intersects(held) => self.put(letter),
            KeyCode::Char('u') if key.modifiers == KeyModifiers::CONTROL => self.clear_line(),
            KeyCode::Backspace if self.at > 0 => {
                self.at -= 1;
                let byte = self.byte(self.at);
                self.text.remove(byte);
            }
            KeyCode::Delete if self.at < self.text.chars().count() => {
                let byte = self.byte(self.at);
                self.text.remove(byte);
            }
            KeyCode::Left => self.at = self.at.saturating_sub(1),
            KeyCode::Right => self.at = (self.at + 1).min(self.text.chars().count()),
            KeyCode::Home => self.at = 0,
            KeyCode::End => self.at = self.text.chars().count(),
            KeyCode::Backspace | KeyCode::Delete => {}
            _ => return false,
        }
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn typing_works_in_the_middle_and_beyond_ascii() {
        let mut entry = Entry::of("mär");
        let mut press = |code| entry.key(&KeyEvent::new(code, KeyModifiers::NONE));
        assert!(press(KeyCode::Char('z')) && press(KeyCode::Home) && press(KeyCode::Right));
        assert!(press(KeyCode::Delete) && press(KeyCode::Char('a')) && press(KeyCode::Char('e')));
        assert!(press(KeyCode::Left) && press(KeyCode::Backspace) && press(KeyCode::Left));
        assert!(press(KeyCode::Backspace), "nothing to take away is no other key");
        assert!(!press(KeyCode::Enter));
        assert_eq!(entry.text(), "merz");
        assert_eq!(entry.parts(), ("", "merz"));
    }

    #[test]
    fn a_line_is_emptied_and_its_neighbours_stay() {
        let clear = KeyEvent::new(KeyCode::Char('u'), KeyModifiers::CONTROL);
        let mut entry = Entry::of("März\nApril\nMai");
        entry.at = 7;
        assert!(entry.key(&clear));
        assert_eq!(entry.parts(), ("März\n", "\nMai"));
        let mut entry = Entry::of("stamp, stamp, clap");
        assert!(entry.key(&clear));
        assert_eq!(entry, Entry::default());
    }
}
