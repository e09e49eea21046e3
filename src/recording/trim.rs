//! Which decoded frames are sound and which are an encoder's padding, container by container.
//!
//! Cues are pinned to fractions of a second, so a start that is 25 ms late puts every move late. What the container
//! says is obeyed; where it says nothing, nothing is guessed and the teacher is told.

use super::container::Container;
use super::mp4::{Edit, Gapless, Movie};
use super::{MAX_MINUTES, Warning};
use symphonia::core::codecs::audio::AudioCodecId;
use symphonia::core::codecs::audio::well_known::{CODEC_ID_AAC, CODEC_ID_MP3, CODEC_ID_VORBIS};
use symphonia::core::formats::Track;

/// Frames by which players may disagree on an MP3 whose encoder left no note: the usual encoder delay
/// (576), the decoder's own (529), and a frame (1152) where a player plays the one that holds the table of
/// contents. Source: technical FAQ of the LAME project; the delay measured.
const MP3_DOUBT_FRAMES: u64 = 576 + 529 + 1152;

/// Frames by which players may disagree on AAC without a note: the priming most encoders assume. Source: QuickTime
/// File Format, appendix G.
const AAC_DOUBT_FRAMES: u64 = 2112;

/// Most silence put before the sound for an edit list that asks for it, in seconds; more is a film's
/// business, or damage.
const MAX_LEAD_SECONDS: u64 = 60;

/// What to do with the decoded frames of one track.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Trim {
    /// Frames of silence the container asks for before the sound.
    pub(super) lead: u64,
    /// Frames to leave out at the start.
    pub(super) skip: u64,
    /// Frames to keep after those; `None` keeps all.
    pub(super) keep: Option<u64>,
    /// Frames that decoding should give before trimming; `None` where the container does not say, or only estimates.
    pub(super) whole: Option<u64>,
    /// How many of those may be absent from a file that is not cut short.
    pub(super) slack: u64,
    /// What the teacher should know.
    pub(super) doubt: Option<Warning>,
}

/// Decides what to trim from `track`, decoded at `rate`.
pub(super) fn plan(
    container: Container,
    codec: AudioCodecId,
    track: &Track,
    movie: Option<&Movie>,
    rate: u32,
) -> Trim {
    let mut trim = match container {
        Container::Mpeg if codec == CODEC_ID_MP3 => mp3(track, rate),
        // ADTS frames say nothing of padding, and their count is estimated from the bit rate.
        Container::Mpeg if codec == CODEC_ID_AAC => doubtful(AAC_DOUBT_FRAMES, rate),
        Container::Mp4 => mp4(codec, track, movie, rate),
        Container::Ogg => {
            // The decoder trims Vorbis itself; the end position counts from 0 wherever the stream starts.
            let start = track.start_ts.get().max(0) as u64;
            let whole = track.num_frames.map(|end| end.saturating_sub(start));
            Trim { whole, slack: if codec == CODEC_ID_VORBIS { 8192 } else { 0 }, ..Trim::default() }
        }
        _ => Trim { whole: track.num_frames, ..Trim::default() },
    };
    // A header that promises more than we take, in a file that turned out to be short, is not to be believed.
    trim.whole = trim.whole.filter(|&frames| frames <= MAX_MINUTES * 60 * u64::from(rate));
    trim
}

fn doubtful(frames: u64, rate: u32) -> Trim {
    let milliseconds = (frames * 1000).div_ceil(u64::from(rate)) as u32;
    Trim { doubt: Some(Warning::PaddingUnknown { milliseconds }), ..Trim::default() }
}

/// The Info frame's 12-bit delay and padding arrive here with the decoder's 529 frames already counted in; a zero
/// delay means that the frame was there without them. Without the frame the count is only an estimate.
fn mp3(track: &Track, rate: u32) -> Trim {
    let (Some(delay @ 1..), Some(padding)) = (track.delay, track.padding) else {
        return doubtful(MP3_DOUBT_FRAMES, rate);
    };
    let (delay, padding) = (u64::from(delay), u64::from(padding));
    let whole = track.num_frames.map(|frames| frames + delay + padding);
    // Some encoders count the Info frame itself.
    Trim { skip: delay, keep: track.num_frames, whole, slack: 1152, ..Trim::default() }
}

