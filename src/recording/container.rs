//! What kind of file it is, from its first bytes and never from its name, so that a refusal can say why.

use std::io::{self, Read};
use symphonia::core::formats::{FormatId, well_known as known};

/// How many first bytes are looked at.
pub(super) const HEAD_BYTES: u64 = 64 * 1024;

/// The container a file begins like.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Container {
    /// RIFF WAVE.
    Wave,
    /// AIFF or AIFF-C.
    Aiff,
    /// Native FLAC.
    Flac,
    /// Ogg.
    Ogg,
    /// ISO base media file format: MP4, M4A, MOV.
    Mp4,
    /// MPEG audio frames or ADTS, perhaps behind an ID3 tag.
    Mpeg,
    /// Something known that is not decoded here, in words that follow 'it is'.
    Foreign(&'static str),
    /// Nothing we know.
    Unknown,
}

/// Names the container that `head`, the first bytes of a file, belongs to.
pub(super) fn sniff(head: &[u8]) -> Container {
    let at = |offset: usize, magic: &[u8]| head.get(offset..offset + magic.len()) == Some(magic);
    if at(0, b"RIFF") && at(8, b"WAVE") {
        Container::Wave
    } else if at(0, b"FORM") && (at(8, b"AIFF") || at(8, b"AIFC")) {
        Container::Aiff
    } else if at(0, b"fLaC") {
        Container::Flac
    } else if at(0, b"OggS") {
        Container::Ogg
    } else if at(4, b"ftyp") {
        Container::Mp4
    } else if at(0, b"ID3") || matches!(head, [0xff, second, ..] if second & 0xe0 == 0xe0 && *second < 0xfe) {
        Container::Mpeg
    } else if at(0, b"MThd") {
        Container::Foreign("a MIDI file (notes without sound)")
    } else if at(0, &[0x30, 0x26, 0xb2, 0x75, 0x8e, 0x66, 0xcf, 0x11]) {
        Container::Foreign("Windows Media")
    } else if at(0, &[0x1a, 0x45, 0xdf, 0xa3]) {
        Container::Foreign("Matroska or WebM")
    } else if at(0, b"caff") {
        Container::Foreign("Core Audio Format")
    } else if at(0, b"wvpk") {
        Container::Foreign("WavPack")
    } else if at(0, b"MAC ") {
        Container::Foreign("Monkey's Audio")
    } else if at(0, b"#!AMR") {
        Container::Foreign("AMR")
    } else if (at(0, b"RF64") || at(0, b"BW64")) && at(8, b"WAVE") {
        Container::Foreign("RF64, a WAV file for more than 4 GB")
    } else {
        Container::Unknown
    }
}

/// The container that a demuxer turned out to read: what a file begins like can be a tag or the rest of a
/// broken frame.
pub(super) fn of_reader(format: FormatId) -> Option<Container> {
    match format {
        known::FORMAT_ID_WAVE => Some(Container::Wave),
        known::FORMAT_ID_AIFF => Some(Container::Aiff),
        known::FORMAT_ID_FLAC => Some(Container::Flac),
        known::FORMAT_ID_OGG => Some(Container::Ogg),
        known::FORMAT_ID_ISOMP4 => Some(Container::Mp4),
        known::FORMAT_ID_MP1 | known::FORMAT_ID_MP2 | known::FORMAT_ID_MP3 | known::FORMAT_ID_ADTS => {
            Some(Container::Mpeg)
        }
        _ => None,
    }
}

/// Reads up to [`HEAD_BYTES`] from `source`; fewer where the file is shorter.
pub(super) fn read_head(source: &mut impl Read) -> io::Result<Vec<u8>> {
    let mut head = Vec::new();
    source.take(HEAD_BYTES).read_to_end(&mut head)?;
    Ok(head)
}

/// How many bytes the file should have at least, as an AIFF header or an ID3v2 tag at its start states; 0 where neither does.
///
/// Sources: Audio Interchange File Format 1.3, the `FORM` chunk; ID3v2.4, 3.1 (28-bit sizes, 7 bits to a byte).
pub(super) fn stated_bytes(container: Container, head: &[u8]) -> u64 {
    match (container, head) {
        (Container::Aiff, [_, _, _, _, a, b, c, d, ..]) => {
            8 + u64::from(u32::from_be_bytes([*a, *b, *c, *d]))
        }
        (Container::Mpeg, [b'I', b'D', b'3', _, _, _, a, b, c, d, ..]) => {
            10 + [a, b, c, d].iter().fold(0, |size, &&byte| size << 7 | u64::from(byte & 0x7f))
        }
        _ => 0,
    }
}

