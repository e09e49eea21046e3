//! What a teacher reads when something cannot be done: every sentence in full, with its exit code.

#[path = "support/signals.rs"]
#[allow(unreachable_pub, reason = "shared with other test files")]
mod signals;

use assert_cmd::Command;
use signals::{beat_times, clicks};
use std::fs;
use std::path::Path;
use std::process::Output;
use tempfile::TempDir;

/// A scratch folder with a twenty-second recording of clicks, `clicks.wav`, and a dance drafted for it.
struct Room(TempDir);

impl Room {
    fn new() -> Self {
        let room = Self(tempfile::tempdir().expect("a scratch folder"));
        let times = beat_times(0.5, 40, |_| 120.0);
        let strength = |beat: usize| if beat.is_multiple_of(4) { 1.0 } else { 0.5 };
        write_wav(&room.path("clicks.wav"), 22_050, &clicks(22_050, &times, 20.5, strength));
        let made = room.run(&["draft", "clicks.wav"]);
        assert!(made.status.success(), "{}", stderr(&made));
        room
    }

    fn path(&self, name: &str) -> std::path::PathBuf {
        self.0.path().join(name)
    }

    /// Runs the program in this folder, remembering nothing outside it.
    fn run(&self, arguments: &[&str]) -> Output {
        let mut command = Command::cargo_bin("farandole").expect("the program is built for its tests");
        command.current_dir(self.0.path()).env("HOME", self.0.path()).env_remove("XDG_CACHE_HOME");
        command.args(arguments).output().expect("the program starts")
    }

    /// Runs the program and holds it to one sentence on standard error, nothing on standard output, exit code 2.
    fn refuses(&self, arguments: &[&str], sentence: &str) {
        let output = self.run(arguments);
        assert_eq!(stderr(&output), format!("farandole: {sentence}\n"), "{arguments:?}");
        assert_eq!(String::from_utf8_lossy(&output.stdout), "", "{arguments:?}");
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
    }

    /// Rewrites a copy of the drafted dance.
    fn altered(&self, name: &str, change: impl FnOnce(&mut serde_json::Value)) {
        let text = fs::read_to_string(self.path("clicks.dance.json")).expect("drafted");
        let mut dance = serde_json::from_str(&text).expect("a dance is JSON");
        change(&mut dance);
        fs::write(self.path(name), dance.to_string()).expect("a writable folder");
    }
}

fn stderr(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn write_wav(path: &Path, rate: u32, samples: &[f32]) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: rate,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut writer = hound::WavWriter::create(path, spec).expect("a writable folder");
    samples.iter().for_each(|&sample| writer.write_sample(sample).expect("a writable folder"));
    writer.finalize().expect("a writable folder");
}

#[test]
fn what_is_no_recording_is_refused() {
    let room = Room::new();
    fs::write(room.path("words.mp3"), "Dear class,\n").expect("a writable folder");
    fs::write(room.path("empty.wav"), "").expect("a writable folder");
    fs::create_dir(room.path("songs.flac")).expect("a writable folder");
    for command in ["listen", "draft"] {
        room.refuses(
            &[command, "words.mp3"],
            "cannot read 'words.mp3': it is not a recording; give a WAV, FLAC, MP3, Ogg Vorbis, M4A or AIFF file",
        );
        room.refuses(
            &[command, "empty.wav"],
            "cannot read 'empty.wav': the file is empty (0 bytes); copy or download it again",
        );
        room.refuses(
            &[command, "songs.flac"],
            "cannot read 'songs.flac': it is a folder; give a recording inside it",
        );
        room.refuses(&[command, "gone.mp3"], "cannot find 'gone.mp3'; check the name and the folder");
    }
}

