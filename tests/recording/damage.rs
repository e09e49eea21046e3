//! Damaged files: what is usable is kept in time and the teacher is told; nothing panics, hangs, or gives samples that
//! are not numbers.

use super::encode::{Studio, wav_bytes};
use super::{decode_bytes, decoded, lively};
use farandole::recording::{MAX_SAMPLES, Recording, Warning};
use proptest::prelude::*;
use std::sync::LazyLock;
use std::sync::mpsc::channel;
use std::time::Duration;

fn bytes_of(studio: &Studio, options: &[&str], name: &str, samples: &[f32], rate: u32) -> Vec<u8> {
    let source = studio.wav("source.wav", samples, 2, rate);
    std::fs::read(studio.ffmpeg(&source, options, name)).unwrap()
}

fn truncation(recording: &Recording) -> Option<u32> {
    recording.warnings.iter().find_map(|warning| match warning {
        Warning::Truncated { missing_seconds } => Some(*missing_seconds),
        _ => None,
    })
}

#[test]
fn half_a_file_keeps_what_is_usable_and_says_so() {
    let studio = Studio::new();
    let samples = lively(10.0, 2, 44_100);
    for (name, options, is_counted) in [
        ("a.wav", &["-c:a", "pcm_s16le"][..], true),
        ("a.aiff", &[], true),
        ("a.flac", &[], true),
        ("a.mp3", &["-b:a", "128k"], true),
        ("a.mp3", &["-q:a", "4"], true),
        ("a.m4a", &["-c:a", "aac", "-movflags", "faststart"], true),
        ("a.m4a", &["-c:a", "alac", "-movflags", "faststart"], true),
        // The length stands on the last page.
        ("a.ogg", &[], false),
    ] {
        let whole = bytes_of(&studio, options, name, &samples, 44_100);
        let complete = decode_bytes(whole.clone(), name).unwrap();
        let half = decode_bytes(whole[..whole.len() / 2].to_vec(), name)
            .unwrap_or_else(|error| panic!("{name} {options:?}: {error}"));
        let seconds = half.length().0;
        assert!((3.5..6.5).contains(&seconds), "{name} {options:?}: {seconds} s of half a file");
        let missing = truncation(&half).unwrap_or_else(|| panic!("{name} {options:?}: {:?}", half.warnings));
        let expected = if is_counted { (10.0 - seconds).round() } else { 0.0 };
        assert!(
            (f64::from(missing) - expected).abs() <= 1.0,
            "{name} {options:?}: {missing} s, {expected} s"
        );
        // The kept part is in its place; a compressed one may end in a damaged packet.
        let usable = half.samples.len().saturating_sub(8_192);
        let differs = half.samples[..usable]
            .iter()
            .zip(complete.samples.iter())
            .position(|(a, b)| (a - b).abs() > 1e-3);
        assert_eq!(differs, None, "{name} {options:?}");
    }
}

#[test]
fn a_few_missing_bytes_are_noticed() {
    let studio = Studio::new();
    let samples = lively(3.0, 2, 44_100);
    for (name, options) in [("a.wav", &["-c:a", "pcm_s16le"][..]), ("a.flac", &[])] {
        let whole = bytes_of(&studio, options, name, &samples, 44_100);
        for missing in [1, 2, 3, 4, 100] {
            let cut = decode_bytes(whole[..whole.len() - missing].to_vec(), name).unwrap();
            assert_eq!(truncation(&cut), Some(0), "{name} less {missing}: {:?}", cut.warnings);
        }
    }
}

#[test]
fn a_writer_that_did_not_know_the_length_is_believed() {
    let samples = lively(1.0, 2, 44_100);
    let mut streamed = wav_bytes(&samples, 2, 44_100);
    streamed[4..8].copy_from_slice(&[0xff; 4]);
    streamed[40..44].copy_from_slice(&[0xff; 4]);
    let recording = decode_bytes(streamed, "streamed.wav").unwrap();
    assert_eq!(recording.samples.as_ref(), &samples[..]);
    assert_eq!(recording.warnings, []);
}

#[test]
fn numbers_that_are_none_are_silenced_and_counted() {
    let studio = Studio::new();
    let all = decoded(&studio.wav("nan.wav", &[f32::NAN; 1_000], 2, 44_100));
    assert!(all.samples.iter().all(|&sample| sample == 0.0));
    assert_eq!(all.warnings, [Warning::BadSamples { count: 1_000 }]);
    let some = decoded(&studio.wav("inf.wav", &[0.5, f32::INFINITY, f32::NEG_INFINITY, 2.0], 1, 44_100));
    assert_eq!(some.samples.as_ref(), &[0.5, 0.0, 0.0, 2.0]);
    assert_eq!(some.warnings, [Warning::BadSamples { count: 2 }]);
}

