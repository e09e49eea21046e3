//! Captions, tempo map, tables and annotations, read by programs and parsers that are not ours: ffmpeg's caption readers, a
//! MIDI player that is heard, `midly`, `csv`, and the published JAMS schema.

#[path = "support/click_font.rs"]
#[allow(unreachable_pub, reason = "shared with other test files")]
mod click_font;
#[path = "support/dances.rs"]
mod dances;

use dances::{any_dance, full};
use farandole::dance::{Cue, Dance, MoveId, Prompt, file};
use farandole::grid::Grid;
use farandole::handout::{Kind, Material, Paper, make};
use farandole::units::{Beat, Counts, Seconds};
use midly::{MetaMessage, Smf, Timing, TrackEventKind};
use proptest::prelude::*;
use serde_json::Value;
use std::fs;
use std::path::Path;
use std::process::Command;
use std::sync::Arc;

/// Every kind that this file reads back.
const OPEN: &[Kind] = &[Kind::Captions, Kind::Beats, Kind::Cues, Kind::TempoMap, Kind::Annotations];

/// The demo dance, whose music grows from 100 to 190 beats a minute.
fn demo() -> Dance {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("assets/demo/march-and-farandole.dance.json");
    file::from_json(&fs::read_to_string(path).expect("the demo is there")).expect("the demo is a dance").dance
}

/// A dance whose words try to be something else.
fn hostile() -> Dance {
    let mut dance = full();
    let words = [
        "stop --> go",
        "<i>lean</i> & {\\an8}turn",
        "one\n\n2\n00:00:01,000 --> 00:00:02,000\nghost",
        "say \"hello\", wave",
        "NOTE this",
        "WEBVTT",
    ];
    dance.cues = words
        .iter()
        .enumerate()
        .map(|(index, words)| Cue {
            words: Some((*words).into()),
            ..Cue::new(Beat(2.0 + 3.0 * index as f64), Counts(3.0), MoveId("march".into()))
        })
        .collect();
    dance.title = "Round --> and <round>\n\nagain".into();
    dance
}

fn made(dance: &Dance, kind: Kind, ending: &str) -> Vec<u8> {
    let material = Material { dance, heard: None, paper: Paper::A4, notes: false };
    make(kind, ending, &material).expect("there are counts")
}

/// The captions as ffmpeg reads them: start and end in seconds, and the words.
fn captions(bytes: &[u8], ending: &str) -> Vec<(f64, f64, String)> {
    let folder = tempfile::tempdir().expect("a scratch folder");
    let path = folder.path().join(format!("calls.{ending}"));
    fs::write(&path, bytes).expect("a writable folder");
    let output = Command::new("ffprobe")
        .args(["-v", "error", "-show_packets", "-show_data", "-of", "json"])
        .arg(&path)
        .output()
        .unwrap_or_else(|error| panic!("ffprobe is needed ('./start test' installs ffmpeg): {error}"));
    let complaints = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success() && complaints.is_empty(), "{complaints}");
    let told: Value = serde_json::from_slice(&output.stdout).expect("JSON from ffprobe");
    let number = |packet: &Value, key: &str| -> f64 {
        packet[key].as_str().expect("a time").parse().expect("a number")
    };
    let packets = told["packets"].as_array().expect("packets").iter();
    packets
        .map(|packet| {
            let from = number(packet, "pts_time");
            (
                from,
                from + number(packet, "duration_time"),
                dumped(packet["data"].as_str().expect("its bytes")),
            )
        })
        .collect()
}

/// The text in ffprobe's hexadecimal dump: `00000000: 6d61 7263 68  march`.
fn dumped(dump: &str) -> String {
    let mut bytes = Vec::new();
    for line in dump.lines().filter(|line| line.contains(": ")) {
        let hex: String = line[10..].chars().take(40).filter(|c| !c.is_whitespace()).collect();
        bytes.extend(
            (0..hex.len() / 2).map(|at| u8::from_str_radix(&hex[2 * at..2 * at + 2], 16).expect("hex")),
        );
    }
    String::from_utf8(bytes).expect("UTF-8").trim_end().replace("\r\n", "\n")
}