#[test]
fn beats_that_cannot_be_taken_are_refused_with_the_way_out() {
    let room = Room::new();
    let times: String = (0..40).map(|beat| format!("{}\n", 0.5 * f64::from(beat))).collect();
    let midi = |format: u8, division: [u8; 2]| -> Vec<u8> {
        let head = [b"MThd\0\0\0\x06\0", &[format, 0, 1][..], &division].concat();
        [head, b"MTrk\0\0\0\x04\0\xFF\x2F\0".to_vec()].concat()
    };
    let other = r#"{"file_metadata":{},"annotations":[{"namespace":"chord","data":[]}],"sandbox":{}}"#;
    let back = r#"{"annotations":[{"namespace":"beat","data":[{"time":2.0},{"time":1.5}]}]}"#;
    let timeless = r#"{"annotations":[{"namespace":"beat","data":[{"time":2.0},{"value":1}]}]}"#;
    let files: &[(&str, &[u8], &str)] = &[
        ("none.csv", b"", "the file is empty; export the beats again"),
        (
            "words.csv",
            b"Dear class,\nclap with me\n",
            "none of its columns ('Dear', 'class,') is called a time; call the one with the seconds 'time'",
        ),
        (
            "torn.csv",
            b"0.5\n1.0\nhere\n2.0\n",
            "line 3 ('here') has no time in seconds; mend that line or remove it",
        ),
        (
            "mixed.csv",
            b"time\n1.0\n0.5\n2.0\n",
            "in line 3 the time goes back, from 1 s to 0.5 s; put the lines in order of time",
        ),
        ("one.csv", b"0.5\n", "it holds 1 beat, and a grid needs 2 at least"),
        ("head.csv", b"time,position\n", "it holds no beats, and a grid needs 2 at least"),
        ("song.mid", times.as_bytes(), "it is not a whole MIDI file; export or copy it again"),
        ("cut.mid", &midi(1, [1, 0xE0])[..18], "it holds no beats, and a grid needs 2 at least"),
        (
            "film.mid",
            &midi(1, [0xE7, 40]),
            "it counts film frames, so it has no tempo map; export it as MIDI with bars and beats",
        ),
        (
            "songs.mid",
            &midi(2, [1, 0xE0]),
            "it holds several songs one after another (MIDI format 2); export one of them",
        ),
        (
            "sound.csv",
            b"\x7fELF\0\0\x01\x02",
            "it is neither text nor MIDI; export the beats as CSV, as JAMS or as a MIDI file",
        ),
        (
            "table.jams",
            times.as_bytes(),
            "it is not whole: as JSON it goes wrong in line 1; export or copy it again",
        ),
        (
            "half.jams",
            b"{\n\"annotations\": [",
            "it is not whole: as JSON it goes wrong in line 2; export or copy it again",
        ),
        (
            "chords.jams",
            other.as_bytes(),
            "it is JSON without a list of beats; export the namespace 'beat' or 'beat_position' as JAMS",
        ),
        (
            "back.jams",
            back.as_bytes(),
            "beat 2 goes back in time, from 2 s to 1.5 s; put the beats in order of time",
        ),
        ("timeless.jams", timeless.as_bytes(), "beat 2 has no time in seconds; export the beats again"),
    ];
    for (name, bytes, why) in files {
        fs::write(room.path(name), bytes).expect("a writable folder");
        let sentence = format!("cannot take the beats from '{name}': {why}");
        room.refuses(&["draft", "clicks.wav", "--output", "new.dance.json", "--beats", name], &sentence);
    }
    let large = fs::File::create(room.path("large.csv")).expect("a writable folder");
    large.set_len((16 << 20) + 1).expect("a sparse file");
    room.refuses(
        &["draft", "clicks.wav", "--replace", "--beats", "large.csv"],
        "cannot take the beats from 'large.csv': it is larger than any list of beats (16 MB); give the file with the \
         beats alone",
    );
    let many: String = (0..100_001).map(|beat| format!("{:.2}\n", 0.1 * f64::from(beat))).collect();
    fs::write(room.path("many.csv"), many).expect("a writable folder");
    room.refuses(
        &["draft", "clicks.wav", "--replace", "--beats", "many.csv"],
        "cannot take the beats from 'many.csv': it holds 100001 beats, more than any recording (100000); give the file \
         with the beats alone",
    );
    room.refuses(
        &["draft", "clicks.wav", "--replace", "--beats", "gone.csv"],
        "cannot read 'gone.csv': there is no such file",
    );
    assert!(!room.path("new.dance.json").exists(), "a refused draft leaves no file");
}

