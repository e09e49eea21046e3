//! What an MP4 file says about itself that the decoder does not pass on: edit lists, iTunes gapless notes, which
//! tracks are sound, and whether they are locked.
//!
//! Sources: ISO/IEC 14496-12 (ISO base media file format), 4.2 boxes, 8.2.2 `mvhd`, 8.4.2 `mdhd`, 8.4.3
//! `hdlr`, 8.5.2 `stsd`, 8.7.3.2 `stsz`, 8.6.6 `elst`; QuickTime File Format, appendix G (audio priming). Nothing here decodes sound.

use std::io::{self, Read, Seek, SeekFrom};

/// The largest `moov` box read, in bytes: 90 minutes of AAC need about 2 MB, a cover picture a few more.
const MAX_MOOV_BYTES: u64 = 64 * 1024 * 1024;

/// The movie header's words.
#[derive(Debug, Default, Clone, PartialEq, Eq)]
pub(super) struct Movie {
    /// Ticks a second in which edits are measured.
    pub(super) timescale: u32,
    /// Every track, in file order.
    pub(super) tracks: Vec<MovieTrack>,
    /// The iTunes gapless note.
    pub(super) gapless: Option<Gapless>,
    /// The file ends before its last box does.
    pub(super) is_cut: bool,
}

/// One track.
#[derive(Debug, Default, Clone, PartialEq, Eq)]
pub(super) struct MovieTrack {
    pub(super) id: u32,
    /// `soun` for sound.
    pub(super) handler: [u8; 4],
    /// The sample entry, which names the codec.
    pub(super) entry: [u8; 4],
    /// Ticks a second in which the media is measured.
    pub(super) timescale: u32,
    /// Bytes in the largest sample, which the demuxer will reserve unseen.
    pub(super) largest_sample: u32,
    /// The edit list; empty where there is none.
    pub(super) edits: Vec<Edit>,
}

/// One entry of an edit list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Edit {
    /// Length in movie ticks; 0 means to the end.
    pub(super) length: u64,
    /// Where in the media it begins, in media ticks; -1 is an empty edit (silence).
    pub(super) media_time: i64,
}

/// Frames to leave out at either end, and how many remain.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Gapless {
    pub(super) delay: u64,
    pub(super) padding: u64,
    pub(super) length: u64,
}

impl MovieTrack {
    /// Whether the track is sound.
    pub(super) fn is_sound(&self) -> bool {
        &self.handler == b"soun"
    }

    /// Whether the track is encrypted (`drms` by iTunes, `enca` by ISO/IEC 14496-12, 8.12).
    pub(super) fn is_protected(&self) -> bool {
        matches!(&self.entry, b"drms" | b"enca" | b"encv" | b"drmi")
    }
}

/// Reads the movie header wherever it is in `source`, which is left at an unspecified position.
///
/// `None` where there is no whole `moov` box: a file cut short, or one that is not MP4.
pub(super) fn read(source: &mut (impl Read + Seek + ?Sized)) -> io::Result<Option<Movie>> {
    let end = source.seek(SeekFrom::End(0))?;
    let mut movie: Option<Movie> = None;
    let mut at = 0;
    while at + 8 <= end {
        source.seek(SeekFrom::Start(at))?;
        let mut header = [0; 16];
        let known = header.len().min((end - at) as usize);
        source.read_exact(&mut header[..known])?;
        let (size, body) = match u64::from(be_u32(&header)) {
            0 => (end - at, at + 8),
            1 => (be_u64(&header[8..]), at + 16),
            size => (size, at + 8),
        };
        let Some(next) = at.checked_add(size).filter(|&next| next >= body && next <= end) else {
            movie = movie.map(|movie| Movie { is_cut: true, ..movie });
            break;
        };
        if &header[4..8] == b"moov" && movie.is_none() && next - body <= MAX_MOOV_BYTES {
            source.seek(SeekFrom::Start(body))?;
            let mut moov = Vec::new();
            source.take(next - body).read_to_end(&mut moov)?;
            movie = Some(parse(&moov));
        }
        at = next;
    }
    Ok(movie)
}

/// Reads a movie header out of the body of a `moov` box. What is missing or malformed stays at its default.
fn parse(moov: &[u8]) -> Movie {
    let mut movie = Movie::default();
    for (kind, body) in Boxes(moov) {
        match &kind {
            b"mvhd" => movie.timescale = timescale(body),
            b"trak" => movie.tracks.push(track(body)),
            b"udta" => movie.gapless = movie.gapless.or_else(|| gapless_in(body)),
            _ => {}
        }
    }
    movie
}

