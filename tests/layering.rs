//! Holds the rules of the house: who may use whom, and what a pure room may not touch.
//!
//! The compiler cannot enforce these inside one package, so the sources are read here. The rules are
//! explained in `DEVELOPERS.md`.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// The rooms, and the rooms each may use. A room not listed here fails the test until someone decides.
const ROOMS: &[(&str, &[&str])] = &[
    ("units", &[]),
    ("identity", &[]),
    ("words", &[]),
    ("grid", &["units"]),
    ("incoming", &["units", "grid"]),
    ("listening", &["units", "grid"]),
    ("dance", &["units", "identity", "grid", "listening"]),
    ("check", &["units", "identity", "grid", "listening", "dance"]),
    ("trail", &["units", "grid", "listening"]),
    ("lesson", &["units", "grid", "listening", "dance", "check", "trail"]),
    ("recording", &["units", "identity"]),
    ("sound", &["units", "recording"]),
    ("shelf", &["units", "identity", "grid", "listening", "dance", "recording"]),
    (
        "screen",
        &[
            "units",
            "identity",
            "words",
            "grid",
            "listening",
            "dance",
            "check",
            "trail",
            "lesson",
            "recording",
            "sound",
            "shelf",
        ],
    ),
    ("handout", &["units", "identity", "words", "grid", "listening", "dance", "check", "trail", "recording"]),
    (
        "cli",
        &[
            "units",
            "identity",
            "words",
            "grid",
            "incoming",
            "listening",
            "dance",
            "check",
            "trail",
            "lesson",
            "recording",
            "sound",
            "shelf",
            "screen",
            "handout",
        ],
    ),
];

/// Rooms that compute and nothing else.
const PURE: &[&str] =
    &["units", "identity", "words", "grid", "incoming", "listening", "dance", "check", "trail", "lesson"];

/// What a pure room may not mention: files, clocks, threads, terminals, sound devices, printing.
const IMPURE: &[&str] = &[
    "std::fs",
    "std::thread",
    "std::env",
    "std::process",
    "std::net",
    "std::time::Instant",
    "SystemTime",
    "Instant::now",
    "rayon",
    "ratatui",
    "crossterm",
    "rodio",
    "symphonia",
    "println!",
    "eprintln!",
    "print!(",
    "dbg!",
    "log::",
    "tracing::",
];

/// What only `main.rs` (and its panic hook) may do.
const ENDS_THE_PROCESS: &[&str] = &["process::exit", "process::abort"];

fn sources(under: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(under).expect("the sources are beside the manifest") {
        let path = entry.expect("a readable folder").path();
        if path.is_dir() {
            found.extend(sources(&path));
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            found.push(path);
        }
    }
    found.sort();
    found
}

/// The code of a file without comments: prose may name what code may not.
fn code(path: &Path) -> String {
    let text = fs::read_to_string(path).expect("a readable source");
    text.lines().map(|line| line.split("//").next().unwrap_or_default()).collect::<Vec<_>>().join("\n")
}

fn room_of(source: &Path) -> String {
    let inside = source.strip_prefix(src()).expect("found below src");
    let first = inside.components().next().expect("a file has a name");
    first.as_os_str().to_string_lossy().trim_end_matches(".rs").to_owned()
}

fn src() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src")
}

/// Every `crate::ROOM` that a source mentions, those in `use crate::{a, b::c}` lists included.
fn rooms_used(code: &str) -> Vec<String> {
    let mut used: Vec<String> = Vec::new();
    for (at, marker) in code.match_indices("crate::") {
        let rest = &code[at + marker.len()..];
        let name =
            |text: &str| text.trim_start().chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
        if let Some(list) = rest.strip_prefix('{') {
            let mut depth = 0;
            let mut start = true;
            for (i, c) in list.char_indices() {
                if start && depth == 0 && !c.is_whitespace() {
                    used.push(name(&list[i..]));
                    start = false;
                }
                match c {
                    '{' => depth += 1,
                    '}' if depth == 0 => break,
                    '}' => depth -= 1,
                    ',' if depth == 0 => start = true,
                    _ => {}
                }
            }
        } else {
            used.push(name(rest));
        }
    }
    used.retain(|name| !name.is_empty());
    used
}

/// What the code of one file in `room` does that its room may not.
fn judge(room: &str, code: &str) -> Vec<String> {
    let rooms: BTreeMap<&str, &[&str]> = ROOMS.iter().copied().collect();
    let Some(allowed) = rooms.get(room) else {
        return vec![format!("room '{room}' has no rule in tests/layering.rs")];
    };
    let mut wrong = Vec::new();
    for used in rooms_used(code) {
        if used != room && rooms.contains_key(used.as_str()) && !allowed.contains(&used.as_str()) {
            wrong.push(format!("'{room}' may not use '{used}'"));
        }
    }
    if PURE.contains(&room) {
        let words = IMPURE.iter().filter(|word| code.contains(**word));
        wrong.extend(words.map(|word| format!("a pure room may not mention '{word}'")));
    }
    let words = ENDS_THE_PROCESS.iter().filter(|word| code.contains(**word));
    wrong.extend(words.map(|word| format!("only main.rs may say '{word}'")));
    wrong
}

fn violations() -> Vec<String> {
    let mut wrong = Vec::new();
    for source in sources(&src()) {
        let room = room_of(&source);
        if room != "lib" && room != "main" {
            let shown = source.strip_prefix(src()).expect("found below src").display();
            wrong.extend(judge(&room, &code(&source)).into_iter().map(|what| format!("{shown}: {what}")));
        }
    }
    wrong
}

#[test]
fn every_room_keeps_to_its_neighbours() {
    let wrong = violations();
    assert!(wrong.is_empty(), "forbidden imports:\n  {}", wrong.join("\n  "));
}

#[test]
fn the_rules_have_no_circle() {
    // A room may only use rooms listed above it, so no circle can be written down by mistake.
    for (index, (room, allowed)) in ROOMS.iter().enumerate() {
        for used in *allowed {
            let place = ROOMS.iter().position(|(name, _)| name == used);
            assert!(
                place.is_some_and(|place| place < index),
                "'{room}' uses '{used}', which is not above it"
            );
        }
    }
}

#[test]
fn imports_are_found_however_they_are_written() {
    let code =
        "use crate::{units::{Beat, Bpm}, dance};\nlet x = crate::screen::run(); use crate::check::{self};";
    assert_eq!(rooms_used(code), ["units", "dance", "screen", "check"]);
}

#[test]
fn a_forbidden_import_is_named() {
    assert_eq!(judge("dance", "use crate::{grid::Grid, screen::App};"), ["'dance' may not use 'screen'"]);
    assert_eq!(judge("check", "let t = std::fs::read(p);"), ["a pure room may not mention 'std::fs'"]);
    assert_eq!(judge("screen", "std::process::exit(1)"), ["only main.rs may say 'process::exit'"]);
    assert_eq!(judge("attic", ""), ["room 'attic' has no rule in tests/layering.rs"]);
    assert!(judge("screen", "use crate::{dance::Dance, sound}; std::fs::read(p)").is_empty());
}

#[test]
fn files_stay_small() {
    let long: Vec<String> = sources(&src())
        .into_iter()
        .filter_map(|path| {
            let lines = fs::read_to_string(&path).expect("a readable source").lines().count();
            (lines > 600).then(|| format!("{}: {lines} lines", path.display()))
        })
        .collect();
    assert!(long.is_empty(), "a file past 600 lines is two rooms:\n  {}", long.join("\n  "));
}
