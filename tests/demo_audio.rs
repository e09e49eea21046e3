//! The demo music: its note lists can be read, its truth files say what the note lists say, the recordings are
//! there, small enough, and sound when the truth says they do.

#![allow(unreachable_pub, dead_code, reason = "the renderer's own files, of which a test uses a part")]

#[path = "support/click_font.rs"]
mod click_font;
#[path = "../examples/render_demo/curve.rs"]
mod curve;
#[path = "../examples/render_demo/notes.rs"]
mod notes;
#[path = "../examples/render_demo/parse.rs"]
mod parse;
#[path = "../examples/render_demo/performance.rs"]
mod performance;
#[path = "../examples/render_demo/score.rs"]
mod score;
#[path = "../examples/render_demo/synthesis.rs"]
mod synthesis;
#[path = "../examples/render_demo/tempo.rs"]
mod tempo;
#[path = "../examples/render_demo/truth.rs"]
mod truth;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;

use serde_json::Value;

const NAMES: [&str; 4] = ["cat-on-the-stairs", "evening-boat", "goats-on-the-wall", "march-and-farandole"];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn score(name: &str) -> score::Score {
    let path = root().join(format!("examples/render_demo/scores/{name}.txt"));
    let text = fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    parse::parse(&text).unwrap_or_else(|e| panic!("{name}: {e}"))
}

fn committed_truth(name: &str) -> Value {
    let path = root().join(format!("tests/data/demo/{name}.truth.json"));
    serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap()
}

fn asset(name: &str) -> PathBuf {
    root().join(format!("assets/demo/{name}.ogg"))
}

fn times(truth: &Value, field: &str) -> Vec<f64> {
    truth[field].as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
}

/// Mono samples at 44.1 kHz, decoded by ffmpeg.
fn decode(name: &str) -> Vec<f32> {
    let output = Command::new("ffmpeg")
        .args(["-v", "error", "-i"])
        .arg(asset(name))
        .args(["-ac", "1", "-ar", "44100", "-f", "f32le", "-"])
        .output()
        .expect("ffmpeg is needed; './start test' installs it");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    output.stdout.chunks_exact(4).map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]])).collect()
}

/// Equal but for the last digit, which another machine's logarithm may round the other way.
fn assert_alike(ours: &Value, theirs: &Value, place: &str) {
    match (ours, theirs) {
        (Value::Number(a), Value::Number(b)) => {
            let (a, b) = (a.as_f64().unwrap(), b.as_f64().unwrap());
            assert!((a - b).abs() < 1.5e-4, "{place}: {a} is not {b}");
        }
        (Value::Array(a), Value::Array(b)) => {
            assert_eq!(a.len(), b.len(), "{place}");
            a.iter().zip(b).enumerate().for_each(|(i, (a, b))| assert_alike(a, b, &format!("{place}[{i}]")));
        }
        (Value::Object(a), Value::Object(b)) => {
            assert!(a.keys().eq(b.keys()), "{place}");
            a.iter().for_each(|(key, value)| assert_alike(value, &b[key], &format!("{place}.{key}")));
        }
        _ => assert_eq!(ours, theirs, "{place}"),
    }
}

#[test]
fn the_truth_files_say_what_the_note_lists_say() {
    for name in NAMES {
        let score = score(name);
        let strokes = performance::perform(&score);
        let truth = truth::truth(&score, &strokes, &format!("{name}.ogg"));
        assert_alike(&serde_json::to_value(truth).unwrap(), &committed_truth(name), name);
    }
}

#[test]
fn beats_ascend_and_bars_and_phrases_stand_on_them() {
    for name in NAMES {
        let truth = committed_truth(name);
        let beats = times(&truth, "beats");
        assert!(beats.is_sorted_by(|a, b| a < b), "{name}");
        for downbeat in times(&truth, "downbeats") {
            assert!(beats.contains(&downbeat), "{name}: {downbeat}");
        }
        for phrase in truth["phrases"].as_array().unwrap() {
            let start = phrase["start_s"].as_f64().unwrap();
            assert!(times(&truth, "downbeats").contains(&start), "{name}: {phrase}");
        }
        assert!(times(&truth, "onsets").is_sorted_by(|a, b| a < b), "{name}");
    }
}

#[test]
fn no_voice_is_written_outside_its_bars() {
    for name in NAMES {
        let score = score(name);
        for part in &score.parts {
            assert!(!part.notes.is_empty(), "{name}: '{}' has nothing to play", part.name);
            let late = part.notes.iter().find(|n| n.at + n.length > score.metre.end() + 1e-6);
            assert_eq!(late, None, "{name}: '{}'", part.name);
        }
    }
}

#[test]
fn the_recordings_are_there_and_leave_room() {
    let total: u64 = NAMES.iter().map(|name| fs::metadata(asset(name)).unwrap().len()).sum();
    assert!(total > 1_000_000 && total < 4_000_000, "{total} bytes");
}

