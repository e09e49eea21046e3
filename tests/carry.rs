//! A dance carried to another performance: other tempo, other instrument, another key, a repeat left out.

#[path = "support/metrics.rs"]
mod metrics;
#[path = "support/signals.rs"]
#[allow(unreachable_pub, reason = "shared with other test files")]
mod signals;
#[path = "support/tunes.rs"]
mod tunes;

use farandole::dance::{Carried, Doubt, MoveBook, Profile, Source, carry, draft, new_dance};
use farandole::grid::{Grid, Phrase};
use farandole::identity::Identity;
use farandole::listening::{Ear, Evidence, HeardGrid, Metering, Pulse, align, decode, describe};
use farandole::units::{SampleRate, Seconds};
use metrics::matches;
use serde_json::Map;
use tunes::{Manner, SECTION, play};

const RATE: u32 = 22_050;

fn evidence(sound: &[f32]) -> Evidence {
    let mut ear = Ear::new(1, SampleRate(RATE));
    ear.push(sound);
    ear.finish()
}

fn source(name: &str) -> Source {
    Source {
        path: name.into(),
        identity: Identity { hash: "0".repeat(64), frames: 1, rate: RATE },
        title: None,
        performer: None,
        year: None,
        unknown: Map::new(),
    }
}

fn first(sections: &str) -> (Vec<f32>, Vec<f64>) {
    play(
        RATE,
        sections,
        &Manner { bpm: &|_| 112.0, start: 0.8, up: 0.0, overtones: &[1.0, 0.4, 0.2], ring: 0.9 },
    )
}

/// Drafts a dance on the true counts of one performance and carries it to another.
fn carried(sections: &str, from: &(Vec<f32>, Vec<f64>), to: &[f32]) -> (usize, Carried) {
    let beats: Vec<Seconds> = from.1.iter().copied().map(Seconds).collect();
    let bars = (0..beats.len()).step_by(4).collect();
    let phrases = sections.chars().enumerate();
    let phrases =
        phrases.map(|(n, letter)| Phrase { start: n * SECTION, letter: letter.to_string() }).collect();
    let grid = Grid::new(beats, bars, phrases).expect("in order");
    let mut metering = Metering::new(1, SampleRate(RATE));
    metering.push(&from.0);
    let heard = HeardGrid { pulse: Pulse::Clear, grid, sureness: Vec::new(), metres: Vec::new() };
    let listening = describe(&metering.finish(), heard);
    let drafted = draft(&listening, &MoveBook::built_in(), &Profile::default()).expect("there is a beat");
    let dance = new_dance("A tune", source("one.wav"), Profile::default(), &listening, drafted);
    let (here, there) = (evidence(&from.0), evidence(to));
    let alignment = align(&here, &there).expect("both have sound");
    let carried = carry(&dance, source("two.wav"), &alignment, &mut |anchors| decode(&there, anchors))
        .expect("it can be carried");
    (dance.cues.len(), carried)
}

/// The share of true beats that the carried grid has within 70 ms, and how far the found ones are off (median).
fn met(truth: &[f64], carried: &Carried) -> (f64, f64) {
    let found: Vec<f64> = carried.dance.grid.beats().iter().map(|beat| beat.0).collect();
    let pairs = matches(truth, &found, 0.07);
    let mut off: Vec<f64> = pairs.iter().map(|(a, b)| (a - b).abs()).collect();
    off.sort_by(f64::total_cmp);
    (pairs.len() as f64 / truth.len() as f64, off.get(off.len() / 2).copied().unwrap_or(1.0))
}

#[test]
fn cues_go_along_to_a_slower_performance_on_another_instrument_in_another_key() {
    let sections = "ABAC";
    let from = first(sections);
    // From 84 it slows down to 60 and comes back to tempo; a semitone lower, as an old disc may run.
    let slows = |beat: usize| if beat % 32 < 16 { 84.0 } else { 84.0 - 1.5 * (beat % 16) as f64 };
    let to = play(
        RATE,
        sections,
        &Manner { bpm: &slows, start: 3.1, up: -1.0, overtones: &[0.6, 1.0, 0.1, 0.5], ring: 0.5 },
    );
    let (cues, carried) = carried(sections, &from, &to.0);
    let (share, off) = met(&to.1, &carried);
    assert!(share >= 0.97 && off < 0.02, "{share} {off}");
    assert_eq!(carried.transposed, -1);
    assert!((carried.speed - 0.66).abs() < 0.05, "{}", carried.speed);
    assert_eq!(carried.doubts, []);
    assert_eq!(carried.dance.recording.path, "two.wav");
    assert_eq!(carried.dance.cues.len(), cues);
    // Every phrase and every cue begins on the beat of the new recording that is the same beat of the tune.
    for (index, phrase) in carried.dance.grid.phrases().iter().enumerate() {
        let at = carried.dance.grid.beats()[phrase.start].0;
        assert!((at - to.1[index * SECTION]).abs() < 0.07, "{index} {at}");
    }
    let old = carried.dance.cues.iter().map(|cue| carried.dance.grid.seconds_at(cue.at).0);
    assert!(old.into_iter().all(|at| to.1.iter().any(|beat| (beat - at).abs() < 0.07)));
}

