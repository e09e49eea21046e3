//! Titles and performers, made safe to show: whoever made the file wrote them, and a terminal obeys what it is sent.

use super::Tags;
use symphonia::core::meta::{Metadata, MetadataRevision, StandardTag};
use unicode_segmentation::UnicodeSegmentation;

/// The longest text kept from a tag, in characters as a reader counts them.
const MAX_CHARACTERS: usize = 120;

/// The longest text kept from a tag, in bytes: a character may carry any number of accents.
const MAX_BYTES: usize = 1024;

/// Title and performer out of everything that the container said; a later statement outranks an
/// earlier one (the short ID3v1 block at a file's end is read before the full ID3v2 block).
pub(super) fn read(mut metadata: Metadata<'_>) -> Tags {
    let mut tags = Tags::default();
    loop {
        if let Some(revision) = metadata.current() {
            take(revision, &mut tags);
        }
        if metadata.pop().is_none() {
            return tags;
        }
    }
}

fn take(revision: &MetadataRevision, tags: &mut Tags) {
    let per_track = revision.per_track.iter().flat_map(|track| &track.metadata.tags);
    let (mut title, mut artist, mut performer, mut album_artist) = (None, None, None, None);
    for tag in revision.media.tags.iter().chain(per_track) {
        let (slot, text) = match &tag.std {
            Some(StandardTag::TrackTitle(text)) => (&mut title, text),
            Some(StandardTag::Artist(text)) => (&mut artist, text),
            Some(StandardTag::Performer(text)) => (&mut performer, text),
            Some(StandardTag::AlbumArtist(text)) => (&mut album_artist, text),
            _ => continue,
        };
        if slot.is_none() {
            *slot = plain(text);
        }
    }
    tags.title = title.or(tags.title.take());
    tags.performer = artist.or(performer).or(album_artist).or(tags.performer.take());
}

/// `text` without escape sequences, control characters and invisible direction marks, with runs of
/// white space made one space, cut to a length that fits a line; `None` when nothing is left.
pub(super) fn plain(text: &str) -> Option<String> {
    let mut kept = String::new();
    let mut rest = text.chars().peekable();
    while let Some(c) = rest.next() {
        match c {
            '\u{1b}' => skip_sequence(&mut rest),
            '\u{9b}' => skip_control_sequence(&mut rest),
            c if c.is_whitespace() => {
                if !kept.ends_with(' ') && !kept.is_empty() {
                    kept.push(' ');
                }
            }
            c if c.is_control() || is_invisible(c) => {}
            c => kept.push(c),
        }
        // Twice the limit is more than enough to cut from, whatever the tag's length.
        if kept.len() > 2 * MAX_BYTES {
            break;
        }
    }
    let mut cut = String::new();
    for character in kept.trim_end().graphemes(true).take(MAX_CHARACTERS) {
        if cut.len() + character.len() > MAX_BYTES {
            break;
        }
        cut.push_str(character);
    }
    let cut = cut.trim_end();
    (!cut.is_empty()).then(|| cut.to_owned())
}

/// Skips what follows an ESC: a control sequence, a string closed by BEL or ESC \, or one character
/// (ECMA-48, 5.3 to 5.6).
fn skip_sequence(rest: &mut std::iter::Peekable<std::str::Chars<'_>>) {
    match rest.next() {
        Some('[') => skip_control_sequence(rest),
        Some(']' | 'P' | 'X' | '^' | '_') => {
            while let Some(c) = rest.next() {
                if c == '\u{7}' || c == '\u{9c}' || (c == '\u{1b}' && rest.next_if_eq(&'\\').is_some()) {
                    break;
                }
            }
        }
        _ => {}
    }
}

/// Skips parameters up to and including a control sequence's final byte (ECMA-48, 5.4).
fn skip_control_sequence(rest: &mut std::iter::Peekable<std::str::Chars<'_>>) {
    while rest.next_if(|c| ('\u{20}'..='\u{3f}').contains(c)).is_some() {}
    rest.next_if(|c| ('\u{40}'..='\u{7e}').contains(c));
}

/// Marks that change the direction of the text around them, or take no room: they can make one title look like another.
fn is_invisible(c: char) -> bool {
    matches!(c, '\u{ad}' | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{206f}'
        | '\u{feff}' | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e007f}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_title_cannot_move_the_cursor_or_name_the_window() {
        assert_eq!(plain("\u{1b}[2J\u{1b}[31mMarch\u{1b}[0m").as_deref(), Some("March"));
        assert_eq!(plain("\u{1b}]0;owned\u{7}March").as_deref(), Some("March"));
        assert_eq!(plain("\u{1b}]0;owned\u{1b}\\March\u{9b}1;1H").as_deref(), Some("March"));
        assert_eq!(plain("a\u{202e}b\u{0}c\u{8}").as_deref(), Some("abc"));
        assert_eq!(plain("cut off \u{1b}[").as_deref(), Some("cut off"));
    }

    #[test]
    fn white_space_is_one_space_and_nothing_is_none() {
        assert_eq!(plain("  March \t of\r\n the   Kings ").as_deref(), Some("March of the Kings"));
        assert_eq!(plain(" \n\t\u{0} "), None);
        assert_eq!(plain(""), None);
    }

    #[test]
    fn a_long_title_is_cut_between_characters() {
        let accented = "e\u{301}".repeat(500);
        assert_eq!(plain(&accented).as_deref(), Some("e\u{301}".repeat(120).as_str()));
        let stacked = format!("e{}", "\u{301}".repeat(100_000));
        assert!(plain(&stacked).is_none_or(|text| text.len() <= MAX_BYTES));
    }
}