#[test]
fn the_recordings_last_as_long_as_the_truth_says() {
    for name in NAMES {
        let seconds = decode(name).len() as f64 / 44_100.0;
        let stated = committed_truth(name)["duration_s"].as_f64().unwrap();
        assert!((seconds - stated).abs() < 0.001, "{name}: {seconds} s, not {stated} s");
    }
}

/// Out of silence, a note is heard within 10 ms of the truth: where a tenth of its peak is first reached.
#[test]
fn notes_out_of_silence_are_heard_when_the_truth_says() {
    let mut checked = 0;
    for name in NAMES {
        let truth = committed_truth(name);
        let onsets = times(&truth, "onsets");
        let mut expected = vec![onsets[0]];
        for rest in truth["rests"].as_array().unwrap() {
            let end = rest["end_s"].as_f64().unwrap();
            let nearest = onsets.iter().min_by(|a, b| (*a - end).abs().total_cmp(&(*b - end).abs()));
            expected.push(*nearest.unwrap());
        }
        let samples = decode(name);
        let greatest =
            |range: std::ops::Range<usize>| samples[range].iter().fold(0.0f32, |top, s| top.max(s.abs()));
        for onset in expected {
            let frame = (onset * 44_100.0) as usize;
            let before = greatest(frame - 2_205..frame - 441);
            let threshold = before + 0.1 * (greatest(frame..frame + 2_205) - before);
            let heard = (frame - 441..).find(|i| samples[*i].abs() > threshold).unwrap();
            let off = heard as f64 / 44_100.0 - onset;
            assert!(off.abs() < 0.010, "{name}: the note at {onset} s is heard {off:+.4} s off");
            checked += 1;
        }
    }
    assert!(checked >= 6, "only {checked} notes begin out of silence");
}

/// The march is forte, the tiptoe pianissimo, the end fortissimo: by mean square, at least 12 dB
/// between the last two, and no phrase on the way softer than the one before.
#[test]
fn the_farandole_grows_by_at_least_12_db() {
    let samples = decode("march-and-farandole");
    let truth = committed_truth("march-and-farandole");
    let level = |phrase: &Value| {
        let frame = |field: &str| (phrase[field].as_f64().unwrap() * 44_100.0) as usize;
        let span = &samples[frame("start_s")..frame("end_s")];
        10.0 * (span.iter().map(|s| f64::from(s * s)).sum::<f64>() / span.len() as f64).log10()
    };
    let levels: Vec<f64> = truth["phrases"].as_array().unwrap().iter().map(level).collect();
    let (march, tiptoe, fastest) = (levels[1], levels[6], levels[11]);
    assert!(tiptoe < march && march < fastest, "{levels:?}");
    assert!(fastest - tiptoe > 12.0, "{levels:?}");
    assert!(levels[6..12].is_sorted(), "it must grow from phrase to phrase: {levels:?}");
}

#[test]
fn a_performance_and_its_samples_repeat_exactly_and_change_with_the_seed() {
    let font = Arc::new(rustysynth::SoundFont::new(&mut click_font::click_font(44_100).as_slice()).unwrap());
    let mut score = score("cat-on-the-stairs");
    score.loudness = -40.0;
    let play = |score: &score::Score| synthesis::render(score, &performance::perform(score), &font).unwrap();
    let first = play(&score);
    assert!(first == play(&score), "the same score gave other samples");
    score.seed += 1;
    assert!(first != play(&score), "the seed changed nothing");
}

/// With a font whose sound is a click, clicks come out where the truth has onsets: the synthesiser begins a note at
/// its next block of 0.36 ms and takes a little over two blocks to open up.
#[test]
fn rendered_clicks_fall_on_the_onsets() {
    let font = Arc::new(rustysynth::SoundFont::new(&mut click_font::click_font(44_100).as_slice()).unwrap());
    let text = "title Clicks\nartist Nobody\nseed 5\nloudness -30\nlead-in 0.5\ntail 2\n[metre]\n1 3/4\nend 9\n[tempo]\n\
                1 90\n3 90 to 150 at 7\nhold 8:1 2\n[dynamics]\n1 f\n[touch]\n1 detached\n[phrases]\n1 A all\n\
                [tune tick]\n1 c4 c4 c4 |\n[part ticks]\nprogram 0\nat 1 tick times 8\n";
    let score = parse::parse(text).unwrap();
    let strokes = performance::perform(&score);
    let samples = synthesis::render(&score, &strokes, &font).unwrap();
    let truth = truth::truth(&score, &strokes, "clicks.ogg");
    assert_eq!(truth.onsets.len(), 24);
    for onset in truth.onsets {
        let frame = (onset * 44_100.0) as usize;
        let span = frame - 2_000..frame + 2_000;
        // The loudest step from one frame to the next is the click's front.
        let step = |i: &usize| (samples[2 * i] - samples[2 * (i - 1)]).abs();
        let front = span.max_by(|a, b| step(a).total_cmp(&step(b))).unwrap();
        let off = front as f64 / 44_100.0 - onset;
        assert!((-0.0002..0.002).contains(&off), "the click at {onset} s came {off:+.5} s off");
    }
}
