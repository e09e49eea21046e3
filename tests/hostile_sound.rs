//! Whatever the samples are, listening answers: no panic, and no number that is none.

#[path = "support/signals.rs"]
#[allow(unreachable_pub, reason = "shared by every test binary")]
mod signals;

use farandole::grid::{Grid, Phrase};
use farandole::listening::{Envelope, HeardGrid, Listening, Metre, Pulse, Sureness, describe, listen};
use farandole::units::{SampleRate, Seconds};
use proptest::prelude::*;
use serde_json::Value;
use std::ops::ControlFlow;

/// JSON has no NaN and no infinity: they would come out as null, which only these may be.
fn only_numbers(value: &Value, key: &str) -> Result<(), String> {
    match value {
        Value::Null if ["integrated", "range", "dynamic"].contains(&key) => Ok(()),
        Value::Null => Err(format!("'{key}' is no number")),
        Value::Array(items) => items.iter().try_for_each(|item| only_numbers(item, key)),
        Value::Object(fields) => fields.iter().try_for_each(|(key, field)| only_numbers(field, key)),
        _ => Ok(()),
    }
}

fn sound_and_saved(listening: &Listening) {
    let json = serde_json::to_value(listening).expect("plain data");
    only_numbers(&json, "").expect("numbers everywhere");
    serde_json::from_value::<Listening>(json).expect("what was written can be read");
    assert!((1..=10).contains(&listening.summary.len()), "{:?}", listening.summary);
    assert_eq!(listening.phrases.len(), listening.grid.phrases().len());
    assert_eq!(listening.tempo.len(), listening.grid.len());
    assert!(listening.turns.is_sorted_by(|a, b| a.start <= b.start), "{:?}", listening.turns);
    for turn in &listening.turns {
        assert!(turn.start <= turn.end && turn.start_beat <= turn.end_beat, "{turn:?}");
        assert!((0.0..=1.0).contains(&turn.sureness.0), "{turn:?}");
        assert!(!turn.kind.sudden() || turn.start == turn.end, "{turn:?}");
    }
    for phrase in &listening.phrases {
        assert!((1..=5).contains(&phrase.energy), "{phrase:?}");
        assert!(phrase.bpm.0 > 0.0, "{phrase:?}");
    }
}

fn grid_of(steps: &[f64]) -> HeardGrid {
    let mut at = 0.0;
    let beats: Vec<Seconds> = steps
        .iter()
        .map(|step| {
            at += step;
            Seconds(at)
        })
        .collect();
    let bars: Vec<usize> = (0..beats.len()).step_by(3).collect();
    let phrases = (1..beats.len()).step_by(7).map(|start| Phrase { start, letter: "A".into() }).collect();
    let sureness = vec![Sureness(0.5); bars.len()];
    let metres =
        if beats.is_empty() { Vec::new() } else { vec![Metre { from: 0, beats: 3, compound: false }] };
    HeardGrid {
        pulse: Pulse::Unsure,
        grid: Grid::new(beats, bars, phrases).expect("ascending"),
        sureness,
        metres,
    }
}

fn on(_: f32) -> ControlFlow<()> {
    ControlFlow::Continue(())
}

#[test]
fn nothing_one_sample_and_silence_are_answered() {
    for samples in
        [vec![], vec![0.0], vec![1.0], vec![0.0; 100], vec![0.7; 48_000 * 6], vec![f32::NAN; 48_000 * 6]]
    {
        for channels in [1, 2, 6] {
            let told = listen(&samples, channels, SampleRate(48_000), &[], &mut on).expect("not stopped");
            sound_and_saved(&told);
            assert!(told.turns.is_empty(), "{:?}", told.turns);
            assert!(told.grid.is_empty());
        }
    }
}

#[test]
fn a_grid_that_outlasts_its_sound_is_answered() {
    let envelope = Envelope::of(&signals::sine(48_000, 440.0, -20.0, 5.0), 1, SampleRate(48_000));
    sound_and_saved(&describe(&envelope, grid_of(&[0.5; 64])));
    sound_and_saved(&describe(&envelope, grid_of(&[2.0])));
    sound_and_saved(&describe(&envelope, grid_of(&[])));
}

#[test]
fn listening_can_be_told_to_stop() {
    let sound = signals::white_noise(48_000, -20.0, 5.0, 1);
    let mut calls = 0;
    let mut stop = |_| {
        calls += 1;
        if calls == 3 { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    };
    assert_eq!(listen(&sound, 1, SampleRate(48_000), &[], &mut stop), None);
    assert_eq!(calls, 3);
}

/// Samples of any bits, or of a size that could be sound.
fn samples() -> impl Strategy<Value = Vec<f32>> {
    let any = prop::num::f32::ANY;
    let usual = -1.0..1.0f32;
    let bursts = prop::collection::vec((prop_oneof![any, usual], 1..3_000usize), 0..24);
    bursts.prop_map(|bursts| {
        let burst = |(n, (size, length)): (usize, (f32, usize))| {
            (0..length).map(move |i| if (i + n) % 7 < 3 { size } else { -size * 0.5 })
        };
        bursts.into_iter().enumerate().flat_map(burst).collect()
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    #[test]
    fn any_sound_under_any_grid_is_described(
        samples in samples(),
        channels in 0..70u16,
        rate in prop_oneof![Just(0u32), 1..3_000u32, 8_000..200_000u32, Just(u32::MAX)],
        steps in prop::collection::vec(0.001..4.0f64, 0..60),
    ) {
        let envelope = Envelope::of(&samples, channels, SampleRate(rate));
        sound_and_saved(&describe(&envelope, grid_of(&steps)));
    }

    #[test]
    fn any_sound_at_a_slow_rate_is_described(samples in samples(), steps in prop::collection::vec(0.05..2.0f64, 0..60)) {
        // At 2 kHz the same samples last long enough to hold turns.
        let envelope = Envelope::of(&samples, 1, SampleRate(2_000));
        sound_and_saved(&describe(&envelope, grid_of(&steps)));
    }

    #[test]
    fn pieces_make_no_difference(samples in samples(), cuts in prop::collection::vec(1..999usize, 1..9)) {
        let whole = Envelope::of(&samples, 2, SampleRate(8_000));
        let mut metering = farandole::listening::Metering::new(2, SampleRate(8_000));
        let mut rest = samples.as_slice();
        for cut in cuts.iter().cycle() {
            let (piece, later) = rest.split_at((*cut).min(rest.len()));
            metering.push(piece);
            rest = later;
            if rest.is_empty() {
                break;
            }
        }
        prop_assert_eq!(metering.finish(), whole);
    }
}
