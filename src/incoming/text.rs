//! Text as programs write it: UTF-8 with or without a mark at its head, or UTF-16 with one.

/// The text in some bytes, or `None` when they are none.
pub(super) fn of(bytes: &[u8]) -> Option<String> {
    let wide = |rest: &[u8], unit: fn([u8; 2]) -> u16| {
        let units: Vec<u16> = rest.chunks_exact(2).map(|pair| unit([pair[0], pair[1]])).collect();
        String::from_utf16(&units).ok()
    };
    let text = match bytes {
        [0xFF, 0xFE, rest @ ..] => wide(rest, u16::from_le_bytes)?,
        [0xFE, 0xFF, rest @ ..] => wide(rest, u16::from_be_bytes)?,
        [0xEF, 0xBB, 0xBF, rest @ ..] => String::from_utf8(rest.to_vec()).ok()?,
        // Latin letters of an older table stand in its labels at most: what is read are numbers.
        _ => String::from_utf8_lossy(bytes).into_owned(),
    };
    let control = |c: char| c.is_control() && !matches!(c, '\n' | '\r' | '\t');
    (!text.contains(control)).then_some(text)
}