fn track(trak: &[u8]) -> MovieTrack {
    let mut track = MovieTrack::default();
    for (kind, body) in Boxes(trak) {
        match &kind {
            // Version 1 headers have 64-bit times before the identifier.
            b"tkhd" => track.id = u32_at(body, if body.first() == Some(&1) { 20 } else { 12 }),
            b"edts" => track.edits = child(body, b"elst").map(edits).unwrap_or_default(),
            b"mdia" => {
                track.timescale = child(body, b"mdhd").map_or(0, timescale);
                track.handler = child(body, b"hdlr").map_or([0; 4], |hdlr| four(hdlr, 8));
                let table = child(body, b"minf").and_then(|minf| child(minf, b"stbl")).unwrap_or_default();
                track.entry = child(table, b"stsd").map_or([0; 4], |stsd| four(stsd, 12));
                track.largest_sample = child(table, b"stsz").map_or(0, largest);
            }
            _ => {}
        }
    }
    track
}

fn edits(elst: &[u8]) -> Vec<Edit> {
    let wide = elst.first() == Some(&1);
    let count = u32_at(elst, 4) as usize;
    let entries = elst.get(8..).unwrap_or_default().chunks_exact(if wide { 20 } else { 12 });
    let edit = |entry: &[u8]| {
        if wide {
            Edit { length: be_u64(entry), media_time: be_u64(&entry[8..]) as i64 }
        } else {
            Edit { length: be_u32(entry).into(), media_time: (be_u32(&entry[4..]) as i32).into() }
        }
    };
    entries.take(count).map(edit).collect()
}

/// The largest size in a sample size box: one for all samples, or a table.
fn largest(stsz: &[u8]) -> u32 {
    match u32_at(stsz, 4) {
        0 => stsz.get(12..).unwrap_or_default().chunks_exact(4).map(be_u32).max().unwrap_or(0),
        size => size,
    }
}

/// Looks for the `iTunSMPB` note among free-form tags: hexadecimal words, of which the second is the
/// delay, the third the padding and the fourth the length, in frames (common practice; no published standard).
fn gapless_in(udta: &[u8]) -> Option<Gapless> {
    let meta = child(udta, b"meta")?;
    // An ISO `meta` box has a version before its children, a QuickTime one has not.
    let children = if meta.get(4..8) == Some(&b"hdlr"[..]) { meta } else { meta.get(4..)? };
    for (kind, body) in Boxes(child(children, b"ilst")?) {
        if &kind != b"----" || child(body, b"name").and_then(|name| name.get(4..)) != Some(&b"iTunSMPB"[..]) {
            continue;
        }
        let text = std::str::from_utf8(child(body, b"data")?.get(8..)?).ok()?;
        let mut words = text.split_ascii_whitespace().map(|word| u64::from_str_radix(word, 16));
        let (_, delay, padding, length) = (words.next()?, words.next()?, words.next()?, words.next()?);
        return Some(Gapless { delay: delay.ok()?, padding: padding.ok()?, length: length.ok()? });
    }
    None
}

/// `mvhd` and `mdhd` have their timescale in the same place.
fn timescale(header: &[u8]) -> u32 {
    u32_at(header, if header.first() == Some(&1) { 20 } else { 12 })
}

/// The boxes side by side in a slice; ends at the first whose size does not fit.
struct Boxes<'a>(&'a [u8]);

impl<'a> Iterator for Boxes<'a> {
    type Item = ([u8; 4], &'a [u8]);

    fn next(&mut self) -> Option<Self::Item> {
        let (header, rest) = self.0.split_at_checked(8)?;
        let kind = four(header, 4);
        let (size, rest) = match be_u32(header) {
            0 => (rest.len() as u64, rest),
            1 => {
                let (large, rest) = rest.split_at_checked(8)?;
                (be_u64(large).checked_sub(16)?, rest)
            }
            size => (u64::from(size).checked_sub(8)?, rest),
        };
        let (body, after) = rest.split_at_checked(usize::try_from(size).ok()?)?;
        self.0 = after;
        Some((kind, body))
    }
}

fn child<'a>(body: &'a [u8], wanted: &[u8; 4]) -> Option<&'a [u8]> {
    Boxes(body).find(|(kind, _)| kind == wanted).map(|(_, body)| body)
}

