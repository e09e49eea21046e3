//! A click at 1.000 s is at 1.000 s in every format, or the teacher is told (fixture T13 of the project's reference
//! values: +-1 ms), and the end is where it was.

use super::encode::Studio;
use super::{decoded, is_doubted, lively};
use farandole::recording::{Recording, Warning};

/// A click of half a millisecond at 1 s in 2.37 s of silence.
fn click(channels: u16, rate: u32) -> Vec<f32> {
    let width = (rate / 2_000).max(1);
    let is_click = |frame: u32| (rate..rate + width).contains(&frame);
    let frames = (f64::from(rate) * 2.37) as u32;
    let frame = |frame| std::iter::repeat_n(if is_click(frame) { 0.8 } else { 0.0 }, channels.into());
    (0..frames).flat_map(frame).collect()
}

/// Where the click begins: the first frame at half its height.
fn click_ms(recording: &Recording) -> f64 {
    let frames = recording.samples.chunks(recording.channels.into());
    let at = frames.into_iter().position(|frame| frame[0].abs() > 0.4).expect("a click");
    at as f64 * 1000.0 / f64::from(recording.rate.0)
}

/// Encodes a click with ffmpeg and checks its time, the length and that there is nothing to warn of.
fn assert_on_time(name: &str, options: &[&str], shapes: &[(u16, u32)]) {
    for &(channels, rate) in shapes {
        let studio = Studio::new();
        let samples = click(channels, rate);
        let file = studio.ffmpeg(&studio.wav("source.wav", &samples, channels, rate), options, name);
        let recording = decoded(&file);
        let what = format!("{name}, {channels} channels at {rate} Hz");
        assert_eq!((recording.channels, recording.rate.0), (channels, rate), "{what}");
        let off = click_ms(&recording) - 1000.0;
        assert!(off.abs() <= 1.0, "{what}: the click is {off:+.3} ms off");
        assert_eq!(recording.frames().0, (samples.len() / usize::from(channels)) as u64, "{what}");
        assert_eq!(recording.warnings, [], "{what}");
    }
}

/// Encodes a click in a way that does not say where the sound begins and checks that the teacher is told, with a
/// number that covers what is wrong.
fn assert_doubted(name: &str, options: &[&str]) {
    for rate in [22_050, 44_100, 48_000] {
        let studio = Studio::new();
        let recording =
            decoded(&studio.ffmpeg(&studio.wav("source.wav", &click(2, rate), 2, rate), options, name));
        let off = (click_ms(&recording) - 1000.0).abs();
        let [Warning::PaddingUnknown { milliseconds }] = recording.warnings[..] else {
            panic!("{name} at {rate} Hz is {off:.1} ms off, and the warnings are {:?}", recording.warnings)
        };
        assert!(off <= f64::from(milliseconds), "{name} at {rate} Hz: {off:.1} ms off, {milliseconds} told");
    }
}

const EVERY_RATE: [(u16, u32); 9] = [
    (1, 8_000),
    (2, 11_025),
    (1, 16_000),
    (2, 22_050),
    (2, 44_100),
    (1, 48_000),
    (2, 88_200),
    (2, 96_000),
    (1, 192_000),
];

#[test]
fn wav_clicks_are_on_time() {
    for codec in ["pcm_u8", "pcm_s16le", "pcm_s24le", "pcm_s32le", "pcm_f32le", "pcm_f64le"] {
        assert_on_time("click.wav", &["-c:a", codec], &EVERY_RATE);
    }
}

#[test]
fn flac_clicks_are_on_time() {
    assert_on_time("click.flac", &["-sample_fmt", "s16"], &EVERY_RATE);
    assert_on_time("click.flac", &["-sample_fmt", "s32"], &EVERY_RATE);
}

#[test]
fn aiff_clicks_are_on_time() {
    assert_on_time("click.aiff", &[], &EVERY_RATE);
    assert_on_time("click.aiff", &["-c:a", "pcm_s24be"], &EVERY_RATE);
}

#[test]
fn alac_clicks_are_on_time() {
    assert_on_time("click.m4a", &["-c:a", "alac"], &EVERY_RATE);
}

#[test]
fn vorbis_clicks_are_on_time() {
    assert_on_time("click.ogg", &["-c:a", "libvorbis"], &EVERY_RATE);
}

#[test]
fn aac_clicks_are_on_time_by_their_edit_list() {
    let shapes = [(1, 8_000), (2, 22_050), (1, 44_100), (2, 44_100), (2, 48_000), (2, 96_000)];
    assert_on_time("click.m4a", &["-c:a", "aac"], &shapes);
    assert_on_time("click.m4a", &["-c:a", "aac", "-movflags", "faststart"], &shapes);
}

