//! The memory of what was heard: it never gives anything but what was put, forgets in order, and harms nobody's files.

#[path = "support/signals.rs"]
#[allow(unreachable_pub, reason = "other tests include it too")]
mod signals;

use farandole::listening::{ANALYSER, Listener, Memory, listen};
use farandole::recording::{Identity, Tags, Warning};
use farandole::shelf::{Cache, FileKey, Heard};
use farandole::units::SampleRate;
use signals::{beat_times, clicks};
use std::fs;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;
use std::time::{Duration, SystemTime};
use tempfile::TempDir;

/// Twenty seconds of clicks, heard.
static HEARD: LazyLock<Heard> = LazyLock::new(|| {
    let rate = SampleRate(22_050);
    let samples = clicks(rate.0, &beat_times(0.5, 40, |_| 120.0), 20.5, |_| 1.0);
    let listening =
        listen(&samples, 1, rate, &[], &mut |_| ControlFlow::Continue(())).expect("nobody stopped it");
    Heard {
        identity: Identity::of(&samples, 1, rate),
        tags: Tags { title: Some("Clicks, \"quoted\"".to_owned()), performer: None },
        warnings: vec![Warning::PaddingUnknown { milliseconds: 52 }, Warning::OnlyFirstPart],
        listening,
    }
});

/// What it takes to hear their grid again.
static MEMORY: LazyLock<Memory> = LazyLock::new(|| {
    let rate = SampleRate(22_050);
    let samples = clicks(rate.0, &beat_times(0.5, 40, |_| 120.0), 20.5, |_| 1.0);
    let mut listener = Listener::new(1, rate);
    listener.push(&samples);
    Memory { evidence: listener.ear.finish(), envelope: listener.metering.finish() }
});

/// A scratch folder with a cache in it that does not exist yet.
struct Shelf {
    scratch: TempDir,
    cache: Cache,
}

impl Shelf {
    fn new() -> Self {
        let scratch = tempfile::tempdir().expect("a scratch folder");
        let cache = Cache::in_folder(scratch.path().join("new").join("cache"));
        Self { scratch, cache }
    }

    fn folder(&self) -> PathBuf {
        self.scratch.path().join("new").join("cache")
    }

    /// The key of a file with this content.
    fn key(&self, content: &str) -> FileKey {
        let path = self.scratch.path().join("recording");
        fs::write(&path, content).expect("a writable folder");
        Cache::key(&path).expect("a readable file")
    }

    fn entries(&self) -> Vec<PathBuf> {
        names(&self.folder())
    }

    fn only_entry(&self) -> PathBuf {
        let entries = self.entries();
        assert_eq!(entries.len(), 1, "{entries:?}");
        entries[0].clone()
    }
}

fn names(folder: &Path) -> Vec<PathBuf> {
    let Ok(files) = fs::read_dir(folder) else { return Vec::new() };
    let mut paths: Vec<PathBuf> = files.map(|file| file.expect("a readable folder").path()).collect();
    paths.sort();
    paths
}

/// Makes a file look as if it was last used `seconds` ago.
fn age(path: &Path, seconds: u64) {
    let file = fs::File::options().write(true).open(path).expect("an entry");
    file.set_modified(SystemTime::now() - Duration::from_secs(seconds)).expect("times can be set");
}

#[test]
fn what_was_put_comes_back_and_nothing_else() {
    let shelf = Shelf::new();
    let (key, other) = (shelf.key("one"), shelf.key("another"));
    assert_eq!(shelf.cache.get(&key), None);
    shelf.cache.put(&key, &HEARD);
    assert_eq!(shelf.cache.get(&key).as_ref(), Some(&*HEARD));
    assert_eq!(shelf.cache.get(&other), None);
}

#[test]
fn a_renamed_file_is_known_and_a_changed_one_is_not() {
    let shelf = Shelf::new();
    let path = shelf.scratch.path().join("parade.mp3");
    fs::write(&path, "the same bytes").expect("a writable folder");
    let key = Cache::key(&path).expect("a readable file");
    let renamed = shelf.scratch.path().join("march.mp3");
    fs::rename(&path, &renamed).expect("a writable folder");
    assert_eq!(Cache::key(&renamed).expect("a readable file"), key);
    fs::write(&renamed, "the same byteS").expect("a writable folder");
    assert_ne!(Cache::key(&renamed).expect("a readable file"), key);
    assert!(Cache::key(&path).is_err());
}

#[test]
fn a_damaged_entry_is_no_entry() {
    let shelf = Shelf::new();
    let key = shelf.key("one");
    shelf.cache.put(&key, &HEARD);
    let entry = shelf.only_entry();
    let good = fs::read(&entry).expect("an entry");
    // A digit changed anywhere would still be JSON.
    for at in (0..good.len()).step_by(good.len() / 97) {
        let mut bad = good.clone();
        bad[at] ^= 1;
        fs::write(&entry, bad).expect("a writable folder");
        assert_eq!(shelf.cache.get(&key), None, "byte {at}");
    }
    for bad in [&good[..good.len() - 1], &good[..good.len() / 2], &good[..10], b"", b"{}", &[0xff; 4_000]] {
        fs::write(&entry, bad).expect("a writable folder");
        assert_eq!(shelf.cache.get(&key), None, "{} bytes", bad.len());
    }
    // And it is replaced by the next.
    shelf.cache.put(&key, &HEARD);
    assert_eq!(shelf.cache.get(&key).as_ref(), Some(&*HEARD));
}

