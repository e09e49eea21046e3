//! A recording without what was written into it about itself: title, performer, comments, pictures, the program and the
//! person that made it. Files carry such words along unseen, and a page for home must not tell whose they are.
//!
//! What is taken out is overwritten where it stands, so that nothing that is heard moves; words at the beginning or the end
//! of an MP3 are cut off. A file that is not as its format says is left as it is from there on.

/// The file without its words about itself. Its sound is the same, frame for frame.
pub(super) fn unsigned(bytes: &[u8]) -> Vec<u8> {
    let mut out = bytes.to_vec();
    // `None` where a file ends in the middle of something: what was blanked until then stays so.
    let _ = match bytes {
        [b'R', b'I', b'F', b'F', ..] => wave(&mut out),
        [b'f', b'L', b'a', b'C', ..] => flac(&mut out),
        [b'O', b'g', b'g', b'S', ..] => ogg(&mut out),
        [_, _, _, _, b'f', b't', b'y', b'p', ..] => boxes(&mut out, false),
        _ => return mpeg(bytes).to_vec(),
    };
    out
}

/// Four bytes as a number, the lowest first.
fn low(bytes: &[u8], at: usize) -> Option<usize> {
    let four = bytes.get(at..at.checked_add(4)?)?;
    usize::try_from(u32::from_le_bytes(four.try_into().ok()?)).ok()
}

/// Four bytes as a number, the highest first.
fn high(bytes: &[u8], at: usize) -> Option<usize> {
    let four = bytes.get(at..at.checked_add(4)?)?;
    usize::try_from(u32::from_be_bytes(four.try_into().ok()?)).ok()
}

/// RIFF: chunks of words get the name that stands for rubbish. Source: IBM and Microsoft, Multimedia Programming Interface
/// and Data Specifications 1.0 (1991), chapter 2; EBU Tech 3285 (`bext`).
fn wave(out: &mut [u8]) -> Option<()> {
    let mut at = 12;
    while at + 8 <= out.len() {
        let size = low(out, at + 4)?;
        let end = (at + 8).checked_add(size)?.min(out.len());
        if !matches!(&out[at..at + 4], b"fmt " | b"fact" | b"data" | b"PEAK" | b"ds64") {
            out[at..at + 4].copy_from_slice(b"JUNK");
            out[at + 8..end].fill(0);
        }
        at = end + size % 2;
    }
    Some(())
}

/// FLAC: blocks of words become padding. Source: RFC 9639, section 8.
fn flac(out: &mut [u8]) -> Option<()> {
    const STREAM: u8 = 0;
    const PADDING: u8 = 1;
    const SEEKING: u8 = 3;
    let mut at = 4;
    loop {
        let head = high(out, at)?;
        let (last, kind, size) = (head >> 31 == 1, (head >> 24 & 0x7F) as u8, head & 0xFF_FFFF);
        let body = out.get_mut(at + 4..at + 4 + size)?;
        if ![STREAM, PADDING, SEEKING].contains(&kind) {
            body.fill(0);
            out[at] = u8::from(last) << 7 | PADDING;
        }
        at += 4 + size;
        if last {
            return Some(());
        }
    }
}

/// ISO base media: boxes of words become free space, but for the note on how much of the sound is the coder's silence.
/// Source: ISO/IEC 14496-12, sections 4.2 and 8.10; the note: `iTunSMPB`, as the recording is trimmed by.
fn boxes(out: &mut [u8], words: bool) -> Option<()> {
    let mut at = 0;
    while at + 8 <= out.len() {
        let (head, end) = match high(out, at)? {
            0 => (8, out.len()),
            1 => (
                16,
                at.checked_add(
                    usize::try_from(((high(out, at + 8)? as u64) << 32) | high(out, at + 12)? as u64).ok()?,
                )?,
            ),
            size => (8, at.checked_add(size)?),
        };
        let inside = out.get_mut(at + head..end)?;
        let mut kind = [0; 4];
        let holds = |word: &[u8]| inside.windows(word.len()).any(|some| some == word);
        let told = holds(b"iTunSMPB");
        kind.copy_from_slice(&out[at + 4..at + 8]);
        let inside = &mut out[at + head..end];
        match &kind {
            b"moov" | b"trak" => boxes(inside, false)?,
            // The handler and the list of items; a box `meta` has four bytes of version and flags first.
            b"udta" | b"ilst" if told => boxes(inside, true)?,
            b"meta" if told => boxes(inside.get_mut(4..)?, true)?,
            b"hdlr" if words => {}
            b"----" if told => {}
            b"udta" | b"meta" | b"uuid" => free(out, at, head, end),
            _ if words => free(out, at, head, end),
            _ => {}
        }
        at = end;
    }
    Some(())
}

fn free(out: &mut [u8], at: usize, head: usize, end: usize) {
    out[at + 4..at + 8].copy_from_slice(b"free");
    out[at + head..end].fill(0);
}

