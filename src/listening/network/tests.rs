//! The network against the answers of the framework that trained it, and against what must hold for any weights.

use super::*;

/// Features (as the renderer stores them) and the trained network's answers, written by `training/export.py`.
static FIXTURE: &[u8] = include_bytes!("../../../tests/fixtures/network-answers.bin");
/// The renderer's scale: `training/render.rs`.
const BYTES_PER_UNIT: f32 = 28.0;

fn shipped() -> Network {
    Network::read(SHIPPED).expect("the shipped weights are whole")
}

struct Given<'a>(std::slice::ChunksExact<'a, u8>);

impl Source for Given<'_> {
    fn before(&mut self, _: usize, _: &mut [f32; VALUES]) -> bool {
        false
    }

    fn next(&mut self, values: &mut [f32; VALUES]) {
        for (to, byte) in values.iter_mut().zip(self.0.next().expect("a step of the fixture")) {
            *to = f32::from(*byte) / BYTES_PER_UNIT;
        }
    }
}

/// Plucked notes: a bass on each bar of four, a chord on each beat, a note on each half-beat.
fn playing(bpm: f64, seconds: f64) -> (Vec<f32>, Vec<f64>) {
    let mut sound = vec![0.0f32; (seconds * 22_050.0) as usize];
    let beats: Vec<f64> =
        (0..).map(|k| 0.4 + f64::from(k) * 60.0 / bpm).take_while(|t| *t < seconds - 0.5).collect();
    let mut pluck = |at: f64, hz: f64, level: f64| {
        for (k, x) in sound.iter_mut().skip((at * 22_050.0) as usize).take(9_000).enumerate() {
            let t = k as f64 / 22_050.0;
            let wave: f64 =
                (1..6).map(|n| (std::f64::consts::TAU * hz * f64::from(n) * t).sin() / f64::from(n)).sum();
            *x += (level * wave * (-7.0 * t).exp() * (t * 400.0).min(1.0)) as f32;
        }
    };
    for (k, at) in beats.iter().enumerate() {
        let root = [131.0, 175.0, 196.0, 131.0][k / 4 % 4];
        if k % 4 == 0 {
            pluck(*at, root / 2.0, 0.3);
        }
        for ratio in [1.0, 1.26, 1.5] {
            pluck(*at, root * 2.0 * ratio, 0.08);
        }
        pluck(at + 30.0 / bpm, root * 3.0, 0.05);
    }
    (sound, beats)
}

fn largest_difference(a: &[f32], b: &[f32]) -> f32 {
    assert_eq!(a.len(), b.len());
    a.iter().zip(b).map(|(x, y)| (x - y).abs()).fold(0.0, f32::max)
}

#[test]
fn the_answers_are_those_of_the_framework_that_trained_the_weights() {
    let (count, rest) = FIXTURE.split_at(4);
    let steps = u32::from_le_bytes(count.try_into().expect("four bytes")) as usize;
    let (features, answers) = rest.split_at(steps * VALUES);
    let expected: Vec<f32> =
        answers.chunks_exact(4).map(|b| f32::from_le_bytes(b.try_into().expect("four bytes"))).collect();
    let network = shipped();
    let source = Given(features.chunks_exact(VALUES));
    let given = Arch::new().dispatch(Pass { network: &network, source, steps });
    // The framework had the weights unrounded; two bytes each move an answer by next to nothing, of a spread of ten.
    let mean = given.iter().zip(&expected).map(|(x, y)| (x - y).abs()).sum::<f32>() / expected.len() as f32;
    let worst = largest_difference(&given, &expected);
    assert!(mean < 0.005 && worst < 0.05, "mean {mean}, worst {worst}");
}

#[test]
fn damaged_weights_are_refused() {
    assert_eq!(Network::read(b"").err(), Some(WeightsError::Foreign));
    assert_eq!(Network::read(&[7; 100]).err(), Some(WeightsError::Foreign));
    for end in [8, 20, 28, 1000, SHIPPED.len() - 1] {
        assert_eq!(Network::read(&SHIPPED[..end]).err(), Some(WeightsError::Damaged { got: end }));
    }
    let longer = [SHIPPED, b"x"].concat();
    assert_eq!(Network::read(&longer).err(), Some(WeightsError::Damaged { got: longer.len() }));
}