#[test]
fn a_repeat_that_is_left_out_is_told() {
    let quicker = Manner { bpm: &|_| 124.0, start: 0.5, up: 0.0, overtones: &[1.0, 0.7], ring: 0.8 };
    let from = first("ABBCA");
    let (_, carried_on) = carried("ABBCA", &from, &play(RATE, "ABCA", &quicker).0);
    let parted: Vec<usize> = carried_on
        .doubts
        .iter()
        .filter_map(|doubt| match doubt {
            Doubt::Parted { phrase, faster } if *faster > 1.0 => Some(*phrase),
            _ => None,
        })
        .collect();
    assert!(parted == [1] || parted == [2] || parted == [1, 2], "{:?}", carried_on.doubts);

    // At the beginning it is simply not played, and neither are the cues on it.
    let (cues, cut) = carried("ABBCA", &from, &play(RATE, "BBCA", &quicker).0);
    assert_eq!(cut.doubts, [Doubt::NotPlayed { phrase: 0 }]);
    assert!(cut.left_out > 0 && cut.dance.cues.len() + cut.left_out == cues);
    assert!(cut.dance.grid.phrases().len() == 4, "{:?}", cut.dance.grid.phrases());
}

#[test]
fn another_piece_is_not_taken_for_the_same() {
    let from = first("ABAC");
    let to = play(
        RATE,
        "XYZX",
        &Manner { bpm: &|_| 96.0, start: 0.5, up: 0.0, overtones: &[1.0, 0.7], ring: 0.8 },
    );
    let (_, carried) = carried("ABAC", &from, &to.0);
    assert_eq!(carried.doubts, [Doubt::OtherPiece]);
}

/// ffmpeg plays the demo slower at the same pitch: a performance that nobody here has made.
#[test]
fn the_command_carries_the_demo_to_a_slower_recording_of_it() {
    let room = tempfile::tempdir().expect("a scratch folder");
    let run = |arguments: &[&str]| {
        let mut command =
            assert_cmd::Command::cargo_bin("farandole").expect("the program is built for its tests");
        command.current_dir(room.path()).env("HOME", room.path()).env_remove("XDG_CACHE_HOME");
        command.args(arguments).output().expect("the program starts")
    };
    let words = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    let read = |name: &str| -> farandole::dance::Dance {
        let text = std::fs::read_to_string(room.path().join(name)).expect("written");
        farandole::dance::file::from_json(&text).expect("a dance").dance
    };
    assert!(run(&["demo", "--copy-to", "."]).status.success());
    let slower = std::process::Command::new("ffmpeg")
        .current_dir(room.path())
        .args(["-v", "error", "-i", "march-and-farandole.ogg", "-af", "atempo=0.85", "slow.wav"])
        .status();
    assert!(slower.expect("ffmpeg is installed for the tests").success());

    let said = run(&["carry", "march-and-farandole.dance.json", "slow.wav"]);
    assert_eq!(
        (words(&said.stderr), said.status.code()),
        (String::new(), Some(0)),
        "{}",
        words(&said.stdout)
    );
    let said = words(&said.stdout);
    assert!(said.contains("which runs at 85 % of its speed, in the same key\n"), "{said}");
    let (old, new) = (read("march-and-farandole.dance.json"), read("slow.dance.json"));
    assert_eq!(new.recording.path, "slow.wav");
    assert_eq!(new.cues, old.cues, "counts stay counts");
    assert_eq!(new.grid.phrases(), old.grid.phrases());
    let off: Vec<f64> =
        old.grid.beats().iter().zip(new.grid.beats()).map(|(a, b)| (a.0 / 0.85 - b.0).abs()).collect();
    let met = off.iter().filter(|off| **off < 0.07).count();
    assert!(met as f64 >= 0.95 * off.len() as f64, "{met} of {}", off.len());

    let refused = |arguments: &[&str], sentence: &str| {
        let output = run(arguments);
        assert!(
            words(&output.stderr).ends_with(&format!("farandole: {sentence}\n")),
            "{}",
            words(&output.stderr)
        );
        assert_eq!(output.status.code(), Some(2));
    };
    refused(
        &["carry", "march-and-farandole.dance.json", "slow.wav"],
        "'slow.dance.json' is already there; add --replace to make it anew (what is in it is then lost), or --output \
         with another name",
    );
    std::fs::remove_file(room.path().join("evening-boat.ogg")).expect("copied");
    refused(
        &["carry", "evening-boat.dance.json", "slow.wav", "--output", "b.dance.json"],
        "cannot carry 'evening-boat.dance.json' across: its own recording is needed to compare; put it beside the dance",
    );
    let other =
        run(&["carry", "goats-on-the-wall.dance.json", "cat-on-the-stairs.ogg", "--output", "c.dance.json"]);
    assert_eq!(other.status.code(), Some(1));
    assert!(words(&other.stdout).contains("do not sound like the same piece"), "{}", words(&other.stdout));
}