/// MPEG audio: tags stand before and after the frames. Source: ID3v2.4.0 structure, section 3; ID3v1; APE tags 2.0.
fn mpeg(bytes: &[u8]) -> &[u8] {
    let mut frames = bytes;
    while let [b'I', b'D', b'3', _, _, flags, a, b, c, d, ..] = *frames {
        let size = [a, b, c, d].iter().fold(0, |size, seven| size << 7 | usize::from(seven & 0x7F));
        let footer = if flags & 0x10 == 0 { 0 } else { 10 };
        let Some(rest) = frames.get(10 + size + footer..) else { break };
        frames = rest;
    }
    loop {
        let end = frames.len();
        let old = end.checked_sub(128).filter(|&at| frames[at..].starts_with(b"TAG"));
        // The size counts the items and the foot; a head, where there is one, comes on top.
        let ape = end.checked_sub(32).filter(|&at| frames[at..].starts_with(b"APETAGEX")).and_then(|at| {
            let head = if low(frames, at + 20)? >> 31 == 1 { 32 } else { 0 };
            end.checked_sub(low(frames, at + 12)?.checked_add(head)?)
        });
        match old.or(ape) {
            Some(at) if at < end => frames = &frames[..at],
            _ => return frames,
        }
    }
}

/// Ogg: each comment of the second packet becomes spaces, and the pages it stands on get their sums anew. Sources: RFC 3533
/// (pages), Vorbis I section 5 and RFC 7845 section 5.2 (comments).
fn ogg(out: &mut [u8]) -> Option<()> {
    // Where the bytes of the second packet are, and the pages they are on.
    let (mut places, mut pages, mut packet, mut at) = (Vec::new(), Vec::new(), 0, 0);
    while packet < 2 {
        (out.get(at..at + 4)? == b"OggS").then_some(())?;
        let table = usize::from(*out.get(at + 26)?);
        let lengths = out.get(at + 27..at + 27 + table)?.to_vec();
        let mut from = at + 27 + table;
        let end = from + lengths.iter().copied().map(usize::from).sum::<usize>();
        (end <= out.len()).then_some(())?;
        for length in lengths {
            let bytes = usize::from(length);
            if packet == 1 {
                places.extend(from..from + bytes);
                if pages.last() != Some(&(at, end)) {
                    pages.push((at, end));
                }
            }
            from += bytes;
            packet += usize::from(length < 255);
        }
        at = end;
    }
    let byte = |index: usize| Some(usize::from(out[*places.get(index)?]));
    let number = |index: usize| {
        Some(byte(index)? | byte(index + 1)? << 8 | byte(index + 2)? << 16 | byte(index + 3)? << 24)
    };
    // `\x03vorbis` or `OpusTags`; then who coded it, and the comments, each after its length.
    let mut next = match byte(0)? {
        3 => 7,
        79 => 8,
        _ => return None,
    };
    next += 4 + number(next)?;
    let count = number(next)?;
    next += 4;
    let mut blank = Vec::new();
    for _ in 0..count {
        let length = number(next)?;
        next += 4;
        blank.extend_from_slice(places.get(next..next.checked_add(length)?)?);
        next += length;
    }
    for place in blank {
        out[place] = b' ';
    }
    for (from, end) in pages {
        out[from + 22..from + 26].fill(0);
        let sum = out[from..end].iter().fold(0u32, |sum, &byte| {
            (0..8).fold(sum ^ u32::from(byte) << 24, |sum, _| {
                sum << 1 ^ if sum >> 31 == 1 { 0x04C1_1DB7 } else { 0 }
            })
        });
        out[from + 22..from + 26].copy_from_slice(&sum.to_le_bytes());
    }
    Some(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn broken_files_are_left_as_they_are_from_there_on() {
        for start in [
            &b"RIFF\xFF\xFF\xFF\xFFWAVELIST\xFF\xFF\xFF\xFFname"[..],
            b"fLaC\x84\xFF\xFF\xFF",
            b"OggS",
            b"ID3\x04\0\0\x7F\x7F\x7F\x7F",
        ] {
            for end in 4..=start.len() {
                let _ = unsigned(&start[..end]);
            }
        }
        assert_eq!(unsigned(b"\0\0\0\x0CftypM4A \0\0\0\x01udta"), b"\0\0\0\x0CftypM4A \0\0\0\x01udta");
        assert_eq!(unsigned(b""), b"");
    }

    #[test]
    fn tags_behind_an_mp3_are_cut_off() {
        // The size counts the item and the foot, 40 bytes; the head comes on top.
        let edge = |flags: u32| {
            [&b"APETAGEX\xD0\x07\0\0\x28\0\0\0\x01\0\0\0"[..], &flags.to_le_bytes(), &[0; 8]].concat()
        };
        let item = b"Berta K.";
        let mut old = b"TAGBerta".to_vec();
        old.resize(128, 0);
        let frames = b"\xFF\xFB\x50 the frames";
        for head in [vec![], edge(0xA000_0000)] {
            let flags = if head.is_empty() { 0 } else { 0x8000_0000 };
            for end in [vec![], old.clone()] {
                let file = [&frames[..], &head, item, &edge(flags), &end].concat();
                assert_eq!(unsigned(&file), frames);
            }
        }
    }

    proptest::proptest! {
        #[test]
        fn any_bytes_are_taken(
            start in proptest::sample::select(vec!["RIFF", "fLaC", "OggS", "\0\0\0\u{8}ftyp", "ID3", ""]),
            rest in proptest::collection::vec(proptest::prelude::any::<u8>(), 0..200),
        ) {
            let bytes = [start.as_bytes(), &rest].concat();
            proptest::prop_assert!(unsigned(&bytes).len() <= bytes.len());
        }
    }
}
