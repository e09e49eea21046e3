//! Editing a dance on the disk: nothing typed is lost, and nobody else's work is overwritten, whatever fails.

#[path = "support/choreography.rs"]
mod choreography;

use choreography::small;
use farandole::dance::edit::{Command, History, Over, Selection};
use farandole::dance::{Cue, Dance, MoveBook, MoveId};
use farandole::grid::{Anchor, Level};
use farandole::screen::desk::{
    Again, Answer, Choice, Desk, Ending, Keeper, News, OnDisk, Store, Workers, open_in,
};
use farandole::shelf::journal::{Force, Journal, Medium};
use farandole::shelf::{self, Cache, Lock, Places, SaveError, Stamp};
use farandole::units::{Beat, Counts, Seconds};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::Duration;
use tempfile::TempDir;

/// A folder with one dance in it, and another folder for recovery copies.
struct Room {
    scratch: TempDir,
}

impl Room {
    fn new() -> Self {
        let room = Self { scratch: tempfile::tempdir().expect("a scratch folder") };
        fs::create_dir(room.scratch.path().join("dances")).expect("a writable folder");
        shelf::save(&room.path(), &small(), None).expect("a writable folder");
        room
    }

    fn path(&self) -> PathBuf {
        self.scratch.path().join("dances").join("goats.dance.json")
    }

    fn places(&self) -> Places {
        Places::with_state_folder(&self.path(), Some(self.scratch.path().join("state")))
    }

    fn open(&self) -> Work {
        Work::of(open_in(&self.path(), self.places()).expect("the dance is whole"))
    }

    fn on_disk(&self) -> Dance {
        shelf::load(&self.path()).expect("the dance is whole").dance
    }

    /// Someone else saves another title.
    fn change_behind_her_back(&self) {
        let mut dance = self.on_disk();
        dance.title = "Sheep".into();
        fs::write(self.path(), farandole::dance::file::to_json(&dance)).expect("a writable folder");
    }

    fn names(&self) -> Vec<String> {
        let entries = fs::read_dir(self.scratch.path().join("dances")).expect("a folder");
        let mut names: Vec<String> = entries
            .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }
}

/// She at work. Her clock runs as fast as a test wants.
struct Work {
    desk: Desk,
    now: Duration,
    typed: u32,
}

impl Work {
    fn of(desk: Desk) -> Self {
        Self { desk, now: Duration::ZERO, typed: 0 }
    }

    fn keeper(&mut self) -> &mut Keeper {
        self.desk.keeper.as_mut().expect("it may be edited")
    }

    /// Changes something.
    fn type_something(&mut self) -> Option<News> {
        self.typed += 1;
        // Far enough apart in time to be steps of their own.
        self.now += Duration::from_secs(4);
        let at = Beat(f64::from(self.typed % 16));
        let words = format!("word {}", self.typed);
        let cue = Cue { words: Some(words), ..Cue::new(at, Counts(1.0), MoveId("march".into())) };
        let command = Command::AddCue { cue, over: Over::Erase };
        let desk = &mut self.desk;
        let done = desk
            .history
            .perform(&mut desk.dance, &MoveBook::built_in(), &command, Selection::at(at), self.now)
            .expect("possible")
            .expect("a change");
        let now = self.now;
        self.keeper().record(&done.record, now)
    }

    fn undo(&mut self) -> Option<News> {
        let turned = self.desk.history.undo(&mut self.desk.dance).expect("fits").expect("a step");
        let now = self.now;
        self.keeper().record(&turned.record, now)
    }

    fn tick(&mut self) -> Vec<News> {
        let keeper = self.desk.keeper.as_mut().expect("it may be edited");
        keeper.tick(&self.desk.dance, &mut self.desk.history, self.now)
    }

    /// Lets time pass without a key; what she is told.
    fn wait(&mut self, seconds: u64) -> Vec<News> {
        self.now += Duration::from_secs(seconds);
        let mut news = self.tick();
        // What was begun is done on a thread of its own.
        while self.keeper().is_saving() {
            thread::sleep(Duration::from_millis(1));
            news.extend(self.tick());
        }
        news
    }

    fn save(&mut self) -> Vec<News> {
        let keeper = self.desk.keeper.as_mut().expect("it may be edited");
        keeper.save(&self.desk.dance, &mut self.desk.history);
        self.wait(0)
    }

