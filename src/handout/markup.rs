//! Text inside HTML, SVG and other markup.

/// Text as it stands between tags or inside a quoted attribute of HTML and XML. Characters that XML 1.0 does not allow
/// (control characters but tab and line ends, surrogates, U+FFFE and U+FFFF) become U+FFFD.
///
/// Source: XML 1.0 (fifth edition), productions `Char`, `AttValue` and `CharData`.
#[must_use]
pub(super) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\t' | '\n' | '\r' => out.push(letter),
            '\u{FFFE}' | '\u{FFFF}' => out.push('\u{FFFD}'),
            control if (control as u32) < 0x20 => out.push('\u{FFFD}'),
            _ => out.push(letter),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_typed_becomes_markup() {
        assert_eq!(
            escaped("<b>\"Tom\" & 'Ann'</b>"),
            "&lt;b&gt;&quot;Tom&quot; &amp; &#39;Ann&#39;&lt;/b&gt;"
        );
        assert_eq!(escaped("a\u{0}b\u{1b}[1m\u{FFFE}"), "a\u{FFFD}b\u{FFFD}[1m\u{FFFD}");
        assert_eq!(escaped("\u{e9}\u{1F483}\n"), "\u{e9}\u{1F483}\n");
    }
}
