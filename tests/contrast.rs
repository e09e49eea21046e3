//! `contrast`: the three recordings that differ most, said in words and as JSON, the same every time.

use assert_cmd::cargo::CommandCargoExt;
use std::fs;
use std::path::Path;
use std::process::{Command, Output};

fn run(folder: &Path, arguments: &[&str]) -> Output {
    let mut command = Command::cargo_bin("farandole").expect("the program is built for its tests");
    command.current_dir(folder).env("HOME", folder).env_remove("XDG_CACHE_HOME");
    command.args(arguments).output().expect("the program starts")
}

/// The demo recordings in a folder of their own, the goats twice under names that sort before and after.
fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a scratch folder");
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("assets/demo");
    for (from, to) in [
        ("evening-boat.ogg", "evening-boat.ogg"),
        ("goats-on-the-wall.ogg", "a-copy-of-the-goats.OGG"),
        ("goats-on-the-wall.ogg", "goats-on-the-wall.ogg"),
        ("march-and-farandole.ogg", "march-and-farandole.ogg"),
    ] {
        fs::copy(demo.join(from), folder.path().join(to)).expect("a writable folder");
    }
    fs::write(folder.path().join("notes.txt"), "no recording").expect("a writable folder");
    folder
}

#[test]
fn three_are_named_with_reasons_in_a_musicians_words() {
    let folder = folder();
    let output = run(folder.path(), &["contrast", "."]);
    assert_eq!(
        String::from_utf8_lossy(&output.stderr),
        "note: 'goats-on-the-wall.ogg' is the same recording as another one, and is left out\n"
    );
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    // By their note lists (docs/demo.md): the boat slow and soft, the goats quick and loud.
    for words in [
        "Of 3 recordings these three differ most:",
        "(a-copy-of-the-goats.OGG)",
        "Tempo: 'Evening Boat' is the slowest with 66 beats a minute (slow), 'Goats\non the Wall' the quickest with 160",
        "Loudness: 'Evening Boat' is the softest, 'Goats on the Wall' the loudest",
    ] {
        assert!(text.contains(words), "'{words}' in:\n{text}");
    }
    assert_eq!(output.status.code(), Some(0));
}

#[test]
fn as_json_it_has_a_schema_and_indices() {
    let folder = folder();
    let order = ["march-and-farandole.ogg", "evening-boat.ogg", "goats-on-the-wall.ogg"];
    let output = run(folder.path(), &[&["contrast", "--json"], &order[..]].concat());
    let json: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!(json["schema"], 1);
    assert_eq!(json["chosen"], serde_json::json!([0, 1, 2]));
    let files: Vec<&str> = json["recordings"]
        .as_array()
        .expect("a list")
        .iter()
        .filter_map(|one| one["file"].as_str())
        .collect();
    assert_eq!(files, order, "in the order in which they were given");
    assert_eq!(json["reasons"].as_array().map(Vec::len), Some(3));
    assert!((json["recordings"][2]["bpm"].as_f64().expect("a tempo") - 160.0).abs() < 2.0);
    assert_eq!(output.stdout, run(folder.path(), &[&["contrast", "--json"], &order[..]].concat()).stdout);
}

#[test]
fn leading_them_wants_a_terminal_before_anything_is_heard() {
    let folder = folder();
    let output = run(folder.path(), &["contrast", ".", "--lead"]);
    assert_eq!(
        String::from_utf8_lossy(&output.stderr),
        "farandole: cannot show the floor: this is not a terminal; run the command in a terminal window\n"
    );
    assert_eq!(output.status.code(), Some(2));
}