/// Channels and frames a second as a WAV or AIFF header in `head` states them, however absurd; `None` for other
/// containers, and where the statement is not within `head`.
///
/// Sources: the RIFF WAVE `fmt ` chunk; Audio Interchange File Format 1.3, the `COMM` chunk.
pub(super) fn stated(container: Container, head: &[u8]) -> Option<(u16, u32)> {
    let (wanted, big_endian) = match container {
        Container::Wave => (b"fmt ", false),
        Container::Aiff => (b"COMM", true),
        _ => return None,
    };
    let mut at = 12;
    loop {
        let header = head.get(at..at + 8)?;
        let size = header[4..].try_into().ok()?;
        let size = if big_endian { u32::from_be_bytes(size) } else { u32::from_le_bytes(size) };
        let body = head.get(at + 8..)?;
        if &header[..4] == wanted {
            return if big_endian {
                let rate = body.get(8..18)?.try_into().ok()?;
                Some((u16::from_be_bytes(body.get(..2)?.try_into().ok()?), from_extended(rate)))
            } else {
                let rate = body.get(4..8)?.try_into().ok()?;
                Some((u16::from_le_bytes(body.get(2..4)?.try_into().ok()?), u32::from_le_bytes(rate)))
            };
        }
        // Chunks are padded to an even length.
        at = at.checked_add(8)?.checked_add(size as usize)?.checked_add(size as usize & 1)?;
    }
}

/// The whole part of an 80-bit extended-precision number (IEEE 754, x87 layout, big-endian); 0 for negatives
/// and fractions, `u32::MAX` where it is larger than that or not a number.
fn from_extended(bytes: [u8; 10]) -> u32 {
    let [s, e, m @ ..] = bytes;
    let exponent = i32::from(u16::from_be_bytes([s, e]) & 0x7fff) - 16_383;
    let mantissa = u64::from_be_bytes(m);
    if s & 0x80 != 0 || exponent < 0 || mantissa == 0 {
        0
    } else if exponent > 31 {
        u32::MAX
    } else {
        (mantissa >> (63 - exponent)) as u32
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_extended_rate_is_read_as_published() {
        // The bytes of 44100 as worked out in many AIFF files: exponent 16383 + 15, mantissa 44100 * 2^48.
        assert_eq!(from_extended([0x40, 0x0e, 0xac, 0x44, 0, 0, 0, 0, 0, 0]), 44_100);
        assert_eq!(from_extended([0x40, 0x0b, 0xfa, 0, 0, 0, 0, 0, 0, 0]), 8_000);
        assert_eq!(from_extended([0; 10]), 0);
        assert_eq!(from_extended([0xff; 10]), 0);
        assert_eq!(from_extended([0x7f, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff]), u32::MAX);
    }

    #[test]
    fn a_header_is_found_behind_other_chunks() {
        let mut wave = b"RIFF\0\0\0\0WAVEJUNK\x03\0\0\0abc\0fmt \x10\0\0\0\x01\0\0\0".to_vec();
        wave.extend(7u32.to_le_bytes());
        assert_eq!(wave.len(), 40);
        assert_eq!(sniff(&wave), Container::Wave);
        assert_eq!(stated(Container::Wave, &wave), Some((0, 7)));
        assert_eq!(stated(Container::Wave, &wave[..39]), None);
    }

    #[test]
    fn a_tag_s_size_has_seven_bits_to_a_byte() {
        assert_eq!(stated_bytes(Container::Mpeg, b"ID3\x03\0\0\0\0\x02\x01"), 10 + 257);
        assert_eq!(stated_bytes(Container::Aiff, b"FORM\0\0\x01\0AIFF"), 8 + 256);
        assert_eq!(stated_bytes(Container::Wave, b"RIFF\0\0\x01\0WAVE"), 0);
        assert_eq!(stated_bytes(Container::Mpeg, b"ID3"), 0);
    }

    #[test]
    fn text_is_nothing_we_know() {
        assert_eq!(sniff(b"Dear class, tomorrow we dance"), Container::Unknown);
        assert_eq!(sniff(b""), Container::Unknown);
        // A text file's byte-order marks begin like an MPEG frame would.
        assert_eq!(sniff(&[0xff, 0xfe, b'D', 0]), Container::Unknown);
    }
}
