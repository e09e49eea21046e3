//! Words on lines: for screens, reports and letters alike.

use unicode_width::UnicodeWidthStr;

/// Lines of at most `columns` terminal columns, broken at white space, of which any amount counts as one space; a longer
/// word has a line of its own and is not cut. Empty for a text without words.
#[must_use]
pub fn wrapped(text: &str, columns: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.width() + 1 + word.width() <= columns => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_break_at_words_and_no_word_is_lost() {
        assert_eq!(wrapped("  one  two\nthree ", 7), ["one two", "three"]);
        assert_eq!(wrapped("one two three", 8), ["one two", "three"]);
        assert_eq!(wrapped("a longerword b", 4), ["a", "longerword", "b"]);
        assert_eq!(wrapped("音楽 音楽 x", 6), ["音楽", "音楽 x"], "wide letters take two columns");
        assert_eq!(wrapped(" \n ", 5), Vec::<String>::new());
        assert_eq!(wrapped("a b", 0), ["a", "b"]);
    }
}