fn four(bytes: &[u8], at: usize) -> [u8; 4] {
    bytes.get(at..at + 4).and_then(|four| four.try_into().ok()).unwrap_or_default()
}

fn u32_at(bytes: &[u8], at: usize) -> u32 {
    u32::from_be_bytes(four(bytes, at))
}

fn be_u32(bytes: &[u8]) -> u32 {
    u32_at(bytes, 0)
}

fn be_u64(bytes: &[u8]) -> u64 {
    u64::from(be_u32(bytes)) << 32 | u64::from(u32_at(bytes, 4))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn boxed(kind: &[u8; 4], body: &[u8]) -> Vec<u8> {
        let size = (body.len() as u32 + 8).to_be_bytes();
        [&size[..], kind, body].concat()
    }

    fn words(numbers: &[u32]) -> Vec<u8> {
        numbers.iter().flat_map(|number| number.to_be_bytes()).collect()
    }

    fn sample_movie() -> Vec<u8> {
        let stsd = boxed(b"stsd", &[words(&[0, 1, 36]), b"mp4a".to_vec()].concat());
        let stsz = boxed(b"stsz", &words(&[0, 0, 3, 700, 900, 800]));
        let minf = boxed(b"minf", &boxed(b"stbl", &[stsd, stsz].concat()));
        let hdlr = boxed(b"hdlr", &[words(&[0, 0]), b"soun".to_vec()].concat());
        let mdhd = boxed(b"mdhd", &words(&[0, 0, 0, 44_100, 90_000]));
        let elst = boxed(b"elst", &words(&[0, 2, 500, u32::MAX, 0x1_0000, 2_000, 2_112, 0x1_0000]));
        let trak = [
            boxed(b"tkhd", &words(&[0, 0, 0, 7])),
            boxed(b"edts", &elst),
            boxed(b"mdia", &[mdhd, hdlr, minf].concat()),
        ];
        let data = [words(&[1, 0]), b" 00000000 00000840 000001CA 00000000003F31F6 0".to_vec()].concat();
        let note = [
            boxed(b"mean", b"\0\0\0\0com.apple.iTunes"),
            boxed(b"name", b"\0\0\0\0iTunSMPB"),
            boxed(b"data", &data),
        ];
        let ilst = boxed(b"ilst", &boxed(b"----", &note.concat()));
        let meta = boxed(b"meta", &[words(&[0]), ilst].concat());
        let moov = [
            boxed(b"mvhd", &words(&[0, 0, 0, 1_000, 2_500])),
            boxed(b"trak", &trak.concat()),
            boxed(b"udta", &meta),
        ];
        [boxed(b"ftyp", b"M4A "), boxed(b"mdat", &[0; 99]), boxed(b"moov", &moov.concat())].concat()
    }

    #[test]
    fn the_header_behind_the_sound_is_read() {
        let movie = read(&mut io::Cursor::new(sample_movie())).unwrap().unwrap();
        assert_eq!(movie.timescale, 1_000);
        assert_eq!(movie.gapless, Some(Gapless { delay: 2_112, padding: 0x1ca, length: 0x3f_31f6 }));
        let [track] = &movie.tracks[..] else { panic!("one track") };
        assert_eq!((track.id, track.timescale, &track.entry), (7, 44_100, b"mp4a"));
        assert!(track.is_sound() && !track.is_protected());
        assert_eq!(track.largest_sample, 900);
        let empty = Edit { length: 500, media_time: -1 };
        assert_eq!(track.edits, [empty, Edit { length: 2_000, media_time: 2_112 }]);
    }

    #[test]
    fn a_header_cut_anywhere_is_no_header_and_no_panic() {
        let whole = sample_movie();
        for length in 0..whole.len() {
            assert_eq!(read(&mut io::Cursor::new(&whole[..length])).unwrap(), None, "{length} bytes");
        }
    }

    #[test]
    fn any_damaged_byte_is_survived() {
        let whole = sample_movie();
        for at in 0..whole.len() {
            for value in [0, 1, 0x7f, 0xff] {
                let mut damaged = whole.clone();
                damaged[at] = value;
                read(&mut io::Cursor::new(damaged)).unwrap();
            }
        }
    }
}
