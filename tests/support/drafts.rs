//! Drafts and what is looked up in them.

#![allow(dead_code, reason = "every test binary uses its own share of these")]

use farandole::dance::{Cue, Draft, Move, MoveBook, Profile, Source, draft};
use farandole::identity::Identity;
use farandole::listening::Listening;
use farandole::units::Beat;

pub(crate) fn drafted(heard: &Listening) -> Draft {
    draft(heard, &MoveBook::built_in(), &Profile::default()).expect("a beat was heard")
}

pub(crate) fn a_source() -> Source {
    Source {
        path: "piece.flac".into(),
        identity: Identity { hash: "0".repeat(64), frames: 1_000, rate: 48_000 },
        title: None,
        performer: None,
        year: None,
        unknown: serde_json::Map::new(),
    }
}

pub(crate) fn move_of<'a>(draft: &'a Draft, cue: &Cue) -> &'a Move {
    let id = cue.movement.as_ref().expect("drafts name moves");
    draft.moves.iter().find(|entry| entry.id == *id).expect("every move is copied")
}

pub(crate) fn ids(draft: &Draft) -> Vec<&str> {
    draft.cues.iter().map(|cue| &*cue.movement.as_ref().expect("drafts name moves").0).collect()
}

pub(crate) fn at(draft: &Draft, beat: f64) -> &Cue {
    draft
        .cues
        .iter()
        .find(|cue| cue.at == Beat(beat))
        .unwrap_or_else(|| panic!("no cue at {beat}: {:#?}", draft.cues))
}
