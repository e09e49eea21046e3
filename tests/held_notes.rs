//! A held note is heard as a fermata whatever beats were counted through it, and a general pause as a rest; neither is
//! a change of tempo. Truth: how the tune here is made, and the note list of the demo music.

use farandole::listening::{Listening, Turn, TurnKind, listen};
use farandole::units::SampleRate;
use std::ops::ControlFlow;
use std::path::Path;

const RATE: u32 = 22_050;

fn heard(samples: &[f32], channels: u16, rate: SampleRate) -> Listening {
    listen(samples, channels, rate, &[], &mut |_| ControlFlow::Continue(())).expect("never told to stop")
}

/// Adds a note with four partials, sounding evenly until it ends.
fn note(out: &mut [f32], at: f64, until: f64, hz: f64, amp: f64) {
    let a = (at * f64::from(RATE)) as usize;
    let b = ((until * f64::from(RATE)) as usize).min(out.len());
    for (i, sample) in out.iter_mut().enumerate().take(b).skip(a) {
        let t = (i - a) as f64 / f64::from(RATE);
        let left = (b - i) as f64 / f64::from(RATE);
        let env = (t / 0.01).min(1.0) * (left / 0.03).min(1.0);
        let mut s = 0.0;
        for (h, w) in [(1.0, 1.0), (2.0, 0.5), (3.0, 0.25), (4.0, 0.12)] {
            s += w * (std::f64::consts::TAU * hz * h * t).sin();
        }
        *sample += (amp * env * s) as f32;
    }
}

/// A tune of 64 beats whose beat 31 lasts `held` beats, sounding on or `silent` after one; and where it starts and ends.
fn tune(bpm: f64, held: f64, silent: bool) -> (Vec<f32>, f64, f64) {
    const HOLD: usize = 31;
    const MELODY: [i32; 32] =
        [0, 4, 7, 4, 5, 9, 7, 4, 2, 5, 7, 5, 4, 2, 0, 0, 7, 7, 9, 7, 5, 4, 2, 4, 5, 7, 9, 5, 4, 2, 2, 0];
    let beat = 60.0 / bpm;
    let mut times = vec![0.4];
    for i in 0..64 {
        times.push(times[i] + if i == HOLD { held * beat } else { beat });
    }
    let hz = |midi: i32| 440.0 * 2f64.powf(f64::from(midi - 69) / 12.0);
    let mut out = vec![0.0f32; ((times[64] + 1.0) * f64::from(RATE)) as usize];
    for i in 0..64 {
        let (start, pitch) = (times[i], MELODY[i % 32]);
        let end = if i == HOLD && silent { start + beat } else { times[i + 1] };
        note(&mut out, start, start + (end - start) * 0.95, hz(72 + pitch), 0.15);
        if i % 2 == 1 && i != HOLD {
            note(&mut out, 0.5 * (start + end), end, hz(74 + pitch), 0.1);
        }
        if i % 4 == 0 {
            note(&mut out, start, start + beat, hz(48 + (pitch / 5) * 5), 0.2);
        } else {
            let length = if i == HOLD { end - start } else { 0.5 * beat };
            [0, 4, 7].iter().for_each(|third| note(&mut out, start, start + length, hz(60 + third), 0.05));
        }
    }
    (out, times[HOLD], times[HOLD + 1])
}

fn one(turns: &[Turn], kind: TurnKind, start: f64, end: f64) {
    assert!(turns.len() == 1 && turns[0].kind == kind, "{turns:?}");
    assert!((turns[0].start.0 - start).abs() < 0.1 && (turns[0].end.0 - end).abs() < 0.1, "{turns:?}");
}

#[test]
fn a_held_note_is_a_fermata_and_nothing_else() {
    for bpm in [120.0, 96.0] {
        let sure = [2.5, 3.0].map(|held| {
            let (sound, start, end) = tune(bpm, held, false);
            let turns = heard(&sound, 1, SampleRate(RATE)).turns;
            one(&turns, TurnKind::Fermata, start, end);
            turns[0].sureness.0
        });
        // Three beats may be a long note as written.
        assert!(sure[0] > 0.5 && sure[1] < 0.5, "{sure:?}");
    }
}

#[test]
fn a_general_pause_is_a_rest_and_nothing_else() {
    for bpm in [120.0, 96.0] {
        let (sound, start, end) = tune(bpm, 2.6, true);
        one(&heard(&sound, 1, SampleRate(RATE)).turns, TurnKind::Rest, start + 60.0 / bpm, end);
    }
}

#[test]
fn the_demo_music_has_one_fermata_where_it_was_played() {
    for (name, truth) in [
        ("evening-boat", Some((13.2273, 15.5))),
        ("cat-on-the-stairs", None),
        ("goats-on-the-wall", None),
        ("march-and-farandole", None),
    ] {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("assets/demo/{name}.ogg"));
        let sound = farandole::recording::decode(&path, &mut |_| {}).expect("the demo is whole");
        let turns = heard(&sound.samples, sound.channels, sound.rate).turns;
        let held: Vec<Turn> = turns.iter().filter(|turn| turn.kind == TurnKind::Fermata).copied().collect();
        match truth {
            Some((start, end)) => {
                one(&held, TurnKind::Fermata, start, end);
                let false_kinds = [TurnKind::SuddenlySlower, TurnKind::Accelerando];
                assert!(turns.iter().all(|turn| !false_kinds.contains(&turn.kind)), "{turns:?}");
            }
            None => assert!(held.iter().all(|turn| turn.sureness.0 < 0.5), "{name}: {held:?}"),
        }
    }
}
