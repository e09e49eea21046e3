//! Disks that are full, broken, locked or gone while a dance is edited: she is told once, and the work is kept.

#[path = "support/choreography.rs"]
mod choreography;
#[path = "support/desk.rs"]
mod desk;

use desk::{Failing, Paper, REFUSALS, Room, Work, on_paper};
use farandole::dance::edit::History;
use farandole::screen::desk::{Desk, Ending, Keeper, News};
use farandole::shelf::journal::{Force, Journal, Medium};
use farandole::shelf::{self, Lock};
use std::fs;
use std::io;
use std::path::Path;

#[cfg(target_os = "linux")]
#[test]
fn a_file_that_cannot_be_written_is_told_once_kept_and_tried_again() {
    for (error, words) in REFUSALS {
        let room = Room::new();
        let mut work = room.open();
        let store = Failing::default();
        let keeper = work.desk.keeper.take().expect("it may be edited");
        work.desk.keeper = Some(keeper.with_store(Box::new(store.clone())));
        store.with(Some(error));
        work.type_something();
        let news = work.wait(6);
        let told = matches!(&news[..], [News::Trouble(why)] if why.contains(words)
            && why.contains("everything is in the recovery copy, and saving is tried again"));
        assert!(told, "{error}: {news:?}");
        work.type_something();
        assert_eq!(work.wait(31), [], "told once");
        assert!(matches!(&work.save()[..], [News::Trouble(_)]), "but told when she asks");
        let ending = work.finish();
        assert!(matches!(&ending, Ending::Kept(why) if why.contains(words)), "{ending:?}");
        store.with(None);
        assert_eq!(work.wait(31), [News::Saved]);
        assert_eq!(room.on_disk(), work.desk.dance);
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_folder_that_is_gone_from_under_the_program_is_a_drive_that_was_pulled_out() {
    let room = Room::new();
    let mut work = room.open();
    let store = Failing::default();
    let keeper = work.desk.keeper.take().expect("it may be edited");
    work.desk.keeper = Some(keeper.with_store(Box::new(store.clone())));
    store.with(Some(2));
    work.type_something();
    let news = work.wait(6);
    assert!(matches!(&news[..], [News::Trouble(why)] if why.contains("drive is pulled out")), "{news:?}");
    store.with(None);
    assert_eq!(work.wait(31), [News::Saved]);
}

#[cfg(target_os = "linux")]
#[test]
fn a_journal_that_cannot_be_written_is_told_once_and_caught_up_with() {
    for (error, _) in REFUSALS {
        let room = Room::new();
        let paper = Paper::default();
        let mut work = on_paper(&room, &paper);
        work.type_something();
        paper.with(Some(error));
        let news = work.type_something();
        assert!(
            matches!(&news, Some(News::Trouble(why)) if why.contains("cannot keep the recovery copy")),
            "{news:?}"
        );
        assert_eq!(work.type_something(), None, "told once");
        assert_eq!(work.wait(1), []);
        paper.with(None);
        let news = work.wait(2);
        assert!(news.iter().any(|news| matches!(news, News::Mended(_))), "{news:?}");
        let bytes = paper.0.lock().expect("no panics").0.clone();
        let replayed = shelf::journal::read(&bytes).expect("sound from its beginning");
        assert_eq!(replayed.dance, work.desk.dance);
        assert!(replayed.damage.is_none());
    }
}

#[cfg(target_os = "linux")]
#[test]
fn when_neither_file_nor_journal_can_be_written_leaving_says_what_would_be_lost() {
    let room = Room::new();
    let (paper, store) = (Paper::default(), Failing::default());
    let mut work = on_paper(&room, &paper);
    let keeper = work.desk.keeper.take().expect("it may be edited");
    work.desk.keeper = Some(keeper.with_store(Box::new(store.clone())));
    paper.with(Some(28));
    store.with(Some(28));
    work.type_something();
    let ending = work.finish();
    assert!(matches!(&ending, Ending::Lost(why) if why.contains("do not leave")), "{ending:?}");
    // Room is made: the same call now saves.
    paper.with(None);
    store.with(None);
    assert_eq!(work.finish(), Ending::Saved);
    assert_eq!(room.on_disk(), work.desk.dance);
}

/// The system's own words, not ours: a device that is always full.
#[cfg(target_os = "linux")]
#[test]
fn a_journal_on_a_full_device_goes_on_in_the_other_place() {
    struct Full(fs::File);
    impl Medium for Full {
        fn append(&mut self, bytes: &[u8]) -> io::Result<()> {
            io::Write::write_all(&mut self.0, bytes)
        }
        fn cut(&mut self, _: u64) -> io::Result<()> {
            Ok(())
        }
        fn force(&self) -> io::Result<Force> {
            Ok(Box::new(|| Ok(())))
        }
        fn path(&self) -> Option<&Path> {
            None
        }
    }
    let room = Room::new();
    let dance = room.on_disk();
    let stamp = shelf::stamp_of(&room.path()).expect("readable");
    let lock = Lock::take(&room.places()).expect("free");
    let full = Full(fs::OpenOptions::new().write(true).open("/dev/full").expect("Linux has it"));
    let journal = Journal::on(Box::new(full), &dance, stamp);
    let keeper = Keeper::new(room.path(), room.places(), stamp, lock, journal);
    let mut work = Work::of(Desk {
        path: room.path(),
        dance,
        history: History::of_saved(),
        keeper: Some(keeper),
        read_only: None,
        notes: vec![],
        watch: None,
        recovery: None,
    });
    assert_eq!(work.type_something(), None, "the other place has it");
    let shown = work.desk.dance.clone();
    drop(work);
    let mut work = room.open();
    work.desk.recover();
    assert_eq!(work.desk.dance, shown);
}