fn mp4(codec: AudioCodecId, track: &Track, movie: Option<&Movie>, rate: u32) -> Trim {
    let padded = codec == CODEC_ID_AAC || codec == CODEC_ID_MP3;
    let header = movie.and_then(|movie| movie.tracks.iter().find(|header| header.id == track.id));
    let scale = header.map_or(rate, |header| header.timescale).max(1);
    let media = track.duration.map(|ticks| rescale(ticks.get(), scale, rate)).filter(|&frames| frames > 0);
    let base = Trim { whole: media, slack: if padded { 1024 } else { 0 }, ..Trim::default() };

    if let Some(note) = movie.and_then(|movie| movie.gapless).filter(|note| is_plausible(*note, media)) {
        return Trim { skip: note.delay, keep: Some(note.length), ..base };
    }
    let edits = header.map_or(&[][..], |header| &header.edits);
    let empty = edits.iter().take_while(|edit| edit.media_time < 0).count();
    let (silence, sound) = edits.split_at(empty);
    let timescale = movie.map_or(0, |movie| movie.timescale);
    let lead = silence.iter().map(|edit| edit.length).fold(0, u64::saturating_add);
    let lead = rescale(lead, timescale, rate).min(MAX_LEAD_SECONDS * u64::from(rate));
    let [edit, others @ ..] = sound else {
        let doubt = if padded { doubtful(AAC_DOUBT_FRAMES, rate).doubt } else { None };
        return Trim { lead, doubt, ..base };
    };
    let skip = rescale(edit.media_time as u64, scale, rate);
    // Cuts in the middle of the sound belong to film editing; the first piece's start still holds.
    let keep = if others.is_empty() { kept(edit, skip, media, timescale, rate) } else { None };
    // Every AAC encoder primes: an edit from 0 means that whoever wrote it did not know.
    let doubt = if padded && skip == 0 { doubtful(AAC_DOUBT_FRAMES, rate).doubt } else { None };
    Trim { lead, skip, keep, doubt, ..base }
}

/// The frames of `edit`. Its length is in movie ticks, often whole milliseconds, so where the media ends within
/// a tick of it, the media's own end is the exact one.
fn kept(edit: &Edit, skip: u64, media: Option<u64>, timescale: u32, rate: u32) -> Option<u64> {
    if edit.length == 0 || timescale == 0 {
        return None;
    }
    let stated = rescale(edit.length, timescale, rate);
    let tick = u64::from(rate / timescale) + 1;
    match media.and_then(|frames| frames.checked_sub(skip)) {
        Some(rest) if rest.abs_diff(stated) <= tick => Some(rest),
        _ => Some(stated),
    }
}

/// Whether a gapless note describes this file: everything in it together is what the file holds, give or take a packet
/// (in HE-AAC files it counts frames at twice the rate, and does not).
fn is_plausible(note: Gapless, media: Option<u64>) -> bool {
    let total = note.delay.checked_add(note.padding).and_then(|ends| ends.checked_add(note.length));
    note.length > 0
        && note.delay < 16_384
        && total.is_some_and(|total| media.is_none_or(|media| media.abs_diff(total) <= 2048))
}

/// `ticks` of 1/`from` s as the nearest number of ticks of 1/`to` s; 0 where `from` is 0.
pub(super) fn rescale(ticks: u64, from: u32, to: u32) -> u64 {
    let (ticks, from, to) = (u128::from(ticks), u128::from(from), u128::from(to));
    (ticks * to + from / 2).checked_div(from).map_or(0, |there| u64::try_from(there).unwrap_or(u64::MAX))
}