    fn answer(&mut self, choice: Choice) -> News {
        let keeper = self.desk.keeper.as_mut().expect("it may be edited");
        keeper.answer(choice, &mut self.desk.dance, &mut self.desk.history, self.now)
    }

    fn finish(&mut self) -> Ending {
        let keeper = self.desk.keeper.as_mut().expect("it may be edited");
        keeper.finish(&self.desk.dance, &mut self.desk.history, self.now)
    }
}

#[test]
fn what_is_typed_is_in_the_file_once_she_pauses_and_leaving_leaves_nothing_behind() {
    let room = Room::new();
    let mut work = room.open();
    assert_eq!(room.names(), [".goats.dance.json.lock", "goats.dance.json"]);
    assert_eq!(work.type_something(), None);
    assert_eq!(room.names().len(), 3, "the journal is there before the screen shows the change");
    assert_eq!(work.wait(4), []);
    assert_ne!(room.on_disk(), work.desk.dance);
    assert_eq!(work.wait(1), [News::Saved]);
    assert_eq!(room.on_disk(), work.desk.dance);
    assert_eq!(work.keeper().due(), None, "nothing more to do");
    work.type_something();
    assert_eq!(work.finish(), Ending::Saved);
    assert_eq!(room.on_disk(), work.desk.dance);
    drop(work);
    assert_eq!(room.names(), ["goats.dance.json"]);
    assert!(room.open().desk.recovery.is_none());
}

#[test]
fn undoing_back_to_what_the_file_holds_saves_nothing() {
    let room = Room::new();
    let mut work = room.open();
    work.type_something();
    work.undo();
    assert_eq!(work.wait(60), []);
    assert_eq!(work.keeper().due(), None);
    assert_eq!(work.finish(), Ending::Saved);
}

#[test]
fn asking_to_save_is_answered_even_when_nothing_is_new() {
    let room = Room::new();
    let mut work = room.open();
    assert_eq!(work.save(), [News::Saved]);
    work.type_something();
    assert_eq!(work.save(), [News::Saved]);
    assert_eq!(room.on_disk(), work.desk.dance);
}

#[test]
fn a_second_program_may_look_but_not_change() {
    let room = Room::new();
    let first = room.open();
    let second = room.open();
    assert!(second.desk.keeper.is_none() && second.desk.recovery.is_none());
    let why = second.desk.read_only.expect("a reason");
    assert!(why.contains("open in another Farandole"), "{why}");
    drop(first);
    assert!(room.open().desk.keeper.is_some());
}

#[test]
fn a_dance_of_a_newer_form_may_only_be_looked_at() {
    let room = Room::new();
    let text =
        fs::read_to_string(room.path()).expect("readable").replacen("\"schema\": 1", "\"schema\": 2", 1);
    fs::write(room.path(), text).expect("writable");
    let work = room.open();
    assert!(work.desk.keeper.is_none());
    assert!(work.desk.read_only.is_some());
}

#[test]
fn after_a_crash_everything_can_be_taken_in_and_undone() {
    let room = Room::new();
    let mut work = room.open();
    let start = work.desk.dance.clone();
    for _ in 0..3 {
        work.type_something();
    }
    work.undo();
    let shown = work.desk.dance.clone();
    // The program ends without a word; the system lets go of the lock.
    drop(work);
    let mut work = room.open();
    assert_eq!(work.desk.dance, start);
    let question = work.desk.recovery.as_ref().expect("something to recover").question();
    assert_eq!(
        question,
        "the program ended without saving, and 4 changes are in the recovery copy: take them in?"
    );
    assert_eq!(work.desk.recover(), ["4 changes were taken in; undo takes them back one by one"]);
    assert_eq!(work.desk.dance, shown);
    assert_eq!(work.wait(6), [News::Saved], "what was taken in is saved without another key");
    assert_eq!(room.on_disk(), shown);
    work.undo();
    work.undo();
    assert_eq!(work.desk.dance, start);
    assert_eq!(work.finish(), Ending::Saved);
    assert_eq!(room.on_disk(), start);
}

