//! Where beats lie, against an independent ear: aubio's onset detector, which knows nothing of beats.
//!
//! A beat on which something is struck has to lie on its onset, within 15 ms (median; our decision). The detector
//! weighs spectra by their high-frequency content (Masri, "Computer modeling of sound for transformation and synthesis of
//! musical signal", 1996).

#[allow(unreachable_pub, reason = "shared by every test binary")]
mod support {
    pub mod metrics;
    pub mod signals;
}

use aubio_rs::{Onset, OnsetMode};
use farandole::listening::{listen, mono_22050};
use farandole::recording::decode;
use farandole::units::SampleRate;
use std::ops::ControlFlow;
use std::path::Path;
use support::{metrics, signals};

const RATE: u32 = 22_050;

/// Onsets in seconds.
fn onsets(mono: &[f32]) -> Vec<f64> {
    const HOP: usize = 110;
    let mut detector = Onset::new(OnsetMode::Hfc, 512, HOP, RATE).expect("aubio starts");
    let mut found = Vec::new();
    for block in mono.chunks_exact(HOP) {
        if detector.do_result(block).expect("a full block") > 0.0 {
            found.push(f64::from(detector.get_last_s()));
        }
    }
    found
}

/// Distances (ours less aubio's, ms) of the beats that have an onset within 50 ms, and how many beats there are.
fn distances(samples: &[f32], channels: u16, rate: SampleRate) -> (Vec<f64>, usize) {
    let heard =
        listen(samples, channels, rate, &[], &mut |_| ControlFlow::Continue(())).expect("nobody stops it");
    let beats: Vec<f64> = heard.grid.beats().iter().map(|beat| beat.0).collect();
    let onsets = onsets(&mono_22050(samples, channels, rate));
    let off =
        metrics::matches(&onsets, &beats, 0.05).iter().map(|(onset, beat)| (beat - onset) * 1e3).collect();
    (off, beats.len())
}

fn median(mut x: Vec<f64>) -> f64 {
    x.sort_by(f64::total_cmp);
    x[x.len() / 2]
}

#[test]
fn the_detector_itself_is_right_about_clicks() {
    let times = signals::beat_times(0.5, 40, |_| 100.0);
    let found = onsets(&signals::clicks(RATE, &times, 25.0, |_| 0.8));
    let off: Vec<f64> = metrics::matches(&times, &found, 0.05).iter().map(|(t, o)| (o - t) * 1e3).collect();
    assert_eq!((off.len(), found.len()), (40, 40));
    assert!(off.iter().all(|ms| ms.abs() < 5.0), "{off:?}");
}

#[test]
fn beats_of_the_demo_recordings_lie_on_onsets() {
    for name in ["cat-on-the-stairs", "goats-on-the-wall", "march-and-farandole"] {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("assets/demo/{name}.ogg"));
        let recording = decode(&path, &mut |_| ()).unwrap_or_else(|error| panic!("{name}: {error}"));
        let (off, beats) = distances(&recording.samples, recording.channels, recording.rate);
        let apart = median(off.iter().map(|ms| ms.abs()).collect());
        // Some beats of a tune are not struck: a note is held over them, or they fall silent.
        assert!(
            off.len() as f64 >= 0.85 * beats as f64,
            "{name}: {} of {beats} beats are on onsets",
            off.len()
        );
        assert!(apart <= 15.0, "{name}: {apart:.1} ms from the onsets (median)");
    }
}