#[test]
fn every_call_comes_up_and_every_move_is_shown_when_it_is_danced() {
    let dance = demo();
    for ending in ["vtt", "srt"] {
        let read = captions(&made(&dance, Kind::Captions, ending), ending);
        assert!(read.len() >= 2 * dance.cues.len() - 1, "{ending}: {}", read.len());
        for pair in read.windows(2) {
            assert!(pair[0].1 <= pair[1].0 + 1e-6, "{ending}: {pair:?} overlap");
        }
        for (index, cue) in dance.cues.iter().enumerate() {
            let at = dance.grid.seconds_at(cue.at).0;
            let words = dance.words_of(cue);
            let up = |at: f64| read.iter().find(|caption| caption.0 <= at + 5e-4 && caption.1 > at + 5e-4);
            let now = up(at + 0.001).unwrap_or_else(|| panic!("{ending}: nothing at {at}"));
            assert!(now.2.starts_with(words), "{ending} at {at}: {now:?}");
            let before =
                index.checked_sub(1).map_or(0.0, |before| dance.grid.seconds_at(dance.cues[before].at).0);
            let called = dance.grid.seconds_at(Beat(cue.at.0 - dance.lead_of(index).0)).0.max(before);
            for at in [called + 0.001, at - 0.002] {
                let now = up(at).unwrap_or_else(|| panic!("{ending}: nothing at {at}"));
                assert!(now.2.contains(&format!("next: {words}")), "{ending} at {at}: {now:?}");
            }
        }
        let asked = read.iter().filter(|caption| caption.2.contains(&dance.prompts[0].question)).count();
        assert!(asked >= 1, "{ending}: the question is shown");
        assert!(!read.iter().any(|caption| caption.2.contains(&dance.prompts[0].answer)));
    }
}

#[test]
fn words_cannot_end_a_caption_or_begin_another() {
    let dance = hostile();
    let (vtt, srt) = (
        captions(&made(&dance, Kind::Captions, "vtt"), "vtt"),
        captions(&made(&dance, Kind::Captions, "srt"), "srt"),
    );
    assert_eq!(vtt.len(), srt.len());
    for (one, other) in vtt.iter().zip(&srt) {
        assert!((one.0 - other.0).abs() < 1e-9 && (one.1 - other.1).abs() < 1e-9, "{one:?} {other:?}");
    }
    assert!(vtt.iter().any(|caption| caption.2.starts_with("stop --&gt; go")), "{vtt:?}");
    assert!(
        srt.iter().any(|caption| caption.2.contains("\u{2039}i\u{203A}lean\u{2039}/i\u{203A} & (\\an8)turn"))
    );
    assert!(vtt.iter().all(|caption| caption.2.lines().count() <= 3), "{vtt:?}");
}