#[test]
fn unsaved_work_that_is_left_out_is_put_aside_and_not_deleted() {
    let room = Room::new();
    let mut work = room.open();
    work.type_something();
    drop(work);
    let mut work = room.open();
    let said = work.desk.leave();
    assert!(said[0].contains("left out, and kept as"), "{said:?}");
    assert_eq!(work.finish(), Ending::Saved);
    drop(work);
    assert!(room.names().contains(&".goats.dance.json.journal.aside-1".to_owned()), "{:?}", room.names());
    assert!(room.open().desk.recovery.is_none());
}

#[test]
fn a_crash_after_someone_else_saved_asks_before_anything_is_overwritten() {
    let room = Room::new();
    let mut work = room.open();
    work.type_something();
    drop(work);
    room.change_behind_her_back();
    let theirs = room.on_disk();
    let mut work = room.open();
    assert!(work.desk.recovery.as_ref().expect("something to recover").changed_on_disk());
    work.desk.recover();
    let news = work.wait(6);
    assert!(matches!(&news[..], [News::Ask(question)] if question.there), "{news:?}");
    assert_eq!(room.on_disk(), theirs);
}

#[test]
fn a_lost_or_damaged_file_is_given_back_by_its_journal() {
    for damage in [b"".as_slice(), b"not a dance"] {
        let room = Room::new();
        let mut work = room.open();
        work.type_something();
        let shown = work.desk.dance.clone();
        drop(work);
        if damage.is_empty() {
            fs::remove_file(room.path()).expect("there");
        } else {
            fs::write(room.path(), damage).expect("writable");
        }
        let mut work = room.open();
        assert_eq!(work.desk.dance, shown);
        assert!(work.desk.notes[0].contains("as the recovery copy has it"), "{:?}", work.desk.notes);
        let news = work.wait(6);
        assert_eq!(news, [News::Saved]);
        assert_eq!(work.finish(), Ending::Saved);
        assert_eq!(room.on_disk(), shown);
    }
}

/// Opens the dance, types, and lets someone else save it meanwhile.
fn changed_on_disk() -> (Room, Work) {
    let room = Room::new();
    let mut work = room.open();
    work.type_something();
    room.change_behind_her_back();
    let news = work.wait(6);
    assert!(matches!(&news[..], [News::Ask(question)] if question.there), "{news:?}");
    assert_eq!(room.on_disk().title, "Sheep");
    // Typing goes on, and nothing is saved meanwhile.
    work.type_something();
    assert_eq!(work.wait(120), []);
    assert_eq!(room.on_disk().title, "Sheep");
    (room, work)
}

#[test]
fn of_two_versions_both_can_be_kept() {
    let (room, mut work) = changed_on_disk();
    let news = work.answer(Choice::KeepBoth);
    let mine = room.path().with_file_name("goats-mine.dance.json");
    assert!(matches!(&news, News::Moved(path, _) if *path == mine), "{news:?}");
    assert_eq!(room.on_disk().title, "Sheep");
    // A crash later on is recovered under the new name, with the history from the old one.
    work.type_something();
    work.undo();
    work.undo();
    let shown = work.desk.dance.clone();
    drop(work);
    let places = Places::with_state_folder(&mine, Some(room.scratch.path().join("state")));
    let mut work = Work::of(open_in(&mine, places).expect("saved"));
    work.desk.recover();
    assert_eq!(work.desk.dance, shown);
    assert_eq!(work.finish(), Ending::Saved);
    drop(work);
    assert_eq!(room.names(), ["goats-mine.dance.json", "goats.dance.json"]);
}

#[test]
fn of_two_versions_theirs_can_be_taken_and_hers_is_kept_as_a_copy() {
    let (room, mut work) = changed_on_disk();
    let mine = work.desk.dance.clone();
    let news = work.answer(Choice::Theirs);
    assert!(matches!(news, News::Reloaded(_)), "{news:?}");
    assert_eq!(work.desk.dance.title, "Sheep");
    assert_eq!(work.desk.history.undo_label(), None);
    let copy = room.path().with_file_name("goats-mine.dance.json");
    assert_eq!(shelf::load(&copy).expect("saved").dance, mine);
    work.type_something();
    assert_eq!(work.wait(6), [News::Saved]);
    assert_eq!(work.finish(), Ending::Saved);
}