#[test]
fn beats_stand_out_from_the_middles_of_beats_and_bars_from_beats() {
    let (sound, beats) = playing(104.0, 40.0);
    let heard = shipped().listen(&sound);
    let at = |curve: &[f32], t: f64| {
        let frame = (t * FRAMES_PER_SECOND).round() as usize;
        curve[frame - 2..=frame + 2].iter().copied().fold(f32::MIN, f32::max)
    };
    let inner = &beats[8..beats.len() - 8];
    let mean = |values: Vec<f32>| values.iter().sum::<f32>() / values.len() as f32;
    let on = mean(inner.iter().map(|t| at(&heard.beat, *t)).collect());
    let between = mean(inner.iter().map(|t| at(&heard.beat, t + 30.0 / 104.0)).collect());
    assert!(on > between + 3.0, "on beats {on}, between {between}");
    let halves = mean(inner.iter().map(|t| at(&heard.half, t + 30.0 / 104.0)).collect());
    assert!(halves > 0.0, "{halves}");
    let bars = mean(inner.iter().step_by(4).map(|t| at(&heard.downbeat, *t)).collect());
    let others = mean(inner.iter().skip(2).step_by(4).map(|t| at(&heard.downbeat, *t)).collect());
    assert!(bars > others + 2.0, "bar starts {bars}, third beats {others}");
    let row = &heard.period[(20.0 * TEMPO_ROWS_PER_SECOND) as usize];
    let likeliest = (0..PERIODS).max_by(|a, b| row[*a].total_cmp(&row[*b])).expect("periods");
    assert!((periods_s()[likeliest] * 104.0 / 60.0).log2().abs() < 0.1, "{}", periods_s()[likeliest]);
    let sum: f32 = row.iter().map(|p| p.exp()).sum();
    assert!((sum - 1.0).abs() < 0.1, "{sum}");
}

#[test]
fn a_recording_s_own_gain_changes_nothing() {
    let (sound, _) = playing(96.0, 12.0);
    let heard = shipped().listen(&sound);
    for gain in [0.25, 4.0] {
        let other: Vec<f32> = sound.iter().map(|x| x * gain).collect();
        assert!(largest_difference(&heard.beat, &shipped().listen(&other).beat) < 1e-2);
    }
}

#[test]
fn long_recordings_taken_in_pieces_are_heard_the_same() {
    let network = shipped();
    let (sound, _) = playing(120.0, 2.4 * network.reach() as f64 / features::STEPS_PER_SECOND);
    let whole = network.listen(&sound);
    let pieces = network.listen_in_pieces(&sound, 1_900);
    assert!(largest_difference(&whole.beat, &pieces.beat) < 1e-3);
    assert!(largest_difference(&whole.downbeat, &pieces.downbeat) < 1e-3);
}

#[test]
fn silence_and_samples_that_are_not_numbers_are_no_beat() {
    let network = shipped();
    assert_eq!(network.listen(&[]), Likelihood::default());
    let silent = network.listen(&[0.0; 22_050]);
    assert_eq!((silent.beat.len(), silent.period.len()), (100, 10));
    assert!(silent.beat.iter().all(|odds| *odds < -5.0));
    let (mut sound, _) = playing(120.0, 6.0);
    sound[40_000..50_000].fill(f32::NAN);
    sound[60_000] = f32::INFINITY;
    sound[70_000] = 1e30;
    let heard = network.listen(&sound);
    let all = heard.beat.iter().chain(&heard.downbeat).chain(&heard.half).chain(&heard.thirds);
    assert!(all.chain(heard.period.iter().flatten()).all(|odds| odds.is_finite()));
    assert_eq!(network.listen(&[0.5]).beat.len(), 2);
}