/// What `midly` reads: the beats of the tempo map in seconds from the marker of the first, and the texts with their times.
struct Read {
    quarters: Vec<f64>,
    texts: Vec<(f64, &'static str, String)>,
}

fn read_midi(bytes: &[u8]) -> Read {
    let smf = Smf::parse(bytes).expect("a Standard MIDI File");
    let Timing::Metrical(quarter) = smf.header.timing else { panic!("counted in quarter notes") };
    let quarter = f64::from(quarter.as_int());
    let mut tempi: Vec<(u32, f64)> = Vec::new();
    let (mut texts, mut clicks) = (Vec::new(), Vec::new());
    for track in &smf.tracks {
        let mut tick = 0;
        for event in track {
            tick += event.delta.as_int();
            let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).expect("UTF-8");
            match event.kind {
                TrackEventKind::Meta(MetaMessage::Tempo(length)) => {
                    tempi.push((tick, f64::from(length.as_int())))
                }
                TrackEventKind::Meta(MetaMessage::Marker(words)) => texts.push((tick, "marker", text(words))),
                TrackEventKind::Meta(MetaMessage::CuePoint(words)) => texts.push((tick, "cue", text(words))),
                TrackEventKind::Midi { message: midly::MidiMessage::NoteOn { vel, .. }, .. } if vel > 0 => {
                    clicks.push(tick);
                }
                _ => {}
            }
        }
    }
    let seconds = |tick: u32| {
        let mut at = 0.0;
        for (index, &(from, length)) in tempi.iter().enumerate() {
            let until = tempi.get(index + 1).map_or(u32::MAX, |next| next.0).min(tick);
            at += f64::from(until.saturating_sub(from)) / quarter * length / 1e6;
        }
        at
    };
    Read {
        quarters: clicks.into_iter().map(seconds).collect(),
        texts: texts.into_iter().map(|(tick, kind, words)| (seconds(tick), kind, words)).collect(),
    }
}

#[test]
fn the_tempo_map_follows_the_grid_and_carries_phrases_and_cues() {
    let dance = demo();
    let read = read_midi(&made(&dance, Kind::TempoMap, "mid"));
    let beats = dance.grid.beats();
    assert_eq!(read.quarters.len(), beats.len());
    let worst = read.quarters.iter().zip(beats).map(|(read, beat)| (read - beat.0).abs()).fold(0.0, f64::max);
    assert!(worst < 2e-6, "{worst} s: a microsecond of rounding and no more");
    let at = |kind: &str, words: &str| -> Vec<f64> {
        read.texts.iter().filter(|text| text.1 == kind && text.2 == words).map(|text| text.0).collect()
    };
    for span in dance.grid.phrase_spans() {
        let found = at("marker", &format!("phrase {} ({})", span.index + 1, span.letter));
        assert!((found[0] - dance.grid.seconds_at(span.start).0).abs() < 1e-3, "{span:?}: {found:?}");
    }
    for cue in &dance.cues {
        let wanted = dance.grid.seconds_at(cue.at).0;
        let near = |text: &&(f64, &str, String)| text.1 == "cue" && (text.0 - wanted).abs() < 1e-3;
        let found = read.texts.iter().find(near).unwrap_or_else(|| panic!("no cue point at {wanted}"));
        assert!(found.2.starts_with(dance.words_of(cue)), "{found:?}");
    }
}

/// The counts as `rustysynth` plays them, with a font in which every note is a click on its first frame.
#[test]
fn another_player_strikes_the_counts_where_the_grid_has_them() {
    const RATE: i32 = 176_400;
    let dance = demo();
    let bytes = made(&dance, Kind::TempoMap, "mid");
    // The font has no percussion, so the wood block becomes its one instrument.
    let mut smf = Smf::parse(&bytes).expect("a Standard MIDI File");
    for event in smf.tracks.iter_mut().flatten() {
        if let TrackEventKind::Midi { channel, .. } = &mut event.kind {
            *channel = 0.into();
        }
    }
    let mut melodic = Vec::new();
    smf.write_std(&mut melodic).expect("memory can be written");
    let mut font = std::io::Cursor::new(click_font::click_font(44_100));
    let font = Arc::new(rustysynth::SoundFont::new(&mut font).expect("a sound font"));
    let mut settings = rustysynth::SynthesizerSettings::new(RATE);
    // The player rounds events to blocks: 64 frames are 0.36 ms.
    settings.block_size = 64;
    settings.enable_reverb_and_chorus = false;
    let player = rustysynth::Synthesizer::new(&font, &settings).expect("settings in range");
    let piece = Arc::new(rustysynth::MidiFile::new(&mut std::io::Cursor::new(melodic)).expect("a MIDI file"));
    let mut sequencer = rustysynth::MidiFileSequencer::new(player);
    let frames = (piece.get_length() * f64::from(RATE)) as usize;
    sequencer.play(&piece, false);
    let (mut left, mut right) = (vec![0.0f32; frames], vec![0.0f32; frames]);
    sequencer.render(&mut left, &mut right);
    let floor = 1e-4 * left.iter().fold(0.0f32, |loudest, sample| loudest.max(sample.abs()));
    assert!(floor > 0.0, "something is heard");
    let mut struck: Vec<f64> = Vec::new();
    for (frame, pair) in left.windows(2).enumerate() {
        let at = (frame + 1) as f64 / f64::from(RATE);
        if pair[1].abs() > floor && pair[0].abs() < floor && struck.last().is_none_or(|last| at - last > 0.05)
        {
            struck.push(at);
        }
    }
    assert_eq!(struck.len(), dance.grid.len(), "a click a beat");
    // The player takes up an event at its next block, and the note swells for two more: always late, and evenly.
    let late: Vec<f64> = struck.iter().zip(dance.grid.beats()).map(|(a, b)| a - b.0).collect();
    let (least, most) = (late.iter().copied().fold(1.0, f64::min), late.iter().copied().fold(0.0, f64::max));
    assert!(least >= 0.0 && most < 1.2e-3 && most - least < 0.6e-3, "{least} to {most} s late");
}