#[test]
fn a_draft_on_the_beats_of_a_file_keeps_them() {
    let room = Room::new();
    let times: String =
        (0..60).map(|beat| format!("{:.1},{}\n", 0.1 + 0.7 * f64::from(beat), beat % 3 + 1)).collect();
    fs::write(room.path("waltz.csv"), times).expect("a writable folder");
    let output = room.run(&["draft", "clicks.wav", "--output", "waltz.dance.json", "--beats", "waltz.csv"]);
    assert_eq!(
        stderr(&output),
        "note: 30 beats of 'waltz.csv' lie after the end of the recording (0:20.5) and cannot be danced; is it the same \
         recording?\n"
    );
    assert_eq!(output.status.code(), Some(0));
    let dance: serde_json::Value =
        serde_json::from_str(&fs::read_to_string(room.path("waltz.dance.json")).expect("drafted"))
            .expect("JSON");
    let beats: Vec<f64> =
        dance["grid"]["beats"].as_array().expect("beats").iter().filter_map(|b| b.as_f64()).collect();
    assert_eq!(beats.len(), 30, "those within the sound");
    assert!(beats.iter().enumerate().all(|(n, at)| (at - 0.1 - 0.7 * n as f64).abs() < 1e-4), "{beats:?}");
    assert_eq!(dance["grid"]["bars"][1], 3);
    assert_eq!(dance["anchors"][0]["kind"], "given");
}

#[test]
fn a_lesson_that_cannot_be_read_says_which_line() {
    let room = Room::new();
    let files: &[(&str, &str, &str)] = &[
        (
            "none.txt",
            "# later\n",
            "it has no line with minutes; write one a line, as in '10 goats.dance.json dance it twice'",
        ),
        (
            "names.txt",
            "5 clicks.dance.json\nclicks.dance.json 5\n",
            "line 2 ('clicks.dance.json 5') does not begin with minutes; write it as in '10 goats.dance.json dance it twice'",
        ),
        ("long.txt", "900 clicks.dance.json\n", "line 1 takes 900 minutes; give 0.25 to 240"),
        (
            "open.txt",
            "5 \"clicks\n",
            "line 1 opens quotation marks and does not close them; close them after the dance's name",
        ),
        (
            "odd.json",
            "{\"schema\": 1,\n\"itms\": []}",
            "as JSON it goes wrong at line 2: unknown field 'itms', expected one of 'schema', 'title', 'items'; it needs \
             'schema': 1, 'title' and a list 'items'",
        ),
        (
            "new.json",
            "{\"schema\": 7, \"items\": []}",
            "as JSON it goes wrong at line 1: form 7 is not known; it needs 'schema': 1, 'title' and a list 'items'",
        ),
    ];
    for (name, text, why) in files {
        fs::write(room.path(name), text).expect("a writable folder");
        room.refuses(&["programme", name], &format!("cannot read the lesson in '{name}': {why}"));
    }
    let many = "1 rest\n".repeat(101);
    fs::write(room.path("many.txt"), many).expect("a writable folder");
    room.refuses(
        &["programme", "many.txt"],
        "cannot read the lesson in 'many.txt': it has 101 items, and a lesson has 100 at most; give one lesson a file",
    );
    room.refuses(&["programme", "gone.txt"], "cannot read 'gone.txt': there is no such file");
    fs::write(room.path("lost.txt"), "5 gone.dance.json\n").expect("a writable folder");
    room.refuses(&["programme", "lost.txt"], "cannot read 'gone.dance.json': there is no such file");
    fs::write(room.path("good.txt"), "5 talk\n5 clicks.dance.json\n").expect("a writable folder");
    room.refuses(
        &["programme", "good.txt", "--lead"],
        "cannot show the floor: this is not a terminal; run the command in a terminal window",
    );
}

#[test]
fn a_shelf_that_is_not_there_is_said_so_and_a_broken_dance_stays_on_the_list() {
    let room = Room::new();
    room.refuses(&["shelf", "nowhere"], "cannot look into 'nowhere': there is no such file");
    fs::write(room.path("torn.dance.json"), "{\"schema\": 1, ").expect("a writable folder");
    let output = room.run(&["shelf", "."]);
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    assert_eq!((output.status.code(), stderr(&output).as_str()), (Some(0), "2 dances\n"));
    assert!(
        text.starts_with("clicks  ")
            && text.contains("torn                         cannot open './torn.dance.json'"),
        "{text}"
    );
    let output = room.run(&["shelf", ".", "tempo", "--json"]);
    let list: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!((&list["schema"], list["dances"].as_array().map(Vec::len)), (&serde_json::json!(1), Some(0)));
}

