//! What is slow, on threads of its own: listening, and hearing the grid again.

#[path = "support/choreography.rs"]
mod choreography;
#[path = "support/desk.rs"]
mod desk;

use desk::Room;
use farandole::dance::Dance;
use farandole::grid::{Anchor, Level};
use farandole::screen::desk::{Again, Answer, Workers};
use farandole::shelf::{self, Cache};
use farandole::units::Seconds;
use std::path::{Path, PathBuf};
use std::time::Duration;

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
    let half = Anchor::Level { from: Seconds(0.0), level: Level::Half };
    // Only the newest of what has piled up is worth the work; it always comes.
    for number in 2..=30 {
        workers.hear_again(number, vec![half.clone()]);
    }
    let mut last = again(&workers);
    let mut answered = 1;
    while last.number < 30 {
        last = again(&workers);
        answered += 1;
    }
    assert!(answered < 29, "{answered} of 29 requests were answered");
    assert!(last.grid.len().abs_diff(same.grid.len() / 2) <= 1, "{} of {}", last.grid.len(), same.grid.len());
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