#[test]
fn of_two_versions_hers_can_be_saved_over_the_other() {
    let (room, mut work) = changed_on_disk();
    assert_eq!(work.answer(Choice::Overwrite), News::Saved);
    assert_eq!(room.on_disk(), work.desk.dance);
    work.type_something();
    assert_eq!(work.wait(6), [News::Saved]);
}

#[test]
fn leaving_with_the_question_open_keeps_the_work_in_the_journal() {
    let (room, mut work) = changed_on_disk();
    let ending = work.finish();
    assert!(matches!(&ending, Ending::Kept(why) if why.contains("open it again")), "{ending:?}");
    let shown = work.desk.dance.clone();
    drop(work);
    assert_eq!(room.on_disk().title, "Sheep");
    let mut work = room.open();
    work.desk.recover();
    assert_eq!(work.desk.dance, shown);
}

#[test]
fn a_removed_file_is_asked_about_and_can_be_saved_again() {
    let room = Room::new();
    let mut work = room.open();
    work.type_something();
    fs::remove_file(room.path()).expect("there");
    let news = work.wait(6);
    assert!(matches!(&news[..], [News::Ask(question)] if !question.there), "{news:?}");
    assert!(matches!(work.answer(Choice::Theirs), News::Ask(_)));
    assert_eq!(work.answer(Choice::Overwrite), News::Saved);
    assert_eq!(room.on_disk(), work.desk.dance);
}

#[test]
fn a_drive_that_is_pulled_out_is_told_and_saved_to_when_it_is_back() {
    let room = Room::new();
    let mut work = room.open();
    work.type_something();
    let (folder, away) = (room.scratch.path().join("dances"), room.scratch.path().join("away"));
    fs::rename(&folder, &away).expect("a scratch folder");
    let news = work.wait(6);
    assert!(matches!(&news[..], [News::Trouble(why)] if why.contains("drive is pulled out")), "{news:?}");
    work.type_something();
    assert_eq!(work.wait(31), [], "told once");
    fs::rename(&away, &folder).expect("a scratch folder");
    assert_eq!(work.wait(31), [News::Saved]);
    assert_eq!(room.on_disk(), work.desk.dance);
}

/// Something to save to that gives a system's error, or saves to the disk.
#[derive(Clone, Default)]
struct Failing(Arc<Mutex<Option<i32>>>);

impl Failing {
    fn with(&self, error: Option<i32>) {
        *self.0.lock().expect("no panics") = error;
    }
}

impl Store for Failing {
    fn save(&mut self, path: &Path, dance: &Dance, stamp: Stamp) -> Result<Stamp, SaveError> {
        match *self.0.lock().expect("no panics") {
            Some(error) => {
                Err(SaveError::Refused { path: path.to_owned(), source: io::Error::from_raw_os_error(error) })
            }
            None => OnDisk.save(path, dance, stamp),
        }
    }
}

/// Linux's numbers: no space left, input/output error, not permitted, read-only file system.
#[cfg(target_os = "linux")]
const REFUSALS: [(i32, &str); 4] =
    [(28, "the disk is full"), (5, "does not answer"), (13, "you may not"), (30, "the disk is read-only")];

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

/// A journal's medium that gives a system's error, or keeps what it is given.
#[derive(Clone, Default)]
struct Paper(Arc<Mutex<(Vec<u8>, Option<i32>)>>);

impl Paper {
    fn with(&self, error: Option<i32>) {
        self.0.lock().expect("no panics").1 = error;
    }
}

impl Medium for Paper {
    fn append(&mut self, bytes: &[u8]) -> io::Result<()> {
        let mut paper = self.0.lock().expect("no panics");
        // A part of it may have been written.
        let written = if paper.1.is_some() { bytes.len() / 2 } else { bytes.len() };
        paper.0.extend(&bytes[..written]);
        paper.1.map_or(Ok(()), |error| Err(io::Error::from_raw_os_error(error)))
    }

    fn cut(&mut self, length: u64) -> io::Result<()> {
        self.0.lock().expect("no panics").0.truncate(usize::try_from(length).expect("small"));
        Ok(())
    }

    fn force(&self) -> io::Result<Force> {
        Ok(Box::new(|| Ok(())))
    }

    fn path(&self) -> Option<&Path> {
        None
    }
}

