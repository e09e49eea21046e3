//! Editing a dance on the disk: nothing typed is lost, and nobody else's work is overwritten.

#[path = "support/choreography.rs"]
mod choreography;
#[path = "support/desk.rs"]
mod desk;

use desk::{Room, Work};
use farandole::screen::desk::{Choice, Ending, News, open_in};
use farandole::shelf::{self, Places};
use std::fs;

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
        "the program ended without saving, and 2 changes are in the recovery copy: take them in?"
    );
    assert_eq!(work.desk.recover(), ["2 changes were taken in; undo takes them back one by one"]);
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
fn a_removed_file_that_has_come_back_as_another_one_is_not_overwritten_unasked() {
    let room = Room::new();
    let mut work = room.open();
    work.type_something();
    let aside = room.path().with_extension("aside");
    fs::rename(room.path(), &aside).expect("there");
    assert!(matches!(&work.wait(6)[..], [News::Ask(question)] if !question.there));
    // As it was: a drive that was only away for a moment.
    fs::rename(&aside, room.path()).expect("there");
    assert_eq!(work.answer(Choice::Overwrite), News::Saved);
    assert_eq!(room.on_disk(), work.desk.dance);
    work.type_something();
    fs::rename(room.path(), &aside).expect("there");
    assert!(matches!(&work.wait(6)[..], [News::Ask(question)] if !question.there));
    fs::rename(&aside, room.path()).expect("there");
    room.change_behind_her_back();
    let news = work.answer(Choice::Overwrite);
    assert!(matches!(&news, News::Ask(question) if question.there), "{news:?}");
    assert_eq!(room.on_disk().title, "Sheep");
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
