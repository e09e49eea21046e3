//! The recovery journal's text: replayed it is the session; cut anywhere, with a bit flipped or lines amiss, it gives what was
//! sound; and what it says of a disk that refuses.

#[path = "support/choreography.rs"]
mod choreography;
#[path = "support/session.rs"]
mod session;

use choreography::{any_command, any_dance, small};
use farandole::dance::Dance;
use farandole::dance::edit::Command;
use farandole::shelf::journal::read;
use proptest::prelude::*;
use session::{Paper, Session, add, words};
use std::time::Duration;

/// A short session with everything in it: an edit with an eraser, typing that joins, undo, redo, a save.
fn short_session(paper: &Paper) -> Session {
    let mut session = Session::on(paper, small());
    for command in [add(3.0, "clap"), words(0, "m"), words(0, "mé"), Command::RemoveCue { cue: 1 }] {
        assert_eq!(session.ask(&command), Ok(true));
    }
    assert_eq!(session.turn(true), Ok(true));
    let revision = session.history.begin_save();
    session.journal.saved(revision, [9; 32]).expect("memory has room");
    session.history.saved(revision);
    assert_eq!(session.turn(false), Ok(true));
    assert_eq!(session.ask(&Command::SetNotes("\"blue\nbox\"".into())), Ok(true));
    session
}

#[test]
fn a_replayed_session_is_the_session_with_its_undo_steps() {
    let paper = Paper::default();
    let mut session = short_session(&paper);
    let mut replayed = read(&paper.bytes()).expect("sound");
    assert!(replayed.damage.is_none());
    assert_eq!(replayed.changes, session.shown.len() - 1);
    assert_eq!(replayed.dance, session.dance);
    session.history.pause();
    assert_eq!(replayed.history, session.history);
    assert!(replayed.history.unsaved());
    while replayed.history.undo(&mut replayed.dance).expect("fits").is_some() {}
    assert_eq!(replayed.dance, small());
}

/// Every prefix: what is read is what was on the screen after as many changes as are whole.
#[test]
fn a_journal_cut_at_any_byte_gives_the_state_after_its_last_whole_line() {
    let paper = Paper::default();
    let session = short_session(&paper);
    let bytes = paper.bytes();
    let header = bytes.iter().position(|&byte| byte == b'\n').expect("a first line") + 1;
    let mut reached = Vec::new();
    for cut in 0..=bytes.len() {
        let Some(replayed) = read(&bytes[..cut]) else {
            assert!(cut < header, "byte {cut}");
            continue;
        };
        assert!(cut >= header, "byte {cut}");
        assert_eq!(replayed.dance, session.shown[replayed.changes], "byte {cut}");
        let whole_lines = bytes[..cut].iter().filter(|&&byte| byte == b'\n').count();
        // The save is a line and no change.
        let saves =
            usize::from(bytes[..cut].windows(9).any(|window| window == b"{\"saved\":") && whole_lines > 6);
        assert_eq!(replayed.changes, whole_lines - 1 - saves, "byte {cut}");
        let torn = replayed.damage.map_or(0, |damage| {
            assert!(damage.only_the_last_line);
            damage.bytes
        });
        assert_eq!(torn, cut - bytes[..cut].iter().rposition(|&byte| byte == b'\n').expect("a line") - 1);
        reached.push(replayed.changes);
    }
    reached.dedup();
    assert_eq!(reached, (0..session.shown.len()).collect::<Vec<_>>());
}

/// Every bit: one of the earlier states or nothing, never another state. The checksum has 64 bits.
#[test]
fn a_flipped_bit_ends_what_is_read_and_is_never_obeyed() {
    let paper = Paper::default();
    let session = short_session(&paper);
    let mut bytes = paper.bytes();
    let mut line_starts = vec![0];
    line_starts.extend(bytes.iter().enumerate().filter(|(_, byte)| **byte == b'\n').map(|(at, _)| at + 1));
    for at in 0..bytes.len() {
        let line = line_starts.iter().filter(|&&start| start <= at).count() - 1;
        for bit in 0..8 {
            bytes[at] ^= 1 << bit;
            match read(&bytes) {
                Some(replayed) => {
                    assert!(line > 0, "bit {bit} of byte {at} in the first line");
                    assert!(replayed.damage.is_some(), "bit {bit} of byte {at}");
                    let saves = usize::from(line > 6);
                    assert_eq!(replayed.changes, line - 1 - saves, "bit {bit} of byte {at}");
                    assert_eq!(replayed.dance, session.shown[replayed.changes]);
                }
                None => assert_eq!(line, 0, "bit {bit} of byte {at}"),
            }
            bytes[at] ^= 1 << bit;
        }
    }
}