fn table(bytes: &[u8]) -> Vec<std::collections::BTreeMap<String, String>> {
    let mut reader = csv::ReaderBuilder::new().flexible(false).from_reader(bytes);
    let head = reader.headers().expect("a head").clone();
    let rows = reader.records().map(|row| {
        let row = row.expect("as many fields as the head");
        head.iter().zip(row.iter()).map(|(name, field)| (name.to_owned(), field.to_owned())).collect()
    });
    rows.collect()
}

#[test]
fn the_tables_hold_every_beat_and_every_cue() {
    let dance = demo();
    let beats = table(&made(&dance, Kind::Beats, "csv"));
    assert_eq!(beats.len(), dance.grid.len());
    for (row, &at) in beats.iter().zip(dance.grid.beats()) {
        let seconds: f64 = row["seconds"].parse().expect("a number");
        assert!((seconds - at.0).abs() < 6e-5);
    }
    let bars = beats.iter().filter(|row| row["beat in bar"] == "1").count();
    assert_eq!(bars, dance.grid.bars().len());
    let ones = beats.iter().filter(|row| row["count"] == "1").count();
    assert_eq!(ones, dance.grid.phrases().len());
    let cues = table(&made(&dance, Kind::Cues, "csv"));
    assert_eq!(cues.len(), dance.cues.len());
    for (row, cue) in cues.iter().zip(&dance.cues) {
        assert_eq!(row["words"], dance.words_of(cue));
        let seconds: f64 = row["seconds"].parse().expect("a number");
        assert!((seconds - dance.grid.seconds_at(cue.at).0).abs() < 6e-5);
        assert_eq!(row["seated"], dance.move_of(cue).map_or("", |entry| &entry.seated.words));
    }
}

#[test]
fn quotes_and_commas_come_through_a_table() {
    let rows = table(&made(&hostile(), Kind::Cues, "csv"));
    assert_eq!(rows[3]["words"], "say \"hello\", wave");
    assert_eq!(rows[3]["caution"], "Keep an arm's length apart.");
    assert!(!rows[0].contains_key("why"), "reasons are printed only when asked for");
    let dance = full();
    let material = Material { dance: &dance, heard: None, paper: Paper::A4, notes: true };
    let noted = table(&make(Kind::Cues, "csv", &material).expect("counts"));
    assert_eq!(noted[0]["why"], "the phrase is firm");
    let text = String::from_utf8(made(&dance, Kind::Cues, "csv")).expect("UTF-8");
    assert!(text.split("\r\n").all(|line| !line.contains('\n')), "RFC 4180: lines end with CR LF");
}

