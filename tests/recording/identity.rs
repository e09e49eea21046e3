//! A recording is known by its samples: a copy is found, another transfer is noticed.

use super::encode::Studio;
use super::{decoded, lively};
use farandole::recording::Likeness;

#[test]
fn a_renamed_copy_and_another_lossless_format_are_the_same() {
    let studio = Studio::new();
    let source = studio.wav("source.wav", &lively(2.0, 2, 44_100), 2, 44_100);
    let flac = studio.ffmpeg(&source, &["-sample_fmt", "s16"], "a.flac");
    let identity = decoded(&flac).identity;
    std::fs::copy(&flac, studio.path("Some other name.dat")).unwrap();
    assert_eq!(identity.compare(&decoded(&studio.path("Some other name.dat")).identity), Likeness::Same);
    for (name, options) in [
        ("a.wav", &["-c:a", "pcm_s16le"][..]),
        ("a.aiff", &[]),
        ("tagged.flac", &["-metadata", "title=March"]),
    ] {
        let other = decoded(&studio.ffmpeg(&flac, options, name)).identity;
        assert_eq!(identity.compare(&other), Likeness::Same, "{name}");
    }
    assert_eq!((identity.frames, identity.rate, identity.hash.len()), (88_200, 44_100, 64));
}

#[test]
fn decoding_twice_gives_one_identity() {
    let studio = Studio::new();
    let source = studio.wav("source.wav", &lively(2.0, 2, 44_100), 2, 44_100);
    for (name, options) in [("a.mp3", &["-q:a", "4"][..]), ("a.ogg", &[]), ("a.m4a", &["-c:a", "aac"])] {
        let file = studio.ffmpeg(&source, options, name);
        assert_eq!(decoded(&file).identity, decoded(&file).identity, "{name}");
    }
}

#[test]
fn another_transfer_is_noticed() {
    let studio = Studio::new();
    let source = studio.wav("source.wav", &lively(2.0, 2, 44_100), 2, 44_100);
    let identity = decoded(&source).identity;
    let compare = |options: &[&str], name: &str| {
        identity.compare(&decoded(&studio.ffmpeg(&source, options, name)).identity)
    };
    assert_eq!(compare(&["-af", "atrim=start=0.010"], "later.wav"), Likeness::Different);
    assert_eq!(compare(&["-ar", "48000"], "faster.wav"), Likeness::Different);
    assert_eq!(compare(&["-af", "atempo=1.01"], "speed.wav"), Likeness::Different);
    assert_eq!(compare(&["-c:a", "pcm_f32le", "-af", "volume=0.5"], "softer.wav"), Likeness::SameLength);
    assert_eq!(compare(&["-b:a", "320k"], "squeezed.mp3"), Likeness::SameLength);
}
