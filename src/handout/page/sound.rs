//! The recording as a browser can play it.

/// A file that browsers play.
#[derive(Debug, Clone, Copy)]
pub struct Sound<'a> {
    /// The whole file.
    pub bytes: &'a [u8],
    /// Its media type.
    pub kind: &'static str,
}

impl<'a> Sound<'a> {
    /// The file as it is, when current browsers play its format: WAV (PCM), FLAC, Ogg, MP3 and AAC. `None` for all else (AIFF,
    /// Apple Lossless, compressed WAV), which must be written as [`wave`] first.
    ///
    /// Told by the first bytes, after the formats' own specifications, never by the name.
    #[must_use]
    pub fn as_it_is(bytes: &'a [u8]) -> Option<Self> {
        let holds = |word: &[u8; 4]| bytes.windows(4).any(|four| four == word);
        let kind = match bytes {
            [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'A', b'V', b'E', ..] if pulse_code(bytes) => {
                "audio/wav"
            }
            [b'f', b'L', b'a', b'C', ..] => "audio/flac",
            [b'O', b'g', b'g', b'S', ..] => "audio/ogg",
            [_, _, _, _, b'f', b't', b'y', b'p', ..] if !holds(b"alac") => "audio/mp4",
            // ADTS: twelve bits of synchronisation, layer 0. MPEG audio: the same, another layer.
            [0xFF, second, ..] if second & 0xF6 == 0xF0 => "audio/aac",
            [0xFF, second, ..] if second & 0xE0 == 0xE0 => "audio/mpeg",
            [b'I', b'D', b'3', ..] => "audio/mpeg",
            _ => return None,
        };
        Some(Self { bytes, kind })
    }

    /// Whether the format has no silence of the encoder's before the sound, or one that every decoder must take away: not so
    /// with MP3 and AAC, whose files may leave it untold.
    #[must_use]
    pub fn is_never_padded(&self) -> bool {
        !["audio/mpeg", "audio/mp4", "audio/aac"].contains(&self.kind)
    }
}

/// Whether a WAV file holds plain samples: format tag 1, 3 (float) or, extended, 0xFFFE.
fn pulse_code(bytes: &[u8]) -> bool {
    let format = bytes.windows(4).position(|four| four == b"fmt ").map(|at| at + 8);
    let tag = format.and_then(|at| bytes.get(at..at + 2)).map(|tag| u16::from_le_bytes([tag[0], tag[1]]));
    matches!(tag, Some(1 | 3 | 0xFFFE))
}

/// Interleaved samples from -1 to 1 as a WAV file of 16 bits, with its media type `audio/wav`.
///
/// Source: IBM and Microsoft, Multimedia Programming Interface and Data Specifications 1.0 (1991), chapter 3.
#[must_use]
pub fn wave(samples: &[f32], channels: u16, rate: u32) -> Vec<u8> {
    let size = u32::try_from(samples.len() * 2).unwrap_or(u32::MAX - 36);
    let frame = channels * 2;
    let mut out = Vec::with_capacity(44 + samples.len() * 2);
    out.extend_from_slice(b"RIFF");
    out.extend_from_slice(&(36 + size).to_le_bytes());
    out.extend_from_slice(b"WAVEfmt \x10\0\0\0\x01\0");
    out.extend_from_slice(&channels.to_le_bytes());
    out.extend_from_slice(&rate.to_le_bytes());
    out.extend_from_slice(&(rate * u32::from(frame)).to_le_bytes());
    out.extend_from_slice(&frame.to_le_bytes());
    out.extend_from_slice(b"\x10\0data");
    out.extend_from_slice(&size.to_le_bytes());
    for sample in samples {
        let value = (sample.clamp(-1.0, 1.0) * 32_767.0).round() as i16;
        out.extend_from_slice(&value.to_le_bytes());
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn formats_are_told_by_their_first_bytes() {
        let kind = |bytes: &[u8]| Sound::as_it_is(bytes).map(|sound| sound.kind);
        assert_eq!(kind(&wave(&[0.0, 1.0, -1.0], 1, 8_000)), Some("audio/wav"));
        assert_eq!(kind(b"RIFF\0\0\0\0WAVEfmt \x10\0\0\0\x11\0"), None, "ADPCM");
        assert_eq!(kind(b"FORM\0\0\0\0AIFF"), None);
        assert_eq!(kind(b"\0\0\0\x20ftypM4A mp4a"), Some("audio/mp4"));
        assert_eq!(kind(b"\0\0\0\x20ftypM4A alac"), None);
        assert_eq!(kind(b"\xFF\xF1\x50"), Some("audio/aac"));
        assert_eq!(kind(b"\xFF\xFB\x50"), Some("audio/mpeg"));
        assert_eq!(kind(b"ID3\x04"), Some("audio/mpeg"));
        assert_eq!(kind(b""), None);
    }
}