/// The schema of JAMS and of the namespaces used, as its makers publish them (version 0.3.5, ISC licence, `tests/fixtures`).
fn jams_validator() -> jsonschema::Validator {
    let read = |name: &str| -> Value {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/jams").join(name);
        serde_json::from_str(&fs::read_to_string(path).expect("the schema is there")).expect("JSON")
    };
    jsonschema::validator_for(&read("jams_schema.json")).expect("a schema")
}

fn namespace_validator(namespace: &str) -> jsonschema::Validator {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/fixtures/jams/{namespace}.json"));
    let schema: Value =
        serde_json::from_str(&fs::read_to_string(path).expect("the schema is there")).expect("JSON");
    jsonschema::validator_for(&schema[namespace]["value"]).expect("a schema")
}

fn assert_jams(bytes: &[u8]) -> Value {
    let jams: Value = serde_json::from_slice(bytes).expect("JSON");
    let validator = jams_validator();
    let wrong: Vec<String> = validator.iter_errors(&jams).map(|error| error.to_string()).collect();
    assert!(wrong.is_empty(), "{wrong:?}");
    for annotation in jams["annotations"].as_array().expect("annotations") {
        let values = namespace_validator(annotation["namespace"].as_str().expect("its namespace"));
        for observation in annotation["data"].as_array().expect("data") {
            assert!(values.is_valid(&observation["value"]), "{observation}");
        }
    }
    jams
}

#[test]
fn annotations_keep_to_the_published_schema() {
    let dance = demo();
    let jams = assert_jams(&made(&dance, Kind::Annotations, "jams"));
    assert_eq!(jams["annotations"][0]["data"].as_array().map(Vec::len), Some(dance.grid.len()));
    let letters: Vec<&str> = jams["annotations"][1]["data"]
        .as_array()
        .expect("phrases")
        .iter()
        .map(|phrase| phrase["value"].as_str().expect("a letter"))
        .collect();
    let wanted: Vec<&str> = dance.grid.phrases().iter().map(|phrase| phrase.letter.as_str()).collect();
    assert_eq!(letters, wanted);
    // The validator does refuse what is wrong.
    let mut wrong = jams.clone();
    wrong["annotations"][0]["data"][0]["time"] = serde_json::json!(-1.0);
    assert!(!jams_validator().is_valid(&wrong));
}

/// A beat that is held for longer than a tempo can say (24 bits of microseconds: 16.777215 s) takes several quarter notes; its
/// bar is as many longer, the bars after it begin where they should, and the beats come back as they were.
#[test]
fn a_held_beat_is_longer_than_a_tempo_can_say() {
    // Bars of four; the third beat lasts 20 s, the tenth 40 s.
    let lengths = [0.5, 0.5, 20.0, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 40.0, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5];
    let mut beats = vec![0.7];
    beats.extend(lengths[..15].iter().scan(0.7, |at, length| {
        *at += length;
        Some(*at)
    }));
    let seconds = beats.iter().map(|&at| Seconds(at)).collect();
    let grid = Grid::new(seconds, vec![0, 4, 8, 12], vec![]).expect("ascending");
    let dance = Dance { grid, cues: vec![], prompts: vec![], ..full() };
    let bytes = made(&dance, Kind::TempoMap, "mid");
    let read = read_midi(&bytes);
    let worst = read.quarters.iter().zip(&beats).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
    assert!(read.quarters.len() == beats.len() && worst < 2e-6, "{worst}");
    let smf = Smf::parse(&bytes).expect("a Standard MIDI File");
    let mut tick = 0;
    let mut signatures = Vec::new();
    for event in &smf.tracks[0] {
        tick += event.delta.as_int();
        match event.kind {
            TrackEventKind::Meta(MetaMessage::TimeSignature(beats, ..)) => {
                signatures.push((tick / 480, beats))
            }
            TrackEventKind::Meta(MetaMessage::Tempo(length)) => assert!(length.as_int() > 0),
            _ => {}
        }
    }
    // One quarter note before the first beat; 20 s are two quarter notes, 40 s are three.
    assert_eq!(signatures, [(0, 1), (1, 5), (6, 4), (10, 6), (16, 4)]);
    let held = |words: &str| read.texts.iter().find(|text| text.2 == words).map(|text| text.0);
    assert!((held("held beat: 2 quarter notes").expect("said") - beats[2]).abs() < 1e-5);
    assert!((held("held beat: 3 quarter notes").expect("said") - beats[9]).abs() < 1e-5);
    let back = farandole::incoming::read("mid", &bytes).expect("our own file");
    assert_eq!(back.bars, [0, 4, 8, 12]);
    let worst = back.beats.iter().zip(&beats).map(|(a, b)| (a.0 - b).abs()).fold(0.0, f64::max);
    assert!(back.beats.len() == beats.len() && worst < 2e-6, "{worst}");
}