#[test]
fn lines_that_are_missing_doubled_swapped_or_foreign_end_what_is_read() {
    let paper = Paper::default();
    let session = short_session(&paper);
    let bytes = paper.bytes();
    let lines: Vec<&[u8]> = bytes.split_inclusive(|&byte| byte == b'\n').collect();
    let other = Paper::default();
    let mut foreign = Session::on(&other, Dance { title: "Another".into(), ..small() });
    foreign.ask(&add(3.0, "clap")).expect("memory has room");
    let other = other.bytes();
    let foreign: Vec<&[u8]> = other.split_inclusive(|&byte| byte == b'\n').collect();
    let cases: [(&str, Vec<&[u8]>); 4] = [
        ("missing", [&lines[..2], &lines[3..]].concat()),
        ("doubled", [&lines[..2], &lines[1..]].concat()),
        ("swapped", [&lines[..2], &[lines[3], lines[2]]].concat()),
        ("foreign", [&lines[..2], &foreign[1..]].concat()),
    ];
    for (name, lines) in cases {
        let replayed = read(&lines.concat()).expect("the first line is sound");
        assert_eq!(replayed.changes, 1, "{name}");
        assert_eq!(replayed.dance, session.shown[1], "{name}");
    }
}

proptest! {
    #[test]
    fn any_session_is_replayed_as_it_was(
        start in any_dance(),
        asked in prop::collection::vec((any_command(), 0..8u8), 0..20),
        cut in any::<prop::sample::Index>(),
    ) {
        let paper = Paper::default();
        let mut session = Session::on(&paper, start);
        for (command, then) in asked {
            session.ask(&command).expect("memory has room");
            match then {
                0 => drop(session.turn(true)),
                1 => drop(session.turn(false)),
                _ => {}
            }
        }
        session.journal.catch_up().expect("memory has room");
        let bytes = paper.bytes();
        let whole = read(&bytes).expect("sound");
        session.history.pause();
        prop_assert_eq!(&whole.dance, &session.dance);
        prop_assert_eq!(&whole.history, &session.history);
        if let Some(part) = read(&bytes[..cut.index(bytes.len())]) {
            prop_assert_eq!(&part.dance, &session.shown[part.changes]);
        }
    }

    #[test]
    fn noise_is_no_journal(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        prop_assert!(read(&bytes).is_none());
    }
}

/// ENOSPC, EIO, EACCES, EROFS and ENODEV are 28, 5, 13, 30 and 19 on Linux (errno(3)).
#[cfg(target_os = "linux")]
#[test]
fn a_refused_write_keeps_the_work_says_one_sentence_and_is_made_good_later() {
    let cases = [
        (28, "the disk is full"),
        (5, "the disk or drive does not answer"),
        (13, "you may not write there"),
        (30, "the disk is read-only"),
        (19, "no such device"),
    ];
    for (error, reason) in cases {
        // However much of a line the disk still took.
        for room in [0, 1, 30, 200] {
            let paper = Paper::default();
            let mut session = Session::on(&paper, small());
            assert_eq!(session.ask(&add(3.0, "clap")), Ok(true));
            paper.set(|sheet| sheet.room = Some((room, error)));
            let expected = format!(
                "cannot keep the recovery copy '.goats.journal': {reason}; your work is still here, save it \
                 somewhere else"
            );
            assert_eq!(session.ask(&add(5.0, "jump")), Err(expected.clone()));
            assert_eq!(session.ask(&add(7.0, "walk")), Err(expected.clone()));
            assert_eq!(session.journal.behind(), 2);
            assert_eq!(session.shown.len(), 4);
            assert_eq!(read(&paper.bytes()).expect("sound").dance, session.shown[1]);
            // A torn line that cannot be cut off is not written after.
            paper.set(|sheet| (sheet.room, sheet.cut_fails) = (None, true));
            assert!(session.journal.catch_up().is_err());
            assert_eq!(read(&paper.bytes()).expect("sound").dance, session.shown[1]);
            paper.set(|sheet| sheet.cut_fails = false);
            assert!(session.journal.catch_up().is_ok());
            assert_eq!(session.journal.behind(), 0);
            let replayed = read(&paper.bytes()).expect("sound");
            assert_eq!((replayed.dance, replayed.damage.is_none()), (session.dance, true));
        }
    }
}

#[cfg(target_os = "linux")]
#[test]
fn what_cannot_be_forced_to_the_disk_is_told_once_and_soon() {
    let paper = Paper::default();
    paper.set(|sheet| sheet.force_fails = Some(5));
    let mut session = Session::on(&paper, small());
    // The thread that forces may be done before the change is, or after: both are told, and never twice.
    let told = session.ask(&add(3.0, "clap")).err().or_else(|| {
        (0..500).find_map(|_| {
            std::thread::sleep(Duration::from_millis(20));
            session.journal.trouble().map(|error| error.to_string())
        })
    });
    let told = told.expect("the thread forces soon");
    assert!(told.contains("the disk or drive does not answer"), "{told}");
    assert!(session.journal.trouble().is_none(), "told once");
    assert_eq!((session.shown.len(), session.journal.behind()), (2, 0), "nothing is lost");
}

#[test]
fn everything_is_forced_to_the_disk_before_a_journal_is_let_go() {
    let paper = Paper::default();
    let session = short_session(&paper);
    drop(session.journal);
    paper.set(|sheet| assert_eq!(sheet.forced, sheet.bytes.len()));
}
