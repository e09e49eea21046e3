//! The same music in another file is the same music: the demo march, coded by ffmpeg in other
//! ways, is heard to have the same beats and the same turns.

#[path = "support/encode.rs"]
mod encode;
#[path = "support/metrics.rs"]
mod metrics;

use encode::Studio;
use farandole::listening::{Listening, TurnKind, listen};
use farandole::recording::decode;
use std::ops::ControlFlow;
use std::path::Path;

fn heard(path: &Path) -> Listening {
    let recording = decode(path, &mut |_| ()).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    listen(&recording.samples, recording.channels, recording.rate, &[], &mut |_| ControlFlow::Continue(()))
        .expect("nobody stops it")
}

fn turns(heard: &Listening) -> Vec<(TurnKind, f64)> {
    heard.turns.iter().map(|turn| (turn.kind, turn.start.0)).collect()
}

fn beats(heard: &Listening) -> Vec<f64> {
    heard.grid.beats().iter().map(|beat| beat.0).collect()
}

/// Names and ffmpeg's options.
const CODED: [(&str, &[&str]); 5] = [
    ("small.mp3", &["-b:a", "96k"]),
    ("usual.mp3", &["-b:a", "192k"]),
    ("usual.m4a", &["-c:a", "aac", "-b:a", "160k"]),
    ("exact.flac", &["-ar", "48000", "-sample_fmt", "s16"]),
    ("mono.wav", &["-ac", "1", "-ar", "32000"]),
];

#[test]
fn a_piece_is_heard_alike_in_every_coding() {
    let original = Path::new(env!("CARGO_MANIFEST_DIR")).join("assets/demo/march-and-farandole.ogg");
    let plain = heard(&original);
    let studio = Studio::new();
    for (name, options) in CODED {
        let coded = heard(&studio.ffmpeg(&original, options, name));
        let agreement = metrics::f_measure(&beats(&plain), &beats(&coded), 0.02);
        assert!(agreement >= 0.98, "{name}: {agreement:.3} of the beats are the same within 20 ms");
        let (a, b) = (turns(&plain), turns(&coded));
        let alike =
            a.len() == b.len() && a.iter().zip(&b).all(|(a, b)| a.0 == b.0 && (a.1 - b.1).abs() <= 0.25);
        assert!(alike, "{name}: {b:?} in place of {a:?}");
    }
}
