//! The journal's bytes: one line a frame, each bound to all before it, so that a prefix is always sound.
//!
//! A line is the length of its text in bytes (8 hexadecimal digits), a checksum (16), and the text, JSON on one line,
//! separated by spaces. The checksum is the first half of a BLAKE3 hash, cut to 64 bits, over the checksum
//! of the line before and this line's text: a line that is damaged, missing, doubled or from another session ends what
//! is read.

/// Bytes before the text: length, space, checksum, space.
const HEAD: usize = 8 + 1 + 16 + 1;

/// The longest text that is read: far above any dance, far below what could exhaust the memory.
const LONGEST: usize = 1 << 28;

/// The checksum of the latest frame, to which the next one is bound.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Chain(String);

impl Chain {
    /// The checksum of `text` after this chain.
    fn next(&self, text: &[u8]) -> String {
        let mut hasher = blake3::Hasher::new();
        hasher.update(self.0.as_bytes());
        hasher.update(text);
        hasher.finalize().to_hex()[..16].to_owned()
    }

    /// The frame of a text without line breaks; the chain goes on from it.
    pub(super) fn frame(&mut self, text: &str) -> Vec<u8> {
        self.0 = self.next(text.as_bytes());
        format!("{:08x} {} {text}\n", text.len(), self.0).into_bytes()
    }

    /// The text of the frame at the start of `bytes` and the frame's whole length; `None` when it is not whole or
    /// not bound to this chain, which then stays as it is.
    pub(super) fn read<'a>(&mut self, bytes: &'a [u8]) -> Option<(&'a str, usize)> {
        let head = str::from_utf8(bytes.get(..HEAD)?).ok()?;
        let length = usize::from_str_radix(&head[..8], 16).ok().filter(|length| *length <= LONGEST)?;
        let text = bytes.get(HEAD..HEAD + length)?;
        let sum = self.next(text);
        let whole = head == format!("{length:08x} {sum} ") && bytes.get(HEAD + length) == Some(&b'\n');
        if !whole {
            return None;
        }
        let text = str::from_utf8(text).ok()?;
        self.0 = sum;
        Some((text, HEAD + length + 1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_length_checksum_and_text() {
        let frame = Chain::default().frame("{}");
        let sum = &blake3::hash(b"{}").to_hex()[..16];
        assert_eq!(String::from_utf8(frame), Ok(format!("00000002 {sum} {{}}\n")));
    }

    #[test]
    fn a_line_out_of_its_place_is_not_read() {
        let mut writing = Chain::default();
        let (first, second) = (writing.frame("1"), writing.frame("2"));
        let mut reading = Chain::default();
        assert_eq!(reading.read(&second), None);
        assert_eq!(reading.read(&first), Some(("1", first.len())));
        assert_eq!(reading.read(&first), None);
        assert_eq!(reading.read(&second), Some(("2", second.len())));
    }

    #[test]
    fn hostile_heads_are_refused_without_a_panic() {
        for bytes in [
            &b"ffffffff 0000000000000000 x\n"[..],
            b"+0000001 0000000000000000 x\n",
            "é".repeat(13).as_bytes(),
        ] {
            assert_eq!(Chain::default().read(bytes), None);
        }
    }
}
