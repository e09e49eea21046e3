//! A dance packed for a colleague and unpacked again: the same dance, nothing private in it, and no way for a hostile
//! archive to write where it should not. Archives are read by Info-ZIP's `unzip` too, which knows nothing of ours.

use assert_cmd::Command;
use std::fs::{self, File};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Output;
use tempfile::TempDir;
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

/// A scratch folder with the demo's recordings and dances in a sub-folder, `desk`.
struct Room(TempDir);

impl Room {
    fn new() -> Self {
        let room = Self(tempfile::tempdir().expect("a scratch folder"));
        room.does(&["demo", "--copy-to", "desk"]);
        room
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn run(&self, arguments: &[&str]) -> Output {
        let mut command = Command::cargo_bin("farandole").expect("the program is built for its tests");
        command.current_dir(self.0.path()).env("HOME", self.0.path()).env_remove("XDG_CACHE_HOME");
        command.args(arguments).output().expect("the program starts")
    }

    fn does(&self, arguments: &[&str]) -> Output {
        let output = self.run(arguments);
        assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
        output
    }

    fn refuses(&self, arguments: &[&str], sentence: &str) {
        let output = self.run(arguments);
        assert_eq!(
            String::from_utf8_lossy(&output.stderr),
            format!("farandole: {sentence}\n"),
            "{arguments:?}"
        );
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
    }

    /// An archive with these files in it.
    fn archive(&self, name: &str, entries: &[(&str, &[u8])]) {
        let mut zip = ZipWriter::new(File::create(self.path(name)).expect("a writable folder"));
        for (entry, content) in entries {
            zip.start_file(*entry, SimpleFileOptions::default()).expect("a fresh name");
            zip.write_all(content).expect("a writable folder");
        }
        zip.finish().expect("a writable folder");
    }

    fn dance(&self) -> serde_json::Value {
        let text = fs::read_to_string(self.path("desk/goats-on-the-wall.dance.json")).expect("copied");
        serde_json::from_str(&text).expect("a dance is JSON")
    }
}

/// Everything that lies in a folder, however deep.
fn files(under: &Path) -> Vec<PathBuf> {
    let Ok(entries) = fs::read_dir(under) else { return Vec::new() };
    let paths = entries.map(|entry| entry.expect("a readable folder").path());
    paths.flat_map(|path| if path.is_dir() { files(&path) } else { vec![path] }).collect()
}

fn unzip(arguments: &[&str], archive: &Path) -> Output {
    let mut command = std::process::Command::new("unzip");
    let (options, names) = arguments.split_at(1);
    command.args(options).arg(archive).args(names).output().expect("unzip is installed for the tests")
}

#[test]
fn what_is_packed_comes_out_as_it_went_in() {
    let room = Room::new();
    room.does(&["pack", "desk/goats-on-the-wall.dance.json", "--notes", "--output", "goats.farandole.zip"]);
    room.does(&["unpack", "goats.farandole.zip"]);
    let sound = |folder: &str| fs::read(room.path(folder).join("goats-on-the-wall.ogg")).expect("unpacked");
    assert!(sound("desk") == sound("goats"), "the recording is the same to the byte");
    let dance = |folder: &str| {
        fs::read_to_string(room.path(folder).join("goats-on-the-wall.dance.json")).expect("unpacked")
    };
    assert!(dance("desk") == dance("goats"), "the dance is the same to the byte");
    assert!(room.does(&["check", "goats/goats-on-the-wall.dance.json"]).status.success());

    let archive = room.path("goats.farandole.zip");
    assert!(unzip(&["-t"], &archive).status.success());
    assert!(unzip(&["-p", "goats-on-the-wall.ogg"], &archive).stdout == sound("desk"));
    let note = String::from_utf8(unzip(&["-p", "READ ME.txt"], &archive).stdout).expect("plain text");
    assert!(note.contains("Scarves stay in the hand") && note.contains("check locally"), "{note}");
    assert!(note.lines().all(|line| line.len() <= 78), "{note}");
}

#[test]
fn nothing_private_is_packed_and_the_bytes_are_the_same_every_day() {
    let room = Room::new();
    let mut dance = room.dance();
    dance["notes"] = "Robin may not jump".into();
    dance["recording"]["path"] = "../secret-shelf/goats-on-the-wall.ogg".into();
    fs::create_dir_all(room.path("secret-shelf")).expect("a writable folder");
    fs::rename(room.path("desk/goats-on-the-wall.ogg"), room.path("secret-shelf/goats-on-the-wall.ogg"))
        .expect("a writable folder");
    fs::write(room.path("desk/goats.dance.json"), dance.to_string()).expect("a writable folder");
    let said = room.does(&["pack", "desk/goats.dance.json", "--output", "once.zip"]);
    assert_eq!(
        String::from_utf8_lossy(&said.stderr),
        "note: your notes to yourself stayed here; --notes takes them along\n"
    );
    let packed =
        String::from_utf8(unzip(&["-p", "goats.dance.json"], &room.path("once.zip")).stdout).expect("text");
    assert!(packed.contains("\"path\": \"goats-on-the-wall.ogg\""), "{packed}");
    let bytes = fs::read(room.path("once.zip")).expect("packed");
    for private in [b"secret-shelf".as_slice(), b"Robin", room.0.path().to_string_lossy().as_bytes()] {
        assert!(!bytes.windows(private.len()).any(|window| window == private));
        assert!(!packed.as_bytes().windows(private.len()).any(|window| window == private));
    }
    std::thread::sleep(std::time::Duration::from_millis(2100)); // ZIP keeps times in steps of two seconds
    room.does(&["pack", "desk/goats.dance.json", "--output", "twice.zip"]);
    assert!(bytes == fs::read(room.path("twice.zip")).expect("packed"));

    room.does(&["pack", "desk/goats.dance.json", "--output", "noted.zip", "--notes"]);
    let noted =
        String::from_utf8(unzip(&["-p", "goats.dance.json"], &room.path("noted.zip")).stdout).expect("text");
    assert!(noted.contains("Robin may not jump"));
}

#[test]
fn a_recording_may_stay_at_home() {
    let room = Room::new();
    room.does(&["pack", "desk/evening-boat.dance.json", "--without-recording"]);
    room.does(&["unpack", "desk/evening-boat.farandole.zip", "--to", "hers"]);
    assert_eq!(files(&room.path("hers")), [room.path("hers/evening-boat.dance.json")]);
    fs::copy(room.path("desk/evening-boat.ogg"), room.path("hers/boat song.ogg")).expect("a writable folder");
    let checked = room.run(&["check", "hers/evening-boat.dance.json"]);
    assert!(String::from_utf8_lossy(&checked.stderr).contains("is the same recording and is used"));
}

#[test]
fn the_wrong_recording_is_not_packed_and_nothing_is_written_over() {
    let room = Room::new();
    fs::copy(room.path("desk/evening-boat.ogg"), room.path("desk/goats-on-the-wall.ogg")).expect("writable");
    let refused = room.run(&["pack", "desk/goats-on-the-wall.dance.json"]);
    assert_eq!(refused.status.code(), Some(2));
    let said = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(
        said.ends_with(
            "farandole: cannot pack the recording of 'desk/goats-on-the-wall.dance.json': put it beside the dance, \
             or add --without-recording\n"
        ),
        "{said}"
    );
    assert!(!room.path("desk/goats-on-the-wall.farandole.zip").exists());

    room.does(&["pack", "desk/evening-boat.dance.json"]);
    room.refuses(
        &["pack", "desk/evening-boat.dance.json"],
        "'desk/evening-boat.farandole.zip' is already there; add --replace to make it anew, or name another place",
    );
    room.does(&["pack", "desk/evening-boat.dance.json", "--replace"]);
    let before = fs::read(room.path("desk/evening-boat.ogg")).expect("still there");
    room.refuses(
        &["unpack", "desk/evening-boat.farandole.zip", "--to", "desk"],
        "'desk/evening-boat.dance.json' is already there and is left as it is; name another folder with --to",
    );
    assert!(before == fs::read(room.path("desk/evening-boat.ogg")).expect("still there"));
}

#[test]
fn a_hostile_archive_writes_nothing() {
    let room = Room::new();
    let mut dance = room.dance();
    let whole = dance.to_string();
    let text = whole.as_bytes();
    let suspect = |entry: &str, why: &str| {
        format!("'bad.zip' was not packed by this program: '{entry}' in it {why}; nothing was unpacked")
    };
    for (entry, why) in [
        ("../stray.ogg", "is in a folder"),
        ("/etc/stray.ogg", "is in a folder"),
        ("a\\stray.ogg", "is in a folder"),
        ("..", "has a hidden or an empty name"),
        (".profile", "has a hidden or an empty name"),
        ("stray.ogg ", "has a hidden or an empty name"),
        ("C:stray.ogg", "has a name that some computers refuse"),
        ("nul.ogg", "has a name that some computers refuse"),
        ("Com1.ogg", "has a name that some computers refuse"),
    ] {
        // The dance asks for the stray file too.
        dance["recording"]["path"] = entry.into();
        let asking = dance.to_string();
        room.archive("bad.zip", &[("goats.dance.json", asking.as_bytes()), (entry, b"sound")]);
        room.refuses(&["unpack", "bad.zip", "--to", "deep/inside"], &suspect(entry, why));
    }
    room.archive("bad.zip", &[("a.dance.json", text), ("b.dance.json", text)]);
    room.refuses(
        &["unpack", "bad.zip", "--to", "deep/inside"],
        "'bad.zip' holds 2 dances, and a bundle holds one; unpack it as an ordinary ZIP file",
    );
    room.archive("bad.zip", &[("a.dance.json", b"\xff\xfe\x00")]);
    room.refuses(&["unpack", "bad.zip", "--to", "deep/inside"], &suspect("a.dance.json", "is not text"));
    room.archive("bad.zip", &[("a.dance.json", &vec![b' '; 17 << 20])]);
    room.refuses(
        &["unpack", "bad.zip", "--to", "deep/inside"],
        &suspect("a.dance.json", "is larger than any dance"),
    );
    assert_eq!(files(&room.path("deep")), Vec::<PathBuf>::new());
}

#[test]
fn a_bundle_that_was_cut_short_leaves_nothing_behind() {
    let room = Room::new();
    room.does(&["pack", "desk/goats-on-the-wall.dance.json", "--output", "goats.zip"]);
    let whole = fs::read(room.path("goats.zip")).expect("packed");
    for part in 0..16 {
        fs::write(room.path("part.zip"), &whole[..whole.len() * part / 16]).expect("a writable folder");
        room.refuses(
            &["unpack", "part.zip"],
            "'part.zip' is not a whole bundle: it was cut short, or is another kind of file; ask for it again",
        );
    }
    // A changed byte in the sound is noticed by the archive's own sum.
    let mut changed = whole.clone();
    changed[200_000] ^= 1;
    fs::write(room.path("part.zip"), &changed).expect("a writable folder");
    room.refuses(
        &["unpack", "part.zip"],
        "'part.zip' is not a whole bundle: it was cut short, or is another kind of file; ask for it again",
    );
    assert_eq!(files(&room.path("part")), Vec::<PathBuf>::new());
    room.refuses(&["unpack", "none.zip"], "cannot read 'none.zip': there is no such file");
}