/// A dance whose journal lies on `paper` and has nowhere else to go.
fn on_paper(room: &Room, paper: &Paper) -> Work {
    let places = Places::with_state_folder(&room.path(), None);
    let dance = room.on_disk();
    let stamp = shelf::stamp_of(&room.path()).expect("readable");
    let lock = Lock::take(&places).expect("free");
    let journal = Journal::on(Box::new(paper.clone()), &dance, stamp);
    let keeper = Keeper::new(room.path(), places, stamp, lock, journal);
    Work::of(Desk {
        path: room.path(),
        dance,
        history: History::of_saved(),
        keeper: Some(keeper),
        read_only: None,
        notes: vec![],
        recovery: None,
    })
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
        recovery: None,
    });
    assert_eq!(work.type_something(), None, "the other place has it");
    let shown = work.desk.dance.clone();
    drop(work);
    let mut work = room.open();
    work.desk.recover();
    assert_eq!(work.desk.dance, shown);
}

/// The demo dance beside its recording, and the answers of its workers until the sound is there.
fn demo(cache: &Cache) -> (Dance, PathBuf, Workers, Vec<Answer>) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("assets/demo/cat-on-the-stairs.dance.json");
    let dance = shelf::load(&path).expect("the demo is whole").dance;
    let workers = Workers::start(&dance, &path, cache.clone(), || {});
    let (mut answers, mut sound, mut repairable) = (Vec::new(), false, false);
    while !(sound && repairable) {
        let answer = workers.wait(Duration::from_secs(60)).expect("something to say");
        sound |= matches!(answer, Answer::Sound(_));
        repairable |= matches!(answer, Answer::Repairable { .. });
        assert!(!matches!(answer, Answer::NoRecording(_)), "{answer:?}");
        answers.push(answer);
    }
    (dance, path, workers, answers)
}

fn again(workers: &Workers) -> Again {
    match workers.wait(Duration::from_secs(60)).expect("an answer") {
        Answer::Again(again) => *again,
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_recording_is_listened_to_once_and_its_grid_heard_again_as_often_as_she_likes() {
    let scratch = tempfile::tempdir().expect("a scratch folder");
    let cache = Cache::in_folder(scratch.path().to_owned());
    let (dance, _, workers, first) = demo(&cache);
    assert!(first.iter().any(|answer| matches!(answer, Answer::Progress(_))));
    drop(workers);
    let (_, _, workers, second) = demo(&cache);
    assert!(!second.iter().any(|answer| matches!(answer, Answer::Progress(_))), "it is remembered");
    let heard = |answers: &[Answer]| {
        let heard = answers.iter().find_map(|answer| match answer {
            Answer::Heard(listening) => Some((**listening).clone()),
            _ => None,
        });
        heard.expect("it was listened to")
    };
    assert_eq!(heard(&first), heard(&second));
    let sureness = second.iter().find_map(|answer| match answer {
        Answer::Repairable { sureness, .. } => Some(sureness.len()),
        _ => None,
    });
    assert_eq!(sureness, Some(dance.grid.bars().len()));
    // No corrections give what was heard, and some give another grid.
    workers.hear_again(1, vec![]);
    let same = again(&workers);
    assert_eq!((same.number, &same.grid), (1, &heard(&second).grid));
    let double = Anchor::Level { from: Seconds(0.0), level: Level::Double };
    // Only the newest of what has piled up is worth the work; it always comes.
    for number in 2..=30 {
        workers.hear_again(number, vec![double.clone()]);
    }
    let mut last = again(&workers);
    let mut answered = 1;
    while last.number < 30 {
        last = again(&workers);
        answered += 1;
    }
    assert!(answered < 29, "{answered} of 29 requests were answered");
    assert!(last.grid.len() > same.grid.len());
    assert_eq!(last.sureness.len(), last.grid.bars().len());
    assert_eq!(last.listening.grid, last.grid);
}

#[test]
fn without_its_recording_a_dance_is_edited_all_the_same() {
    let room = Room::new();
    let dance = room.on_disk();
    let workers = Workers::start(&dance, &room.path(), Cache::default(), || {});
    let answer = workers.wait(Duration::from_secs(60)).expect("an answer");
    assert!(matches!(&answer, Answer::NoRecording(why) if why.contains("is missing")), "{answer:?}");
    workers.hear_again(1, vec![]);
    assert!(workers.wait(Duration::from_secs(60)).is_none(), "nobody is there to answer");
}