#[cfg(test)]
mod tests {
    use super::super::mp4::MovieTrack;
    use super::*;
    use symphonia::core::codecs::audio::well_known::CODEC_ID_ALAC;
    use symphonia::core::units::Duration;

    fn aac(media: u64, edits: &[Edit], gapless: Option<Gapless>) -> Trim {
        let header = MovieTrack { id: 1, timescale: 44_100, edits: edits.to_vec(), ..Default::default() };
        let movie = Movie { timescale: 1_000, tracks: vec![header], gapless, is_cut: false };
        let mut track = Track::new(1);
        track.with_duration(Duration::from(media));
        plan(Container::Mp4, CODEC_ID_AAC, &track, Some(&movie), 44_100)
    }

    #[test]
    fn an_edit_list_moves_the_start_and_the_media_ends_it_exactly() {
        let trim = aac(89_224, &[Edit { length: 2_000, media_time: 1_024 }], None);
        assert_eq!((trim.lead, trim.skip, trim.keep, trim.doubt), (0, 1_024, Some(88_200), None));
        let trim = aac(100_000, &[Edit { length: 2_000, media_time: 1_024 }], None);
        assert_eq!(trim.keep, Some(88_200));
    }

    #[test]
    fn an_empty_edit_is_silence_first() {
        let edits = [Edit { length: 500, media_time: -1 }, Edit { length: 0, media_time: 2_112 }];
        let trim = aac(90_000, &edits, None);
        assert_eq!((trim.lead, trim.skip, trim.keep), (22_050, 2_112, None));
    }

    #[test]
    fn a_gapless_note_outranks_the_edit_list_unless_it_is_another_file_s() {
        let edit = [Edit { length: 2_000, media_time: 0 }];
        let note = Gapless { delay: 2_112, padding: 700, length: 88_200 };
        let trim = aac(2_112 + 700 + 88_200, &edit, Some(note));
        assert_eq!((trim.skip, trim.keep, trim.doubt), (2_112, Some(88_200), None));
        let trim = aac(44_100, &edit, Some(note));
        assert_eq!((trim.skip, trim.doubt), (0, Some(Warning::PaddingUnknown { milliseconds: 48 })));
        let absurd = Gapless { delay: u64::MAX, padding: u64::MAX, length: u64::MAX };
        assert_eq!(aac(44_100, &edit, Some(absurd)).skip, 0);
    }

    #[test]
    fn only_codecs_that_pad_are_doubted() {
        let mut track = Track::new(1);
        track.with_duration(Duration::from(1_000u64));
        assert_eq!(plan(Container::Mp4, CODEC_ID_ALAC, &track, None, 44_100).doubt, None);
        let doubt = plan(Container::Mp4, CODEC_ID_AAC, &track, None, 44_100).doubt;
        assert_eq!(doubt, Some(Warning::PaddingUnknown { milliseconds: 48 }));
    }

    #[test]
    fn an_mp3_is_trimmed_by_its_note_alone() {
        let mut track = Track::new(0);
        track.with_num_frames(44_100);
        let trim = plan(Container::Mpeg, CODEC_ID_MP3, &track, None, 44_100);
        assert_eq!((trim.keep, trim.whole), (None, None));
        assert_eq!(trim.doubt, Some(Warning::PaddingUnknown { milliseconds: 52 }));
        track.with_delay(1_105).with_padding(875);
        let trim = plan(Container::Mpeg, CODEC_ID_MP3, &track, None, 44_100);
        assert_eq!((trim.skip, trim.keep, trim.whole), (1_105, Some(44_100), Some(46_080)));
        assert_eq!(trim.doubt, None);
    }

    #[test]
    fn rescaling_rounds_and_never_overflows() {
        assert_eq!(rescale(1_001, 1_000, 44_100), 44_144);
        assert_eq!(rescale(5, 0, 44_100), 0);
        assert_eq!(rescale(u64::MAX, 1, u32::MAX), u64::MAX);
    }
}