#[test]
fn what_another_analyser_heard_is_heard_again() {
    let shelf = Shelf::new();
    let key = shelf.key("one");
    let mut old = HEARD.clone();
    old.listening.analyser = ANALYSER + 1;
    shelf.cache.put(&key, &old);
    assert_eq!(shelf.cache.get(&key), None);
    let entry = shelf.only_entry();
    let name = entry.file_name().expect("a file").to_string_lossy().into_owned();
    assert!(name.ends_with(&format!("-v{ANALYSER}.json")), "{name}");
}

#[test]
fn what_was_used_longest_ago_is_forgotten_first() {
    let shelf = Shelf::new();
    let cache = shelf.cache.clone().limited(3, u64::MAX);
    let keys = ["a", "b", "c", "d"].map(|content| shelf.key(content));
    for (index, key) in keys[..3].iter().enumerate() {
        cache.put(key, &HEARD);
        let newest = names(&shelf.folder());
        let entry = newest.iter().find(|path| {
            fs::metadata(path).and_then(|about| about.modified()).is_ok_and(|at| {
                SystemTime::now().duration_since(at).unwrap_or_default() < Duration::from_secs(30)
            })
        });
        age(entry.expect("just written"), 1_000 - 100 * index as u64);
    }
    // The oldest is used once more, so the second is now the oldest.
    assert!(cache.get(&keys[0]).is_some());
    cache.put(&keys[3], &HEARD);
    let kept = keys.each_ref().map(|key| cache.get(key).is_some());
    assert_eq!(kept, [true, false, true, true]);
}

#[test]
fn the_folder_keeps_to_its_size_and_to_its_own_files() {
    let shelf = Shelf::new();
    let keys = ["a", "b", "c"].map(|content| shelf.key(content));
    shelf.cache.put(&keys[0], &HEARD);
    let size = fs::metadata(shelf.only_entry()).expect("an entry").len();
    let strangers =
        ["holiday.jpg", "notes-v1.json", "parade.dance.json", &format!("{}-vx.json", "0".repeat(32))];
    for name in strangers {
        let path = shelf.folder().join(name);
        fs::write(&path, vec![0; 2 * size as usize]).expect("a writable folder");
        age(&path, 1_000_000);
    }
    // An entry of an older version and a writing that a crash cut off go when room is needed.
    for name in [&format!("{}-v0.json", "0".repeat(32)), ".farandole-heard-x"] {
        let path = shelf.folder().join(name);
        fs::write(&path, b"old").expect("a writable folder");
        age(&path, 100_000);
    }
    age(&shelf.folder().join(format!("{}-v0.json", "0".repeat(32))), 50_000);
    let cache = shelf.cache.clone().limited(200, 2 * size);
    cache.put(&keys[1], &HEARD);
    cache.put(&keys[2], &HEARD);
    let left = shelf.entries();
    for name in strangers {
        assert!(left.contains(&shelf.folder().join(name)), "{name} is not ours to remove");
    }
    assert_eq!(left.len(), strangers.len() + 2, "{left:?}");
    assert!(cache.get(&keys[2]).is_some());
}

#[test]
fn writers_at_once_leave_whole_entries() {
    let shelf = Shelf::new();
    let keys = ["a", "b"].map(|content| shelf.key(content));
    std::thread::scope(|scope| {
        for _ in 0..4 {
            scope.spawn(|| {
                for round in 0..20 {
                    let key = &keys[round % 2];
                    shelf.cache.put(key, &HEARD);
                    assert_eq!(shelf.cache.get(key).as_ref(), Some(&*HEARD), "round {round}");
                }
            });
        }
    });
    assert_eq!(shelf.entries().len(), 2, "{:?}", shelf.entries());
}

#[test]
fn a_folder_that_cannot_be_made_is_no_reason_to_stop() {
    let shelf = Shelf::new();
    let key = shelf.key("one");
    let file = shelf.scratch.path().join("recording");
    let cache = Cache::in_folder(file.join("cache"));
    cache.put(&key, &HEARD);
    assert_eq!(cache.get(&key), None);
    Cache::default().put(&key, &HEARD);
    assert_eq!(Cache::default().get(&key), None);
}

#[test]
fn a_remembered_memory_hears_to_the_bit_what_the_sound_gave_and_a_damaged_one_is_not_used() {
    let shelf = Shelf::new();
    let key = shelf.key("one");
    shelf.cache.put(&key, &HEARD);
    shelf.cache.put_memory(&key, &MEMORY);
    let remembered = shelf.cache.memory(&key).expect("just put");
    assert_eq!(remembered, *MEMORY);
    assert_eq!(remembered.describe(remembered.grid(&[])), HEARD.listening);
    assert_eq!(shelf.cache.memory(&shelf.key("another")), None);
    let entry = shelf.entries().into_iter().find(|path| path.extension().is_some_and(|e| e == "memory"));
    let entry = entry.expect("an entry");
    let bytes = fs::read(&entry).expect("readable");
    for at in [0, 30, 120, bytes.len() / 2, bytes.len() - 1] {
        let mut damaged = bytes.clone();
        damaged[at] ^= 1;
        fs::write(&entry, &damaged).expect("writable");
        assert_eq!(shelf.cache.memory(&key), None, "byte {at}");
    }
    fs::write(&entry, &bytes[..bytes.len() - 1]).expect("writable");
    assert_eq!(shelf.cache.memory(&key), None);
    assert_eq!(shelf.cache.get(&key).as_ref(), Some(&*HEARD), "the other entry is untouched");
}
