//! Beats that other programs wrote, taken as anchors: files written by `csv`, by `midly` and after the published JAMS schema,
//! with beats that are worked out here; our own hand-outs, read back; and what a teacher says of them later.

#[path = "support/dances.rs"]
mod dances;

use dances::{any_dance, full};
use farandole::dance::{Dance, file};
use farandole::grid::{Anchor, Grid, Level, Phrase};
use farandole::handout::{Kind, Material, Paper, make};
use farandole::incoming::{Incoming, read};
use farandole::listening::Memory;
use farandole::shelf;
use farandole::units::Seconds;
use midly::num::{u4, u7, u15, u24, u28};
use midly::{Format, Header, MetaMessage, MidiMessage, Smf, Timing, TrackEvent, TrackEventKind};
use proptest::prelude::*;
use serde_json::{Value, json};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;

fn root(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

fn demo(name: &str) -> Dance {
    let text = fs::read_to_string(root("assets/demo").join(name)).expect("the demo is there");
    file::from_json(&text).expect("a dance").dance
}

/// What it takes to hear the grid of a demo recording again.
static GOATS: LazyLock<Memory> = LazyLock::new(|| {
    shelf::listen(&root("assets/demo/goats-on-the-wall.ogg"), &mut |_| {}, &mut |_| {}).expect("whole").memory
});

fn taken(ending: &str, bytes: &[u8]) -> Incoming {
    read(ending, bytes).unwrap_or_else(|refusal| panic!("{ending}: {refusal}"))
}

fn times(incoming: &Incoming) -> Vec<f64> {
    incoming.beats.iter().map(|beat| beat.0).collect()
}

fn assert_times(incoming: &Incoming, expected: &[f64]) {
    let read = times(incoming);
    assert_eq!(read.len(), expected.len(), "{read:?} {expected:?}");
    let worst = read.iter().zip(expected).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
    assert!(worst < 1e-6, "{worst} s: {read:?} {expected:?}");
}

/// Every form in which beats leave, and its ending.
const FORMS: [(Kind, &str); 3] = [(Kind::Beats, "csv"), (Kind::Annotations, "jams"), (Kind::TempoMap, "mid")];

/// The grid of a dance after it has left in some form and come back.
fn there_and_back(dance: &Dance, kind: Kind, ending: &str) -> Grid {
    let material = Material { dance, heard: None, paper: Paper::A4, notes: false };
    let incoming = taken(ending, &make(kind, ending, &material).expect("there are counts"));
    let Anchor::Given { beats, bars, phrases } = incoming.anchor(Seconds(1e6)) else {
        panic!("beats of a file")
    };
    Grid::new(beats, bars, phrases).expect("a grid").rounded()
}

#[test]
fn our_own_hand_outs_give_the_same_grid_back() {
    for name in ["goats-on-the-wall", "march-and-farandole", "cat-on-the-stairs", "first-snow"] {
        let path = format!("{name}.dance.json");
        if !root("assets/demo").join(&path).exists() {
            continue;
        }
        let dance = demo(&path);
        for (kind, ending) in FORMS {
            assert_eq!(there_and_back(&dance, kind, ending), dance.grid, "{name}.{ending}");
        }
    }
    let dance = full();
    for (kind, ending) in FORMS {
        assert_eq!(
            there_and_back(&dance, kind, ending),
            dance.grid,
            "{ending}: a pickup before the first bar"
        );
    }
}

proptest! {
    #[test]
    fn any_grid_of_a_dance_comes_back(mut dance in any_dance()) {
        dance.grid = dance.grid.rounded();
        // Beats so near are one beat, by decision, and one beat is no grid.
        prop_assume!(dance.grid.len() > 1);
        for (kind, ending) in FORMS {
            prop_assert_eq!(&there_and_back(&dance, kind, ending), &dance.grid, "{}", ending);
        }
    }

    #[test]
    fn nothing_makes_reading_fall_over(ending in "(csv|jams|mid|txt|)", bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let _ = read(&ending, &bytes);
    }

    #[test]
    fn hardly_damaged_files_do_not_either(at in 0.0..1.0f64, with in any::<u8>(), which in 0..3usize, cut in any::<bool>()) {
        let (kind, ending) = FORMS[which];
        let dance = full();
        let material = Material { dance: &dance, heard: None, paper: Paper::A4, notes: false };
        let mut bytes = make(kind, ending, &material).expect("there are counts");
        let at = (at * bytes.len() as f64) as usize;
        bytes[at] = with;
        if cut {
            bytes.truncate(at);
        }
        if let Ok(incoming) = read(ending, &bytes) {
            prop_assert!(incoming.beats.windows(2).all(|pair| pair[0] < pair[1]));
            prop_assert!(incoming.bars.windows(2).all(|pair| pair[0] < pair[1]));
            prop_assert!(incoming.bars.iter().all(|bar| *bar < incoming.beats.len()));
        }
    }
}

#[test]
fn what_this_program_prints_and_keeps_as_json_is_read_too() {
    let dance = demo("goats-on-the-wall.dance.json");
    let incoming = taken("json", file::to_json(&dance).as_bytes());
    assert_eq!(incoming.beats, dance.grid.beats());
    assert_eq!((&incoming.bars[..], &incoming.phrases[..]), (dance.grid.bars(), dance.grid.phrases()));
    let printed = json!({ "beats": [0.5, 1.0, 1.5, 2.0, 2.5], "downbeats": [0.5, 2.0] });
    let incoming = taken("json", printed.to_string().as_bytes());
    assert_times(&incoming, &[0.5, 1.0, 1.5, 2.0, 2.5]);
    assert_eq!(incoming.bars, [0, 3]);
}

#[test]
fn tables_are_read_as_common_tools_write_them() {
    let beats = [0.52, 1.03, 1.55, 2.08, 2.6, 3.11, 3.63];
    let written = |mark: u8, head: bool, positions: bool| -> Vec<u8> {
        let mut writer = csv::WriterBuilder::new().delimiter(mark).from_writer(Vec::new());
        if head {
            let names: &[&str] = if positions { &["Time", "Position"] } else { &["Time"] };
            writer.write_record(names).expect("into memory");
        }
        for (index, beat) in beats.iter().enumerate() {
            let mut cells = vec![format!("{beat}")];
            cells.extend(positions.then(|| ((index + 2) % 3 + 1).to_string()));
            writer.write_record(&cells).expect("into memory");
        }
        writer.into_inner().expect("into memory")
    };
    for mark in [b',', b'\t', b';', b' '] {
        for head in [false, true] {
            for positions in [false, true] {
                let bytes = written(mark, head, positions);
                let incoming = taken("csv", &bytes);
                assert_times(&incoming, &beats);
                let bars: &[usize] = if positions { &[1, 4] } else { &[] };
                assert_eq!(incoming.bars, bars, "{}", String::from_utf8_lossy(&bytes));
            }
        }
    }
}

#[test]
fn tables_have_many_dialects() {
    let beats = [0.52, 1.03, 1.55, 2.08, 2.6];
    let bars = [0, 3];
    for (what, text) in [
        ("decimal commas", "0,52;1\n1,03;2\n1,55;3\n2,08;1\n2,6;2\n"),
        ("minutes", "0:00.52\t1\n0:01.03\t2\n0:01.55\t3\n0:02.08\t1\n0:02.6\t2\n"),
        ("bar and beat in one label", "0.52\t1.1\n1.03\t1.2\n1.55\t1.3\n2.08\t2.1\n2.6\t2.2\n"),
        ("begin, end and label", "0.52 0.52 1\n1.03 1.03 2\n1.55 1.55 3\n2.08 2.08 1\n2.6 2.6 2\n"),
        ("remarks and empty lines", "# by hand\n\n0.52,1\n1.03,2\n1.55,3\n\n2.08,1\n2.6,2"),
        ("milliseconds", "ms,beat in bar\n520,1\n1030,2\n1550,3\n2080,1\n2600,2\n"),
        ("numbered bars", "time,measure\r\n0.52,4\r\n1.03,4\r\n1.55,4\r\n2.08,5\r\n2.6,5\r\n"),
        ("first beats marked", "onset;downbeat\n0.52;1\n1.03;0\n1.55;0\n2.08;1\n2.6;0\n"),
        ("the label first", "one\t0.52\t1\ntwo\t1.03\t2\n3\t1.55\t3\none\t2.08\t1\ntwo\t2.6\t2\n"),
        ("a mark at the head", "\u{feff}time,position\n0.52,1\n1.03,2\n1.55,3\n2.08,1\n2.6,2\n"),
    ] {
        let incoming = taken("csv", text.as_bytes());
        assert_eq!(times(&incoming), beats, "{what}");
        assert_eq!(incoming.bars, bars, "{what}");
    }
    // Commas in the numbers and nowhere else.
    assert_eq!(times(&taken("txt", b"0,52\n1,03\n1,55\n2,08\n2,6\n")), beats);
    // As a spreadsheet's "Unicode text" has it: UTF-16 with tabs.
    let wide = |unit: fn(u16) -> [u8; 2]| -> Vec<u8> {
        "\u{feff}Time\tPosition\r\n0,52\t1\r\n1,03\t2\r\n1,55\t3\r\n2,08\t1\r\n2,6\t2\r\n"
            .encode_utf16()
            .flat_map(unit)
            .collect()
    };
    for bytes in [wide(u16::to_le_bytes), wide(u16::to_be_bytes)] {
        let incoming = taken("txt", &bytes);
        assert_eq!((times(&incoming), &incoming.bars[..]), (beats.to_vec(), &bars[..]));
    }
}

#[test]
fn a_column_that_does_not_count_is_no_place_in_the_bar() {
    // Strengths, running numbers, the same number everywhere.
    for text in
        ["0.5,3\n1.0,1\n1.5,7\n2.0,1\n", "0.5,1\n1.0,2\n1.5,3\n2.0,4\n", "0.5,1\n1.0,1\n1.5,1\n2.0,1\n"]
    {
        assert_eq!(taken("csv", text.as_bytes()).bars, [0usize; 0], "{text}");
    }
}

#[test]
fn what_is_left_out_is_said() {
    let incoming = taken("csv", b"-0.4\n-0.01\n0.5\n1.0\n1.001\n1.5\n");
    assert_eq!(times(&incoming), [0.5, 1.0, 1.5]);
    assert_eq!(
        incoming.notes,
        [
            "2 beats of the file are before the sound begins, and left out",
            "1 beat of the file is within a twentieth of a second of another, and taken for the same beat",
        ]
    );
    let quick: String = (0..40).map(|beat| format!("{:.2}\n", 0.2 * f64::from(beat))).collect();
    assert_eq!(
        taken("txt", quick.as_bytes()).notes,
        ["these beats are faster than a class can count: halve them when you repair the dance"]
    );
    assert_eq!(taken("csv", b"0.5\n1\n9\n").beyond(Seconds(2.0)), 1);
}

/// A JAMS file of one annotation, held to the published schema before it is read.
fn jams(namespace: &str, observations: &[(f64, Value)]) -> Vec<u8> {
    let data: Vec<Value> = observations
        .iter()
        .map(|(time, value)| json!({ "time": time, "duration": 0.0, "value": value, "confidence": 0.5 }))
        .collect();
    let whole = json!({
        "file_metadata": { "duration": 60.0, "title": "", "artist": "", "release": "", "jams_version": "0.3.4", "identifiers": {} },
        "annotations": [
            { "namespace": "tempo", "data": [], "annotation_metadata": {}, "sandbox": {}, "time": 0, "duration": 60 },
            { "namespace": namespace, "data": data, "annotation_metadata": {}, "sandbox": {}, "time": 0, "duration": 60 },
        ],
        "sandbox": {},
    });
    let schema = |name: &str| -> Value {
        let text = fs::read_to_string(root("tests/fixtures/jams").join(name)).expect("the schema is there");
        serde_json::from_str(&text).expect("JSON")
    };
    let validator = jsonschema::validator_for(&schema("jams_schema.json")).expect("a schema");
    assert!(
        validator.is_valid(&whole),
        "{:?}",
        validator.iter_errors(&whole).map(|e| e.to_string()).collect::<Vec<_>>()
    );
    let values = jsonschema::validator_for(&schema(&format!("{namespace}.json"))[namespace]["value"])
        .expect("a schema");
    assert!(observations.iter().all(|(_, value)| values.is_valid(value)));
    whole.to_string().into_bytes()
}

#[test]
fn jams_is_read_in_both_namespaces_of_beats() {
    let at = |index: usize| 0.4 + 0.6 * index as f64;
    let expected: Vec<f64> = (0..9).map(at).collect();
    let plain: Vec<(f64, Value)> = (0..9).map(|index| (at(index), Value::Null)).collect();
    let placed: Vec<(f64, Value)> = (0..9).map(|index| (at(index), json!((index + 1) % 3 + 1))).collect();
    let full: Vec<(f64, Value)> = (0..9)
        .map(|index| {
            let value = json!({ "position": (index + 1) % 3 + 1, "measure": (index + 1) / 3, "num_beats": 3, "beat_units": 4 });
            (at(index), value)
        })
        .collect();
    for (namespace, observations, bars) in
        [("beat", plain, vec![]), ("beat", placed, vec![2, 5, 8]), ("beat_position", full, vec![2, 5, 8])]
    {
        let incoming = taken("jams", &jams(namespace, &observations));
        assert_times(&incoming, &expected);
        assert_eq!(incoming.bars, bars, "{namespace}");
    }
    // Half beats between the beats are no beats.
    let halves: Vec<(f64, Value)> =
        (0..8).map(|half| (0.5 + 0.25 * f64::from(half), json!(1.0 + 0.5 * f64::from(half % 4)))).collect();
    let incoming = taken("jams", &jams("beat", &halves));
    assert_times(&incoming, &[0.5, 1.0, 1.5, 2.0]);
    assert_eq!(incoming.bars, [0, 2]);
    assert_eq!(incoming.notes, ["what the file has between the beats is left out"]);
}

/// A MIDI file with one track of tempi and signatures, and another with notes if asked for.
fn midi(quarter: u16, events: &[(u32, MetaMessage<'static>)], notes: bool, end: u32) -> Vec<u8> {
    let mut track = Vec::new();
    let mut before = 0;
    for (tick, message) in events.iter().cloned().chain([(end, MetaMessage::EndOfTrack)]) {
        track.push(TrackEvent { delta: u28::new(tick - before), kind: TrackEventKind::Meta(message) });
        before = tick;
    }
    let mut tracks = vec![track];
    if notes {
        let key = |vel: u8| TrackEventKind::Midi {
            channel: u4::new(0),
            message: MidiMessage::NoteOn { key: u7::new(60), vel: u7::new(vel) },
        };
        tracks.push(vec![
            TrackEvent { delta: u28::new(0), kind: key(80) },
            TrackEvent { delta: u28::new(end), kind: key(0) },
            TrackEvent { delta: u28::new(0), kind: TrackEventKind::Meta(MetaMessage::EndOfTrack) },
        ]);
    }
    let mut bytes = Vec::new();
    let song = Smf { header: Header::new(Format::Parallel, Timing::Metrical(u15::new(quarter))), tracks };
    song.write_std(&mut bytes).expect("into memory");
    bytes
}

#[test]
fn a_tempo_map_that_changes_is_followed() {
    // 120 for four quarter notes, 100 for two and a half, 60 to the end: a change in the middle of a beat.
    let tempo = |length: u32| MetaMessage::Tempo(u24::new(length));
    let bytes = midi(
        96,
        &[
            (0, MetaMessage::TimeSignature(4, 2, 24, 8)),
            (0, tempo(500_000)),
            (4 * 96, tempo(600_000)),
            (6 * 96 + 48, tempo(1_000_000)),
        ],
        true,
        9 * 96,
    );
    let incoming = taken("mid", &bytes);
    let half = 2.0 + 2.0 * 0.6 + 0.5 * 0.6;
    assert_times(&incoming, &[0.0, 0.5, 1.0, 1.5, 2.0, 2.6, 3.2, half + 0.5, half + 1.5]);
    assert_eq!(incoming.bars, [0, 4, 8]);
    assert_eq!(incoming.anchor(Seconds(60.0)), incoming.anchor(Seconds(1.0)), "notes have an end");
}

#[test]
fn metres_are_counted_as_they_are_felt() {
    let of = |numerator: u8, power: u8, clocks: u8| {
        let signature = MetaMessage::TimeSignature(numerator, power, clocks, 8);
        // Two bars at 120 quarter notes a minute: 480 ticks, 0.5 s each.
        let bar = u32::from(numerator) * 4 * 480 / (1 << power);
        let incoming = taken("mid", &midi(480, &[(0, signature)], true, 2 * bar));
        (incoming.beats.len() / 2, incoming.beats[1].0, incoming.bars)
    };
    assert_eq!(of(3, 2, 24), (3, 0.5, vec![0, 3]));
    assert_eq!(of(2, 1, 24), (2, 1.0, vec![0, 2]), "two halves");
    assert_eq!(of(6, 3, 24), (2, 0.75, vec![0, 2]), "six eighths are two beats");
    assert_eq!(of(9, 3, 36), (3, 0.75, vec![0, 3]));
    assert_eq!(of(6, 3, 12), (6, 0.25, vec![0, 6]), "unless the click says six");
    assert_eq!(of(4, 2, 48), (2, 1.0, vec![0, 2]), "or halves");
    assert_eq!(of(7, 3, 24), (7, 0.25, vec![0, 7]));
}

#[test]
fn a_tempo_map_without_notes_goes_on_to_the_end_of_the_recording() {
    let bytes = midi(
        480,
        &[(0, MetaMessage::TimeSignature(3, 2, 24, 8)), (960, MetaMessage::Tempo(u24::new(400_000)))],
        false,
        960,
    );
    let incoming = taken("mid", &bytes);
    assert_times(&incoming, &[0.0, 0.5]);
    let Anchor::Given { beats, bars, .. } = incoming.anchor(Seconds(3.1)) else { panic!("beats") };
    let expected = [0.0, 0.5, 1.0, 1.4, 1.8, 2.2, 2.6, 3.0];
    assert!(beats.iter().zip(expected).all(|(beat, at)| (beat.0 - at).abs() < 1e-6), "{beats:?}");
    assert_eq!((beats.len(), bars), (8, vec![0, 3, 6]));
}

/// The grid that the decoder makes of these words.
fn decoded(anchors: &[Anchor]) -> Grid {
    GOATS.grid(anchors).grid.rounded()
}

/// Beats that nobody hears in the recording: 97 a minute, bars of three, phrases of twelve.
fn foreign() -> Anchor {
    let count = (GOATS.envelope.length().0 / 0.62) as usize - 1;
    Anchor::Given {
        beats: (0..count).map(|beat| Seconds((310.0 + 6200.0 * beat as f64).round() / 1e4)).collect(),
        bars: (1..count).step_by(3).collect(),
        phrases: (1..count).step_by(12).map(|start| Phrase { start, letter: String::new() }).collect(),
    }
}

#[test]
fn the_decoder_takes_the_beats_of_a_file_as_they_are() {
    let Anchor::Given { beats, bars, phrases } = foreign() else { panic!("beats") };
    let grid = decoded(&[foreign()]);
    assert_eq!((grid.beats(), grid.bars()), (&beats[..], &bars[..]));
    assert!(grid.phrases().iter().map(|p| p.start).eq(phrases.iter().map(|p| p.start)));
    assert!(grid.phrases().iter().all(|phrase| !phrase.letter.is_empty()), "letters are heard");
    // What was said before the file counts no more.
    assert_eq!(
        decoded(&[
            Anchor::Metre { from: Seconds(0.0), beats: 4 },
            Anchor::Tap { at: Seconds(3.3) },
            foreign()
        ]),
        grid
    );
    // A file without bars: they are heard, on its beats.
    let bare = decoded(&[Anchor::Given { beats: beats.clone(), bars: Vec::new(), phrases: Vec::new() }]);
    assert_eq!(bare.beats(), beats);
    assert!(bare.bars().len() > 4 && bare.phrases().len() > 1);
}

#[test]
fn a_dance_that_leaves_and_comes_back_is_heard_the_same() {
    let heard = decoded(&[]);
    let mut dance = demo("goats-on-the-wall.dance.json");
    dance.grid = heard.clone();
    for (kind, ending) in FORMS {
        let material = Material { dance: &dance, heard: None, paper: Paper::A4, notes: false };
        let incoming = taken(ending, &make(kind, ending, &material).expect("counts"));
        assert_eq!(decoded(&[incoming.anchor(GOATS.envelope.length())]), heard, "{ending}");
    }
}

#[test]
fn later_words_hold_against_the_file() {
    let Anchor::Given { beats, bars, .. } = foreign() else { panic!("beats") };
    let with = |later: Anchor| decoded(&[foreign(), later]);
    let nudged = with(Anchor::Beat { at: Seconds(beats[10].0 + 0.04) });
    let mut expected = beats.clone();
    expected[10] = Seconds((beats[10].0 * 1e4 + 400.0).round() / 1e4);
    assert_eq!((nudged.beats(), nudged.bars()), (&expected[..], &bars[..]));
    // A beat taken out: the one before is held.
    let held = with(Anchor::Hold { at: beats[9], until: beats[11] });
    expected = beats.clone();
    expected.remove(10);
    assert_eq!(held.beats(), expected);
    // Half as fast from the twentieth beat on.
    let halved = with(Anchor::Level { from: beats[20], level: Level::Half });
    let expected: Vec<Seconds> = beats[..20].iter().chain(beats[20..].iter().step_by(2)).copied().collect();
    assert_eq!(halved.beats(), expected);
    let doubled = with(Anchor::Level { from: Seconds(0.0), level: Level::Double });
    assert_eq!(doubled.len(), 2 * beats.len() - 1);
    // Count one elsewhere: bars and phrases are heard around it.
    let moved = with(Anchor::CountOne { at: beats[12] });
    assert_eq!(moved.beats(), beats);
    assert!(moved.bars().contains(&12) && moved.phrases().iter().any(|phrase| phrase.start == 12));
    // Count one on a first beat of a bar of the file: its bars stay.
    let agreed = with(Anchor::CountOne { at: beats[bars[2]] });
    assert_eq!(agreed.bars(), bars);
    // Taps along four beats between those of the file: those are the beats there.
    let taps: Vec<Anchor> = (20..24).map(|n| Anchor::Tap { at: Seconds(beats[n].0 + 0.28) }).collect();
    let tapped = decoded(&[&[foreign()][..], &taps].concat());
    let there: Vec<f64> = tapped
        .beats()
        .iter()
        .map(|beat| beat.0)
        .filter(|at| (beats[20].0 + 0.2..beats[23].0 + 0.45).contains(at))
        .collect();
    assert_eq!(there.len(), 4, "{there:?}");
    assert_eq!(tapped.beats()[..20], beats[..20]);
}

#[test]
fn nonsense_from_a_file_of_a_dance_is_passed_over() {
    let heard = decoded(&[]);
    for nonsense in [
        Anchor::Given { beats: Vec::new(), bars: Vec::new(), phrases: Vec::new() },
        Anchor::Given { beats: vec![Seconds(2.0), Seconds(1.0)], bars: Vec::new(), phrases: Vec::new() },
        Anchor::Given { beats: vec![Seconds(f64::NAN)], bars: Vec::new(), phrases: Vec::new() },
        Anchor::Given { beats: vec![Seconds(1e9)], bars: Vec::new(), phrases: Vec::new() },
    ] {
        assert_eq!(decoded(&[nonsense]).beats(), heard.beats());
    }
    let beats: Vec<Seconds> = (1..9).map(|beat| Seconds(f64::from(beat))).collect();
    let grid = decoded(&[Anchor::Given {
        beats: beats.clone(),
        bars: vec![0, 400],
        phrases: vec![Phrase { start: 99, letter: "A".into() }],
    }]);
    assert_eq!((grid.beats(), grid.bars()), (&beats[..], &[0][..]));
}