#[test]
fn mp3_clicks_are_on_time_by_their_info_frame() {
    let shapes = [(1, 22_050), (2, 22_050), (1, 44_100), (2, 44_100), (1, 48_000), (2, 48_000)];
    assert_on_time("click.mp3", &["-b:a", "128k"], &shapes);
    assert_on_time("click.mp3", &["-q:a", "4"], &shapes);
}

#[test]
fn up_to_six_channels_are_on_time() {
    let shapes: Vec<_> = (1..=6).map(|channels| (channels, 44_100)).collect();
    assert_on_time("click.wav", &["-c:a", "pcm_s24le"], &shapes);
    assert_on_time("click.flac", &[], &shapes);
    assert_on_time("click.aiff", &[], &shapes);
    assert_on_time("click.ogg", &["-c:a", "libvorbis"], &shapes);
}

#[test]
fn what_does_not_say_where_it_begins_is_doubted() {
    assert_doubted("click.aac", &["-c:a", "aac"]);
    assert_doubted("click.m4a", &["-c:a", "aac", "-use_editlist", "0"]);
    assert_doubted("click.m4a", &["-c:a", "aac", "-movflags", "frag_keyframe+empty_moov"]);
    assert_doubted("click.mp3", &["-write_xing", "0"]);
    assert_doubted("click.mp3", &["-q:a", "4", "-write_xing", "0"]);
}

/// Without an Info frame the length can only be guessed from the bit rate; a guess must not cut the sound.
#[test]
fn a_guessed_length_cuts_nothing_off() {
    let studio = Studio::new();
    // Silence first, so that the first frames' bit rate promises far more or less than there is.
    let mut samples = vec![0.0; 44_100 * 3];
    samples.extend(lively(6.0, 1, 44_100));
    let source = studio.wav("source.wav", &samples, 1, 44_100);
    for options in [&["-q:a", "0", "-write_xing", "0"][..], &["-b:a", "64k", "-write_xing", "0"]] {
        let file = studio.ffmpeg(&source, options, "guess.mp3");
        let theirs = studio.decoded_by_ffmpeg(&file).len();
        assert_eq!(decoded(&file).samples.len(), theirs, "{options:?}");
    }
}

/// Files by iTunes and its kin say it in a free-form tag; written here by hand after common practice.
#[test]
fn a_gapless_note_is_obeyed() {
    let studio = Studio::new();
    let source = studio.wav("source.wav", &click(2, 44_100), 2, 44_100);
    let plain = studio.ffmpeg(&source, &["-c:a", "aac", "-use_editlist", "0"], "plain.m4a");
    let undecided = decoded(&plain);
    assert!(is_doubted(&undecided));
    let frames = 104_517;
    let padding = undecided.frames().0 - 1_024 - frames;
    let note = format!(" 00000000 {:08X} {padding:08X} {frames:016X} 00000000", 1_024);
    let noted = studio.write("noted.m4a", with_gapless_note(std::fs::read(plain).unwrap(), &note));
    let recording = decoded(&noted);
    assert!((click_ms(&recording) - 1000.0).abs() <= 1.0, "{}", click_ms(&recording));
    assert_eq!((recording.frames().0, &recording.warnings[..]), (frames, &[][..]));
}

/// Adds an `iTunSMPB` tag to an MP4 whose movie header comes last.
fn with_gapless_note(mut file: Vec<u8>, note: &str) -> Vec<u8> {
    let boxed = |kind: &[u8], body: &[u8]| {
        let size = (body.len() as u32 + 8).to_be_bytes();
        [&size, kind, body].concat()
    };
    let data = boxed(b"data", &[&[0, 0, 0, 1, 0, 0, 0, 0], note.as_bytes()].concat());
    let mean = boxed(b"mean", b"\0\0\0\0com.apple.iTunes");
    let tag = boxed(b"----", &[mean, boxed(b"name", b"\0\0\0\0iTunSMPB"), data].concat());
    let at = find(&file, b"ilst") - 4;
    // The tag list is the last thing in the tag boxes, and they in the file: each of them grows.
    for kind in [&b"moov"[..], b"udta", b"meta", b"ilst"] {
        let size_at = find(&file, kind) - 4;
        let size = u32::from_be_bytes(file[size_at..size_at + 4].try_into().unwrap());
        file[size_at..size_at + 4].copy_from_slice(&(size + tag.len() as u32).to_be_bytes());
    }
    assert!(at < file.len());
    file.extend(tag);
    file
}

fn find(file: &[u8], kind: &[u8]) -> usize {
    file.windows(4).rposition(|four| four == kind).expect("a box of that kind")
}