#[test]
fn a_hole_does_not_move_what_follows() {
    let studio = Studio::new();
    let mut samples = lively(6.0, 2, 44_100);
    // A second of silence with a click in it, after the hole.
    samples[2 * 44_100 * 4..2 * 44_100 * 5].fill(0.0);
    samples[2 * 198_450] = 0.9;
    samples[2 * 198_450 + 1] = 0.9;
    for (name, options) in [
        ("a.flac", &[][..]),
        ("a.mp3", &["-b:a", "128k"]),
        ("a.m4a", &["-c:a", "alac", "-movflags", "faststart"]),
        ("a.m4a", &["-c:a", "aac", "-movflags", "faststart"]),
    ] {
        let mut bytes = bytes_of(&studio, options, name, &samples, 44_100);
        let middle = bytes.len() / 3;
        // Not over a whole packet, so that framing by sync words is found again.
        bytes[middle..middle + 200].fill(0xaa);
        let recording = decode_bytes(bytes, name).unwrap();
        let quiet = &recording.samples[2 * 190_000..2 * 205_000];
        let loudest =
            quiet.chunks(2).enumerate().max_by(|a, b| a.1[0].abs().total_cmp(&b.1[0].abs())).unwrap();
        let off = (loudest.0 as f64 + 190_000.0 - 198_450.0) / 44.1;
        assert!(off.abs() <= 1.0, "{name}: {off:.2} ms off, {:?}", recording.warnings);
        assert!((recording.frames().0 as i64 - 264_600).abs() <= 1_152, "{name}: {}", recording.frames().0);
    }
}

#[test]
fn a_damaged_flac_block_is_reported() {
    let studio = Studio::new();
    let mut bytes = bytes_of(&studio, &[], "a.flac", &lively(3.0, 2, 44_100), 44_100);
    let middle = bytes.len() / 2;
    bytes[middle..middle + 50].fill(0);
    let recording = decode_bytes(bytes, "a.flac").unwrap();
    assert_eq!(recording.frames().0, 132_300);
    assert_eq!(recording.warnings, [Warning::Damaged { packets: 1 }]);
}

#[test]
fn noise_behind_a_tag_is_not_music() {
    let mut bytes = b"ID3\x03\0\0\0\0\0\0".to_vec();
    bytes.extend(lively(2.0, 1, 44_100).iter().flat_map(|sample| sample.to_le_bytes()));
    assert!(decode_bytes(bytes, "noise.mp3").is_err());
}

#[test]
fn joined_ogg_files_are_read_on() {
    let studio = Studio::new();
    let samples = lively(1.5, 2, 44_100);
    let first = bytes_of(&studio, &["-serial_offset", "1"], "a.ogg", &samples, 44_100);
    let second = bytes_of(&studio, &["-serial_offset", "9"], "b.ogg", &samples, 44_100);
    let joined = decode_bytes([&first[..], &second].concat(), "joined.ogg").unwrap();
    assert_eq!((joined.frames().0, &joined.warnings[..]), (132_300, &[][..]));
    let other = bytes_of(&studio, &["-serial_offset", "9"], "c.ogg", &samples, 48_000);
    let mixed = decode_bytes([&first[..], &other].concat(), "mixed.ogg").unwrap();
    assert_eq!((mixed.frames().0, &mixed.warnings[..]), (66_150, &[Warning::OnlyFirstPart][..]));
}

#[test]
fn joined_mp3_files_lose_nothing() {
    let studio = Studio::new();
    let samples = lively(1.5, 2, 44_100);
    let first = bytes_of(&studio, &["-id3v2_version", "0"], "a.mp3", &samples, 44_100);
    let joined = decode_bytes([&first[..], &first].concat(), "joined.mp3").unwrap();
    assert!(joined.frames().0 >= 132_300, "{}", joined.frames().0);
}

#[test]
fn an_mp3_that_begins_in_the_middle_is_doubted_and_plays_on() {
    let studio = Studio::new();
    let whole =
        bytes_of(&studio, &["-q:a", "4", "-id3v2_version", "0"], "a.mp3", &lively(5.0, 2, 44_100), 44_100);
    let rest = decode_bytes(whole[whole.len() / 2 + 7..].to_vec(), "a.mp3").unwrap();
    assert!((2.0..3.0).contains(&rest.length().0), "{}", rest.length().0);
    assert!(super::is_doubted(&rest) && truncation(&rest).is_none(), "{:?}", rest.warnings);
}