#[test]
fn nothing_to_dance_to_is_said_so() {
    let room = Room::new();
    write_wav(&room.path("nan.wav"), 22_050, &[f32::NAN; 22_050 * 6]);
    let output = room.run(&["draft", "nan.wav"]);
    assert_eq!(
        stderr(&output),
        "note: 132300 samples were not numbers and were silenced; export the recording again\n\
         farandole: cannot draft a dance for 'nan.wav': there is nothing to hear in this recording; check the file, \
         or choose another one\n"
    );
    assert_eq!(output.status.code(), Some(2));
    write_wav(&room.path("one.wav"), 22_050, &[0.1]);
    let output = room.run(&["draft", "one.wav"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(!room.path("one.dance.json").exists(), "a refused draft leaves no file");
}

#[test]
fn what_is_no_dance_is_refused() {
    let room = Room::new();
    fs::write(room.path("cut.dance.json"), "{\"schema\": 1,").expect("a writable folder");
    fs::write(room.path("list.dance.json"), "{\"milk\": 2}").expect("a writable folder");
    room.refuses(
        &["check", "cut.dance.json"],
        "cannot open 'cut.dance.json': the text stops in the middle, at line 1: it was cut short; go back to an \
         earlier copy",
    );
    room.refuses(
        &["check", "list.dance.json"],
        "cannot open 'list.dance.json': this is not a dance: it has no 'schema' number; choose a file that \
         Farandole saved",
    );
    room.refuses(&["check", "gone.dance.json"], "cannot read 'gone.dance.json': there is no such file");
    room.refuses(
        &["check", "clicks.wav"],
        "'clicks.wav' is not a dance; to make one of a recording, run: farandole draft 'clicks.wav'",
    );
    // Said before the dance is opened: without a terminal nothing else matters.
    room.refuses(
        &["lead", "cut.dance.json"],
        "cannot show the floor: this is not a terminal; run the command in a terminal window",
    );
}

#[test]
fn a_dance_is_not_drafted_over() {
    let room = Room::new();
    let before = fs::read(room.path("clicks.dance.json")).expect("drafted");
    room.refuses(
        &["draft", "clicks.wav"],
        "'clicks.dance.json' is already there; add --replace to make it anew (what is in it is then lost), or \
         --output with another name",
    );
    assert_eq!(fs::read(room.path("clicks.dance.json")).expect("still there"), before);
    assert!(room.run(&["draft", "clicks.wav", "--replace"]).status.success());
    // What is no dance is not replaced, whatever was asked for.
    room.refuses(
        &["draft", "clicks.wav", "--replace", "--output", "clicks.wav"],
        "'clicks.wav' is not a dance; to make one of a recording, run: farandole draft 'clicks.wav'",
    );
    room.refuses(
        &["draft", "clicks.wav", "--output", "nowhere/a.dance.json"],
        "cannot save 'nowhere/a.dance.json': there is no such file; save it somewhere else",
    );
}

#[test]
fn a_hand_out_is_not_written_over_unasked() {
    let room = Room::new();
    assert!(room.run(&["hand-out", "clicks.dance.json", "--sheet"]).status.success());
    let before = fs::read(room.path("clicks.count-sheet.html")).expect("handed out");
    room.refuses(
        &["hand-out", "clicks.dance.json", "--sheet", "--year", "1911"],
        "'clicks.count-sheet.html' is already there; add --replace to make it anew, or name another place",
    );
    assert_eq!(fs::read(room.path("clicks.count-sheet.html")).expect("still there"), before);
    assert!(
        room.run(&["hand-out", "clicks.dance.json", "--sheet", "--year", "1911", "--replace"])
            .status
            .success()
    );
    assert_ne!(fs::read(room.path("clicks.count-sheet.html")).expect("made anew"), before);
    room.refuses(
        &["hand-out", "clicks.dance.json", "--sheet", "--output", "sheet.docx"],
        "cannot make 'sheet.docx': a count sheet does not come as '.docx'; it comes as '.html' or '.pdf'",
    );
    room.altered("empty.dance.json", |dance| {
        dance["grid"] = serde_json::json!({"beats": [], "bars": [], "phrases": []});
    });
    room.refuses(
        &["hand-out", "empty.dance.json", "--sheet"],
        "cannot make 'empty.count-sheet.html': the dance has no beats, so there are no counts to print; repair its \
         grid first",
    );
    assert!(!room.path("empty.count-sheet.html").exists(), "a refusal leaves no file");
    for (option, at) in [("--to", "nowhere"), ("--output", "nowhere/sheet.pdf")] {
        room.refuses(
            &["hand-out", "clicks.dance.json", "--sheet", option, at],
            "there is no folder 'nowhere' to put hand-outs in; make it, or name another",
        );
    }
}

#[test]
fn a_missing_or_different_recording_is_noticed() {
    let room = Room::new();
    let note = |output: &Output| stderr(output);
    room.altered("lost.dance.json", |dance| {
        dance["recording"]["path"] = "lost.mp3".into();
        dance["recording"]["hash"] = "0".repeat(64).into();
        dance["recording"]["frames"] = 5.into();
    });
    let output = room.run(&["check", "lost.dance.json"]);
    assert_eq!(
        note(&output),
        "note: the recording 'lost.mp3' is missing; put it beside the dance, under any name\n"
    );
    assert_eq!(output.status.code(), Some(1), "the check notes that it could not listen");
    room.altered("other.dance.json", |dance| {
        dance["recording"]["hash"] = "0".repeat(64).into();
        dance["recording"]["frames"] = 5.into();
    });
    assert_eq!(
        note(&room.run(&["check", "other.dance.json"])),
        "note: 'clicks.wav' is not the recording this dance was made for (another transfer or another piece), so it \
         is not used; put the right file there, or draft a dance for this one\n"
    );
    room.altered("changed.dance.json", |dance| dance["recording"]["hash"] = "0".repeat(64).into());
    assert_eq!(
        note(&room.run(&["check", "changed.dance.json"])),
        "note: 'clicks.wav' has changed since the dance was made, but is as long as it was; listen once whether the \
         counts still fit\n"
    );
    fs::rename(room.path("clicks.wav"), room.path("renamed.wav")).expect("a writable folder");
    assert_eq!(
        note(&room.run(&["check", "clicks.dance.json"])),
        "note: 'clicks.wav' is not where the dance says, but 'renamed.wav' is the same recording and is used\n"
    );
}

#[test]
fn odd_dances_are_opened_and_what_is_odd_is_said() {
    let room = Room::new();
    let note_on = |name: &str| stderr(&room.run(&["check", name]));
    room.altered("unknown.dance.json", |dance| dance["weather"] = "rain".into());
    assert_eq!(
        note_on("unknown.dance.json"),
        "note: fields that this program does not know are kept as they are: 'weather'\n"
    );
    room.altered("newer.dance.json", |dance| dance["schema"] = 99.into());
    assert_eq!(
        note_on("newer.dance.json"),
        "note: this dance was saved by a newer Farandole (form 99; this program writes form 1): it can be led and \
         printed, but not changed; update the program to change it\n"
    );
    room.altered("backwards.dance.json", |dance| {
        dance["cues"].as_array_mut().expect("cues are a list").reverse();
    });
    assert_eq!(
        note_on("backwards.dance.json"),
        "note: the cues were out of order and have been sorted; none was lost\n"
    );
}

#[test]
fn what_cannot_be_led_freely_or_compared_is_refused() {
    let room = Room::new();
    room.refuses(
        &["lead", "--free", "clicks.dance.json"],
        "'clicks.dance.json' is a dance, and a free dance has no moves: name a recording, or leave --free out",
    );
    room.refuses(
        &["lead", "--free", "clicks.wav"],
        "cannot show the floor: this is not a terminal; run the command in a terminal window",
    );
    room.refuses(
        &["contrast", "clicks.wav"],
        "a contrast needs three recordings that can be heard, and there is one; name more, or a folder with more",
    );
    fs::create_dir(room.path("empty")).expect("a writable folder");
    room.refuses(
        &["contrast", "empty"],
        "a contrast needs three recordings that can be heard, and there are none; name more, or a folder with more",
    );
    let output = room.run(&["contrast", "clicks.wav", "clicks.wav", "gone.wav"]);
    assert_eq!(
        stderr(&output),
        "note: 'clicks.wav' is the same recording as another one, and is left out\n\
         note: cannot find 'gone.wav'; check the name and the folder\n\
         farandole: a contrast needs three recordings that can be heard, and there is one; name more, or a folder with \
         more\n"
    );
    assert_eq!(output.status.code(), Some(2));
}

#[test]
fn an_unknown_demo_is_refused() {
    let room = Room::new();
    room.refuses(&["demo", "polka"], "there is no demo dance 'polka'; 'farandole demo --list' names them");
    assert!(room.run(&["demo", "--copy-to", "here"]).status.success());
    room.refuses(
        &["demo", "--copy-to", "here"],
        "'here/march-and-farandole.ogg' is already there and is left as it is; name another folder",
    );
}

#[test]
fn arguments_that_make_no_sense_end_with_2() {
    let room = Room::new();
    for arguments in [&["juggle"][..], &["listen"], &["draft", "clicks.wav", "--age", "2"], &["lead"]] {
        let output = room.run(arguments);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(stderr(&output).starts_with("error: "), "{}", stderr(&output));
    }
}
