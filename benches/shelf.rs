//! How long the shelf keeps a teacher waiting: from starting to the first picture, and from a key to the picture.
//!
//! Run with `cargo bench --bench shelf`. Sixty dances are copies of the demo dances, each with its own title; what was
//! measured, and on which machine, is in `docs/measurements.md`.

#![allow(clippy::print_stdout, reason = "the figures are the result")]

use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use farandole::screen::colours::Palette;
use farandole::screen::shelf::{Looker, Message, Shelf, State, draw, update};
use farandole::shelf::{self, Cache};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use std::fs;
use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// How many dances there are.
const DANCES: usize = 60;

fn report(what: &str, mut times: Vec<Duration>) {
    times.sort();
    let at = |part: f64| times[((times.len() - 1) as f64 * part).round() as usize].as_secs_f64() * 1e3;
    println!(
        "{what:<62} n {:>4}  median {:>7.2} ms  p99 {:>7.2} ms  most {:>7.2} ms",
        times.len(),
        at(0.5),
        at(0.99),
        at(1.0)
    );
}

/// Everything from starting to a picture of what is known by then.
fn opened(folder: &Path, cache: &Cache) -> (Shelf, Looker) {
    let paths = shelf::dances_in(folder).expect("a folder");
    let (slips, looker) = Looker::start(&paths, cache.clone());
    let shelf = Shelf::new("lessons".into(), slips, Palette::default());
    picture(&shelf);
    (shelf, looker)
}

fn picture(shelf: &Shelf) {
    let area = Rect::new(0, 0, 200, 60);
    let mut buffer = Buffer::empty(area);
    draw(shelf, area, &mut buffer);
    black_box(&buffer);
}

fn main() {
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a scratch folder");
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("assets/demo");
    let names = ["march-and-farandole", "evening-boat", "goats-on-the-wall", "cat-on-the-stairs"];
    let cache = Cache::in_folder(folder.path().join("cache"));
    for name in names {
        let recording = folder.path().join(format!("{name}.ogg"));
        fs::copy(demo.join(format!("{name}.ogg")), &recording).expect("a disk with room");
        let ears = shelf::listen(&recording, &mut |_| {}, &mut |_| {}).expect("the demo is whole");
        let key = Cache::key(&recording).expect("just copied");
        let heard = shelf::Heard {
            identity: ears.known.identity,
            tags: ears.known.tags,
            warnings: ears.known.warnings,
            listening: ears.listening,
        };
        cache.put(&key, &heard);
    }
    let mut bytes = 0;
    for number in 0..DANCES {
        let name = names[number % names.len()];
        let mut dance = shelf::load(&demo.join(format!("{name}.dance.json"))).expect("whole").dance;
        dance.title = format!("{} {number}", dance.title);
        let path: PathBuf = folder.path().join(format!("{name}-{number:02}.dance.json"));
        shelf::save(&path, &dance, None).expect("a disk with room");
        bytes += fs::metadata(&path).expect("just written").len();
    }
    println!("{DANCES} dances, {} kB each on average", bytes / DANCES as u64 / 1000);

    let begun = Instant::now();
    let (mut first, looker) = opened(folder.path(), &cache);
    report("nothing kept: first picture, dances by file name", vec![begun.elapsed()]);
    while first.coming() > 0 {
        let (path, state) = looker.answer(Duration::from_secs(60)).expect("every dance is looked at");
        update(&mut first, Message::Looked(path, state));
    }
    report("nothing kept: until all dances are known", vec![begun.elapsed()]);
    // What was seen is written when the thread has ended.
    std::thread::sleep(Duration::from_secs(1));

    let mut times = Vec::new();
    for _ in 0..200 {
        let begun = Instant::now();
        let (shelf, _looker) = opened(folder.path(), &cache);
        times.push(begun.elapsed());
        assert!(
            shelf.slips.iter().all(|slip| matches!(slip.state, State::Known(_))),
            "all are known at once"
        );
    }
    report("all kept: first picture, everything known", times);

    let mut times = Vec::new();
    for letter in "crescendo boat loud smooth ready".chars().cycle().take(600) {
        let begun = Instant::now();
        update(&mut first, Message::Key(KeyEvent::new(KeyCode::Char(letter), KeyModifiers::NONE)));
        picture(&first);
        times.push(begun.elapsed());
        if first.shown().is_empty() || first.words.len() > 20 {
            update(&mut first, Message::Key(KeyEvent::new(KeyCode::Esc, KeyModifiers::NONE)));
        }
    }
    report("a letter: from the key to the picture, 200 by 60", times);
}