#[test]
fn a_flac_behind_a_tag_is_a_flac() {
    let studio = Studio::new();
    let samples = lively(2.0, 2, 44_100);
    let flac = bytes_of(&studio, &[], "a.flac", &samples, 44_100);
    let tagged = [&b"ID3\x03\0\0\0\0\0\x0a\0\0\0\0\0\0\0\0\0\0"[..], &flac].concat();
    let recording = decode_bytes(tagged.clone(), "a.flac").unwrap();
    assert_eq!((recording.frames().0, &recording.warnings[..]), (88_200, &[][..]));
    let half = decode_bytes(tagged[..tagged.len() / 2].to_vec(), "a.flac").unwrap();
    assert_eq!(truncation(&half), Some(1));
}

/// Small files of every kind, made once.
static SEEDS: LazyLock<Vec<(&str, Vec<u8>)>> = LazyLock::new(|| {
    let studio = Studio::new();
    let samples = lively(0.3, 2, 22_050);
    let kinds: [(&str, &[&str]); 12] = [
        ("a.wav", &["-c:a", "pcm_s16le"]),
        ("a.wav", &["-c:a", "pcm_f64le"]),
        ("a.wav", &["-c:a", "adpcm_ms"]),
        ("a.aiff", &[]),
        ("a.flac", &["-metadata", "title=March"]),
        ("a.mp3", &["-b:a", "64k", "-metadata", "title=March"]),
        ("a.mp3", &["-q:a", "5", "-write_xing", "0"]),
        ("a.ogg", &["-metadata", "title=March"]),
        ("a.m4a", &["-c:a", "aac", "-metadata", "title=March"]),
        ("a.m4a", &["-c:a", "aac", "-movflags", "frag_keyframe+empty_moov"]),
        ("a.m4a", &["-c:a", "alac", "-movflags", "faststart"]),
        ("a.aac", &["-c:a", "aac"]),
    ];
    kinds.map(|(name, options)| (name, bytes_of(&studio, options, name, &samples, 22_050))).into()
});

/// Decodes with a deadline, so that a decoder that hangs fails the test; checks what must always hold.
fn survives(name: &'static str, bytes: Vec<u8>) {
    let size = bytes.len();
    let (tell, hear) = channel();
    std::thread::spawn(move || drop(tell.send(decode_bytes(bytes, name))));
    let outcome = hear.recv_timeout(Duration::from_secs(60)).unwrap_or_else(|gone| panic!("{name}: {gone}"));
    if let Ok(recording) = outcome {
        let channels = usize::from(recording.channels);
        assert!(channels > 0 && recording.samples.len().is_multiple_of(channels), "{name}");
        assert!(!recording.samples.is_empty() && recording.samples.len() as u64 <= MAX_SAMPLES, "{name}");
        assert!(recording.samples.iter().all(|sample| sample.is_finite()), "{name}");
        // FLAC packs silence best, 8 bytes or so to a block; nothing grows beyond that and a minute's gap.
        let most = size * 10_000 + 2 * 60 * 192_000;
        assert!(
            recording.samples.len() <= most,
            "{name}: {} samples of {size} bytes",
            recording.samples.len()
        );
    } else if let Err(error) = outcome {
        let said = error.to_string();
        assert!(said.starts_with(&format!("cannot read '{name}': ")) && said.contains("; "), "{said}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn flipped_bytes_are_survived(
        seed in 0..12usize,
        flips in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..12),
        head_only in any::<bool>(),
    ) {
        let (name, mut bytes) = SEEDS[seed].clone();
        let reach = if head_only { bytes.len().min(600) } else { bytes.len() };
        for (at, value) in flips {
            let at = at.index(reach);
            bytes[at] = value;
        }
        survives(name, bytes);
    }

    #[test]
    fn cut_and_repeated_stretches_are_survived(
        seed in 0..12usize,
        a in any::<prop::sample::Index>(),
        b in any::<prop::sample::Index>(),
        repeat in any::<bool>(),
    ) {
        let (name, bytes) = &SEEDS[seed];
        let (a, b) = (a.index(bytes.len()), b.index(bytes.len()));
        let (a, b) = (a.min(b), a.max(b));
        let rest = if repeat { a } else { b };
        survives(name, [&bytes[..if repeat { b } else { a }], &bytes[rest..]].concat());
        survives(name, bytes[..b].to_vec());
    }

    #[test]
    fn random_bytes_are_survived(
        magic in prop::sample::select(vec![&b""[..], b"RIFF\xff\xff\xff\xffWAVEfmt ", b"fLaC\0\0\0\x22", b"OggS\0\x02",
            b"\0\0\0\x08ftyp\0\0\xff\xffmoov", b"FORM\0\0\xff\xffAIFFCOMM", b"ID3\x04", b"\xff\xfb\x90\x64", b"\xff\xf1\x50\x80"]),
        noise in prop::collection::vec(any::<u8>(), 0..4_000),
    ) {
        survives("noise.mp3", [magic, &noise].concat());
    }
}