#[test]
fn odd_grids_can_be_exported() {
    for beats in [
        vec![0.0],
        vec![0.0, 0.0001, 0.0002, 60.0],
        vec![40.0, 80.0, 80.3],
        vec![0.02, 0.5, 1.0],
        vec![1e9, 2e12],
    ] {
        let bars = vec![beats.len() - 1];
        let grid = Grid::new(beats.iter().map(|&at| Seconds(at)).collect(), bars, vec![]).expect("ascending");
        let dance = Dance { grid, ..full() };
        for &kind in OPEN.iter() {
            for ending in kind.endings() {
                assert_eq!(made(&dance, kind, ending), made(&dance, kind, ending), "{kind}");
            }
        }
        if beats.iter().all(|&beat| beat < 1e6) {
            let read = read_midi(&made(&dance, Kind::TempoMap, "mid"));
            let worst = read.quarters.iter().zip(&beats).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
            assert!(worst < 1e-3, "{beats:?}: {worst}");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn every_dance_exports_twice_alike_and_is_read(dance in any_dance()) {
        if dance.grid.is_empty() {
            return Ok(());
        }
        for &kind in OPEN.iter() {
            for ending in kind.endings() {
                prop_assert_eq!(made(&dance, kind, ending), made(&dance, kind, ending));
            }
        }
        assert_jams(&made(&dance, Kind::Annotations, "jams"));
        prop_assert_eq!(table(&made(&dance, Kind::Cues, "csv")).len(), dance.cues.len());
        let read = read_midi(&made(&dance, Kind::TempoMap, "mid"));
        let pairs = read.quarters.iter().zip(dance.grid.beats());
        prop_assert!(pairs.map(|(a, b)| (a - b.0).abs()).fold(0.0, f64::max) < 1e-3);
    }
}

#[test]
fn nothing_private_is_told() {
    let mut dance = demo();
    dance.recording.path = "../home/berta/tape of Karl.ogg".into();
    dance.notes = "Watch little Karl near the door.".into();
    dance.cues[0].why = Some("because Karl likes it".into());
    for &kind in OPEN {
        for ending in kind.endings() {
            let told = String::from_utf8_lossy(&made(&dance, kind, ending)).into_owned();
            for secret in ["berta", "Karl", "tape of", "/home"] {
                assert!(!told.contains(secret), "{kind} tells '{secret}'");
            }
        }
    }
}

/// A question at the very end and one before the beginning are shown at times that exist.
#[test]
fn questions_outside_the_music_are_shown_at_times_that_exist() {
    let mut dance = full();
    dance.prompts = [-9.0, 19.5]
        .map(|at| Prompt { at: Beat(at), question: "What now?".into(), ..full().prompts[0].clone() })
        .into();
    assert!(captions(&made(&dance, Kind::Captions, "vtt"), "vtt").iter().all(|caption| caption.0 >= 0.0));
}
