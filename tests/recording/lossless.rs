//! Lossless formats give, bit for bit, the samples that ffmpeg decodes; compressed ones very nearly.

use super::encode::Studio;
use super::{decoded, lively};
use std::path::Path;

fn assert_bit_exact(studio: &Studio, file: &Path) {
    let (ours, theirs) = (decoded(file), studio.decoded_by_ffmpeg(file));
    assert_eq!(ours.samples.len(), theirs.len(), "{file:?}");
    let differs = ours.samples.iter().zip(&theirs).position(|(a, b)| a.to_bits() != b.to_bits());
    assert_eq!(differs, None, "{file:?}: first differing sample");
    assert_eq!(ours.warnings, [], "{file:?}");
}

#[test]
fn every_lossless_format_is_bit_exact() {
    for (channels, rate) in [(1, 8_000), (2, 44_100), (6, 48_000), (2, 192_000)] {
        let studio = Studio::new();
        let source = studio.wav("source.wav", &lively(1.3, channels, rate), channels, rate);
        for codec in ["pcm_u8", "pcm_s16le", "pcm_s24le", "pcm_s32le", "pcm_f32le", "pcm_f64le"] {
            assert_bit_exact(&studio, &studio.ffmpeg(&source, &["-c:a", codec], "a.wav"));
        }
        for depth in ["s16", "s32"] {
            assert_bit_exact(&studio, &studio.ffmpeg(&source, &["-sample_fmt", depth], "a.flac"));
            let alac = ["-c:a", "alac", "-sample_fmt", if depth == "s16" { "s16p" } else { "s32p" }];
            assert_bit_exact(&studio, &studio.ffmpeg(&source, &alac, "a.m4a"));
        }
        for codec in ["pcm_s8", "pcm_s16be", "pcm_s24be", "pcm_s32be"] {
            assert_bit_exact(&studio, &studio.ffmpeg(&source, &["-c:a", codec], "a.aiff"));
        }
    }
}

#[test]
fn files_by_another_encoder_are_bit_exact() {
    let studio = Studio::new();
    let source = studio.wav("source.wav", &lively(1.3, 2, 44_100), 2, 44_100);
    for name in ["a.wav", "a.aiff", "a.flac"] {
        for bits in ["16", "24"] {
            assert_bit_exact(&studio, &studio.sox(&source, &["-b", bits], name));
        }
    }
    assert_bit_exact(&studio, &studio.sox(&source, &["-b", "8"], "eight.wav"));
    assert_bit_exact(&studio, &studio.sox(&source, &["-e", "float", "-b", "64"], "double.wav"));
}

/// Two decoders of a compressed format round differently, but far below what is heard: -80 dB of full scale.
#[test]
fn compressed_formats_agree_with_ffmpeg() {
    let studio = Studio::new();
    let source = studio.wav("source.wav", &lively(3.0, 2, 44_100), 2, 44_100);
    for (name, options) in [
        ("a.mp3", &["-b:a", "192k"][..]),
        ("a.mp3", &["-q:a", "3"]),
        ("a.ogg", &["-c:a", "libvorbis"]),
        ("a.m4a", &["-c:a", "aac"]),
    ] {
        let file = studio.ffmpeg(&source, options, name);
        let (ours, theirs) = (decoded(&file), studio.decoded_by_ffmpeg(&file));
        assert_eq!(ours.frames().0, 132_300, "{name}");
        let worst = ours.samples.iter().zip(&theirs).map(|(a, b)| (a - b).abs()).fold(0.0, f32::max);
        assert!(worst < 1e-4, "{name} {options:?}: {worst}");
    }
}

#[test]
fn mono_is_the_mean_of_the_channels() {
    let studio = Studio::new();
    let source = studio.wav("source.wav", &[0.5, -0.25, 0.125, 0.0, 1.0, 1.0], 2, 44_100);
    let recording = decoded(&source);
    assert_eq!(recording.mono().as_ref(), &[0.125, 0.0625, 1.0]);
    let mono = decoded(&studio.wav("mono.wav", &[0.5, -0.25], 1, 44_100));
    assert_eq!(mono.mono().as_ref(), &[0.5, -0.25]);
}

#[test]
fn one_sample_is_a_recording() {
    let studio = Studio::new();
    let recording = decoded(&studio.wav("tick.wav", &[0.5], 1, 44_100));
    assert_eq!(recording.samples.as_ref(), &[0.5]);
    assert_eq!(recording.warnings, []);
}

#[test]
fn progress_rises_to_one() {
    let studio = Studio::new();
    let source = studio.wav("source.wav", &lively(20.0, 1, 8_000), 1, 8_000);
    for (name, options) in [("a.wav", &[][..]), ("a.flac", &[]), ("a.mp3", &["-q:a", "4"]), ("a.m4a", &[])] {
        let file = studio.ffmpeg(&source, options, name);
        let mut told = Vec::new();
        farandole::recording::decode(&file, &mut |done| told.push(done)).unwrap();
        assert!(told.is_sorted() && told.len() >= 40 && told.len() <= 102, "{name}: {told:?}");
        assert!(told[0] < 0.1 && told.last() == Some(&1.0), "{name}: {told:?}");
    }
}
