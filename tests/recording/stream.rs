//! A recording that goes by in pieces is the recording that is kept whole, whatever the format and the damage.

use super::encode::Studio;
use super::{decode_bytes, lively};
use farandole::recording::{self, DecodeError, Identity, Particulars, Warning};
use proptest::prelude::*;
use std::io::Cursor;
use std::sync::LazyLock;

/// The samples of all pieces and what is known in the end; fails on a piece that is not as promised.
fn streamed(bytes: &[u8], name: &str) -> (Vec<f32>, Result<Particulars, DecodeError>) {
    let (mut samples, mut shape) = (Vec::new(), None);
    let source = Box::new(Cursor::new(bytes.to_vec()));
    let outcome = recording::stream_from(
        source,
        name,
        &mut |piece| {
            assert!(!piece.samples.is_empty(), "{name}: an empty piece");
            assert_eq!(piece.samples.len() % usize::from(piece.channels), 0, "{name}: a part of a frame");
            assert_eq!(
                *shape.get_or_insert((piece.channels, piece.rate)),
                (piece.channels, piece.rate),
                "{name}"
            );
            samples.extend_from_slice(piece.samples);
        },
        &mut |_| {},
    );
    (samples, outcome)
}

/// Two seconds of stereo in every format taken.
static FILES: LazyLock<Vec<(&str, Vec<u8>)>> = LazyLock::new(|| {
    let studio = Studio::new();
    let source = studio.wav("source.wav", &lively(2.0, 2, 44_100), 2, 44_100);
    let formats: [(&str, &[&str]); 9] = [
        ("a.wav", &["-c:a", "pcm_s16le"]),
        ("a.aiff", &[]),
        ("a.flac", &[]),
        ("a.mp3", &["-b:a", "128k"]),
        ("b.mp3", &["-q:a", "4", "-write_xing", "0"]),
        ("a.ogg", &["-c:a", "libvorbis"]),
        ("a.m4a", &["-c:a", "aac"]),
        ("b.m4a", &["-c:a", "alac", "-movflags", "faststart"]),
        ("a.aac", &["-c:a", "aac"]),
    ];
    let encode = |(name, options): (&'static str, &[&str])| {
        (name, std::fs::read(studio.ffmpeg(&source, options, name)).expect("just written"))
    };
    formats.into_iter().map(encode).collect()
});

fn assert_alike(bytes: &[u8], name: &str) -> Result<(), TestCaseError> {
    let (samples, outcome) = streamed(bytes, name);
    match (outcome, decode_bytes(bytes.to_vec(), name)) {
        (Ok(known), Ok(whole)) => {
            prop_assert_eq!(samples.len(), whole.samples.len(), "{}", name);
            let differs = samples.iter().zip(&*whole.samples).position(|(a, b)| a.to_bits() != b.to_bits());
            prop_assert_eq!(differs, None, "{}", name);
            prop_assert_eq!(&known.identity, &Identity::of(&samples, known.channels, known.rate), "{}", name);
            let whole = Particulars {
                channels: whole.channels,
                rate: whole.rate,
                identity: whole.identity,
                tags: whole.tags,
                warnings: whole.warnings,
            };
            prop_assert_eq!(known, whole, "{}", name);
        }
        (Err(ours), Err(theirs)) => prop_assert_eq!(ours.to_string(), theirs.to_string(), "{}", name),
        (ours, theirs) => prop_assert!(false, "{}: streamed {:?}, whole {:?}", name, ours, theirs.err()),
    }
    Ok(())
}

#[test]
fn every_format_streams_to_what_it_decodes_to() {
    for (name, bytes) in FILES.iter() {
        assert_alike(bytes, name).unwrap_or_else(|error| panic!("{error}"));
        let (samples, known) = streamed(bytes, name);
        assert!(known.is_ok(), "{name}: {known:?}");
        // ADTS and an MP3 without a note keep their padding, and say so.
        let padding = if matches!(*name, "b.mp3" | "a.aac") { 3 * 1_152 } else { 0 };
        assert!((88_200..=88_200 + padding).contains(&(samples.len() / 2)), "{name}: {}", samples.len() / 2);
    }
}

#[test]
fn a_note_that_is_outgrown_cuts_nothing_off() {
    let mp3 = &FILES.iter().find(|(name, _)| *name == "a.mp3").expect("made above").1;
    let (alone, _) = streamed(mp3, "alone.mp3");
    // A second copy's frames without its note: what joining files with a plain copy gives.
    let frames = streamed(&[&mp3[..], &mp3[mp3.len() / 2..]].concat(), "joined.mp3");
    let known = frames.1.expect("joined files are read");
    assert!(frames.0.len() > alone.len() * 5 / 4, "{} and {}", frames.0.len(), alone.len());
    assert_eq!(known.identity, Identity::of(&frames.0, known.channels, known.rate));
    assert!(!known.warnings.iter().any(|warning| matches!(warning, Warning::Truncated { .. })), "{known:?}");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    #[test]
    fn damage_streams_to_what_it_decodes_to(
        which in 0usize..9,
        keep in 0.05f64..1.0,
        holes in prop::collection::vec((0.0f64..1.0, 1usize..300, any::<u8>()), 0..4),
    ) {
        let (name, bytes) = &FILES[which];
        let mut bytes = bytes[..(keep * bytes.len() as f64) as usize].to_vec();
        for (at, length, value) in holes {
            let from = (at * bytes.len() as f64) as usize;
            let to = (from + length).min(bytes.len());
            bytes[from..to].fill(value);
        }
        assert_alike(&bytes, name)?;
    }
}
