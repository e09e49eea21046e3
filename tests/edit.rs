//! Editing, whatever is asked for and in whatever order: what was done can be undone, and a dance stays a dance.

#[path = "support/choreography.rs"]
mod choreography;

use choreography::{any_command, any_dance};
use farandole::dance::edit::{Command, Edit, History, Selection, apply, plan};
use farandole::dance::file::{canonical, from_json, to_json};
use farandole::dance::{Dance, MoveBook};
use farandole::units::Beat;
use proptest::prelude::*;
use std::collections::BTreeSet;
use std::time::Duration;

/// One thing that happens while she works.
#[derive(Debug, Clone)]
enum Event {
    Ask(Command),
    Undo,
    Redo,
    Pause,
    Save,
}

fn any_event() -> impl Strategy<Value = Event> {
    prop_oneof![
        10 => any_command().prop_map(Event::Ask),
        2 => Just(Event::Undo),
        1 => Just(Event::Redo),
        1 => Just(Event::Pause),
        1 => Just(Event::Save),
    ]
}

/// Lets the events happen; everything that cannot be done must leave all as it was.
fn live(
    dance: &mut Dance,
    history: &mut History,
    book: &MoveBook,
    events: &[Event],
) -> Result<(), TestCaseError> {
    for (index, event) in events.iter().enumerate() {
        let before = (dance.clone(), history.clone());
        // Some pause long enough to end a gesture.
        let now = Duration::from_secs(index as u64 * 2);
        match event {
            Event::Ask(command) => {
                let here = Selection::at(Beat::from(index));
                if history.perform(dance, book, command, here, now).is_err() {
                    prop_assert_eq!(&before, &(dance.clone(), history.clone()));
                }
            }
            Event::Undo => drop(history.undo(dance).expect("the history fits the dance")),
            Event::Redo => drop(history.redo(dance).expect("the history fits the dance")),
            Event::Pause => history.pause(),
            Event::Save => {
                let revision = history.begin_save();
                history.saved(revision);
                prop_assert!(!history.unsaved());
            }
        }
    }
    Ok(())
}

fn overlaps(dance: &Dance) -> bool {
    // Two thousandths: positions are kept to one.
    dance.cues.windows(2).any(|pair| pair[1].at.0 < pair[0].end().0 - 0.002)
}

fn named(dance: &Dance) -> Vec<&str> {
    let ids: BTreeSet<&str> =
        dance.cues.iter().filter_map(|cue| Some(cue.movement.as_ref()?.0.as_str())).collect();
    ids.into_iter().collect()
}

proptest! {
    #[test]
    fn undoing_all_gives_the_start_and_redoing_all_the_end(
        start in any_dance(),
        events in prop::collection::vec(any_event(), 0..25),
    ) {
        let (mut dance, mut history, book) = (start.clone(), History::of_saved(), MoveBook::built_in());
        live(&mut dance, &mut history, &book, &events)?;
        while history.redo(&mut dance).expect("fits").is_some() {}
        let (end, revision) = (dance.clone(), history.revision());
        while history.undo(&mut dance).expect("fits").is_some() {}
        prop_assert_eq!(&dance, &start);
        while history.redo(&mut dance).expect("fits").is_some() {}
        prop_assert_eq!(&dance, &end);
        prop_assert_eq!(history.revision(), revision);
    }

    #[test]
    fn a_dance_stays_ordered_whole_and_as_it_is_saved(
        start in any_dance(),
        events in prop::collection::vec(any_event(), 0..25),
    ) {
        let (mut dance, mut history, book) = (start, History::of_saved(), MoveBook::built_in());
        live(&mut dance, &mut history, &book, &events)?;
        prop_assert!(!overlaps(&dance), "{:?}", dance.cues);
        let moves: Vec<&str> = dance.moves.iter().map(|entry| entry.id.0.as_str()).collect();
        prop_assert_eq!(moves, named(&dance));
        prop_assert_eq!(&canonical(&dance), &dance);
        let opened = from_json(&to_json(&dance)).expect("an edited dance can be read");
        prop_assert_eq!(opened.dance, dance);
    }

    #[test]
    fn the_inverse_of_the_inverse_is_the_edit(start in any_dance(), command in any_command()) {
        let mut dance = start.clone();
        if let Ok(planned) = plan(&dance, &MoveBook::built_in(), &command) {
            let inverse = apply(&mut dance, planned.edit.clone()).expect("just planned");
            prop_assert_eq!(planned.edit.is_nothing(), dance == start);
            let again = apply(&mut dance, inverse).expect("just made");
            prop_assert_eq!(&dance, &start);
            prop_assert_eq!(again, planned.edit);
        }
    }

    #[test]
    fn an_edit_survives_json_to_the_bit(start in any_dance(), command in any_command()) {
        if let Ok(planned) = plan(&start, &MoveBook::built_in(), &command) {
            let text = serde_json::to_string(&planned.edit).expect("plain data");
            prop_assert!(!text.contains('\n'));
            prop_assert_eq!(serde_json::from_str::<Edit>(&text).expect("just written"), planned.edit);
        }
    }

    #[test]
    fn an_edit_made_for_another_dance_is_refused_or_undone_exactly(
        mine in any_dance(),
        other in any_dance(),
        command in any_command(),
    ) {
        if let Ok(planned) = plan(&other, &MoveBook::built_in(), &command) {
            let mut dance = mine.clone();
            if let Ok(inverse) = apply(&mut dance, planned.edit) {
                prop_assert!(dance.cues.is_sorted_by(|a, b| a.at <= b.at));
                apply(&mut dance, inverse).expect("just made");
            }
            prop_assert_eq!(dance, mine);
        }
    }
}
