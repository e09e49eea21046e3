//! Dances as the count sheet knows them, and what a teacher may ask for, at random.

#![allow(dead_code, reason = "every test binary uses its own share of these")]

use farandole::dance::edit::{Command, Follow, Over, Stretch};
use farandole::dance::{Cue, Dance, MoveBook, MoveId, Profile, Prompt, SCHEMA, Side, Silenced, Source};
use farandole::grid::{Anchor, Grid, Phrase};
use farandole::identity::Identity;
use farandole::units::{Beat, Counts, Seconds};
use proptest::prelude::*;

/// Moves that the random dances use, one-sided ones among them. All are in the built-in book.
pub(crate) const MOVES: &[&str] = &["march", "tiptoe", "freeze", "step-touch"];

/// A grid of `beats` beats, each `gap` seconds long, with phrases of `phrase` beats after a pickup of `pickup`.
pub(crate) fn grid(beats: usize, gap: f64, pickup: usize, phrase: usize) -> Grid {
    let times = (0..beats).map(|beat| Seconds((beat as f64 * gap * 1e4).round() / 1e4)).collect();
    let starts: Vec<usize> = (pickup..beats).step_by(phrase).collect();
    let letter = |index: usize| ["A", "B", "A'"][index % 3].to_owned();
    let phrases = starts.iter().enumerate().map(|(index, &start)| Phrase { start, letter: letter(index) });
    let phrases = phrases.collect();
    Grid::new(times, (pickup..beats).step_by(4).collect(), phrases).expect("ascending by construction")
}

/// A dance of these cues whose moves are exactly those that the cues name.
pub(crate) fn dance(grid: Grid, cues: Vec<Cue>) -> Dance {
    let book = MoveBook::built_in();
    let mut ids: Vec<&MoveId> = cues.iter().filter_map(|cue| cue.movement.as_ref()).collect();
    ids.sort();
    ids.dedup();
    let moves = ids.into_iter().map(|id| book.get(id).expect("a move of the book").clone()).collect();
    Dance {
        schema: SCHEMA,
        title: "Goats".into(),
        recording: Source {
            path: "goats.flac".into(),
            identity: Identity { hash: "0".repeat(64), frames: 480_000, rate: 48_000 },
            title: None,
            performer: None,
            year: None,
            unknown: serde_json::Map::new(),
        },
        profile: Profile::default().into(),
        notes: String::new(),
        grid,
        anchors: vec![],
        moves,
        cues,
        prompts: vec![Prompt {
            at: Beat(4.0),
            question: "Faster?".into(),
            answer: "Yes".into(),
            pause: false,
            unknown: serde_json::Map::new(),
        }],
        silenced: vec![],
        unknown: serde_json::Map::new(),
    }
}

/// A small dance with a cue for every phrase, for sessions that are tried exhaustively.
pub(crate) fn small() -> Dance {
    let cue = |index: usize| {
        let id = MoveId(MOVES[index % MOVES.len()].into());
        Cue::new(Beat::from(1 + 8 * index), Counts(8.0), id)
    };
    dance(grid(25, 0.5, 1, 8), (0..3).map(cue).collect())
}

/// A dance as large as the largest that must feel instant.
pub(crate) fn large() -> Dance {
    let cue = |index: usize| Cue {
        why: Some("the music grows louder here".into()),
        ..Cue::new(Beat::from(3 * index), Counts(3.0), MoveId(MOVES[index % MOVES.len()].into()))
    };
    dance(grid(3_000, 0.5, 0, 8), (0..1_000).map(cue).collect())
}

prop_compose! {
    /// A dance in order, without overlaps, as all dances made with the count sheet are.
    pub(crate) fn any_dance()(
        pickup in 0..4usize,
        phrase in 5..12usize,
        spans in prop::collection::vec(
            (0..12u32, 1..40u32, 0..MOVES.len() + 1, prop::option::of("[a-z ]{1,8}"), any_side()), 0..10),
    ) -> Dance {
        let mut at = 0.0;
        let mut cues = Vec::new();
        for (gap, quarters, id, words, side) in spans {
            at += f64::from(gap) * 0.25;
            let counts = f64::from(quarters) * 0.25;
            let movement = MOVES.get(id).map(|id| MoveId((*id).into()));
            let words = if movement.is_none() { Some(words.unwrap_or_default()) } else { words };
            if at + counts <= 64.0 {
                cues.push(Cue { movement, words, side, ..Cue::new(Beat(at), Counts(counts), MoveId(String::new())) });
            }
            at += counts;
        }
        dance(grid(64, 0.5, pickup, phrase), cues)
    }
}

fn any_side() -> impl Strategy<Value = Option<Side>> {
    prop::option::of(prop_oneof![Just(Side::Left), Just(Side::Right)])
}

fn any_text() -> impl Strategy<Value = String> {
    prop_oneof!["[a-z ]{0,8}", "[\"\\\\\n\té\u{1F3B5}\u{2028}]{0,4}"]
}

/// Mostly quarters of a count inside the music; sometimes thirds, outside, or no number at all.
fn any_place() -> impl Strategy<Value = f64> {
    prop_oneof![
        8 => (0..260u32).prop_map(|quarters| f64::from(quarters) * 0.25),
        2 => (0..190u32).prop_map(|thirds| f64::from(thirds) / 3.0),
        1 => -20.0..200.0f64,
        1 => prop_oneof![Just(f64::NAN), Just(f64::INFINITY), Just(-0.0), Just(1e300)],
    ]
}

fn any_move() -> impl Strategy<Value = MoveId> {
    let known = prop::sample::select(MOVES).prop_map(|id| MoveId(id.into()));
    prop_oneof![9 => known, 1 => Just(MoveId("somersault-off-the-roof".into()))]
}

fn any_prompt() -> impl Strategy<Value = Prompt> {
    (any_place(), any_text(), any_text(), any::<bool>()).prop_map(|(at, question, answer, pause)| Prompt {
        at: Beat(at),
        question,
        answer,
        pause,
        unknown: serde_json::Map::new(),
    })
}

fn any_cue() -> impl Strategy<Value = Cue> {
    let lead = prop::option::of(prop_oneof![0.0..20.0f64, Just(-1.0)]);
    (any_place(), any_place(), prop::option::of(any_move()), prop::option::of(any_text()), any_side(), lead)
        .prop_map(|(at, counts, movement, words, side, lead)| Cue {
            movement,
            words,
            side,
            lead: lead.map(Counts),
            ..Cue::new(Beat(at), Counts(counts), MoveId(String::new()))
        })
}

fn any_grid() -> impl Strategy<Value = Command> {
    let follow = prop_oneof![Just(Follow::Counts), Just(Follow::Music), Just(Follow::Phrases)];
    let gap = prop_oneof![Just(0.25), Just(0.5), Just(1.0), 0.2..1.2f64];
    let gesture = prop::option::of(0..2usize);
    (2..140usize, gap, 0..4usize, 3..12usize, 0.0..30.0f64, follow, gesture).prop_map(
        |(beats, gap, pickup, phrase, tap, follow, gesture)| Command::SetGrid {
            grid: grid(beats, gap, pickup, phrase),
            anchors: vec![Anchor::Tap { at: Seconds(tap) }],
            follow,
            label: "correct the beats".into(),
            gesture,
        },
    )
}

/// Anything a teacher may ask for, possible or not.
pub(crate) fn any_command() -> impl Strategy<Value = Command> {
    let over = || prop_oneof![3 => Just(Over::Erase)];
    let cue = || 0..11usize;
    let phrase = || 0..9usize;
    let place = || any_place().prop_map(Beat);
    let lead = prop::option::of(any_place().prop_map(Counts));
    prop_oneof![
        4 => (any_cue(), over()).prop_map(|(cue, over)| Command::AddCue { cue, over }),
        1 => cue().prop_map(|cue| Command::RemoveCue { cue }),
        2 => (place(), place()).prop_map(|(from, to)| Command::Erase { from, to }),
        4 => (cue(), place(), over()).prop_map(|(cue, to, over)| Command::MoveCue { cue, to, over }),
        3 => (cue(), any_place(), over())
            .prop_map(|(cue, counts, over)| Command::StretchCue { cue, counts: Counts(counts), over }),
        2 => (cue(), place()).prop_map(|(cue, at)| Command::SplitCue { cue, at }),
        2 => cue().prop_map(|cue| Command::JoinCue { cue }),
        2 => (cue(), prop::option::of(any_move())).prop_map(|(cue, to)| Command::ChangeMove { cue, to }),
        2 => (cue(), prop::option::of(any_text())).prop_map(|(cue, words)| Command::SetWords { cue, words }),
        1 => (cue(), any_side()).prop_map(|(cue, side)| Command::SetSide { cue, side }),
        1 => (cue(), lead).prop_map(|(cue, lead)| Command::SetLead { cue, lead }),
        1 => (cue(), prop::option::of(any_text())).prop_map(|(cue, why)| Command::SetWhy { cue, why }),
        2 => (any_move(), any_move()).prop_map(|(from, to)| Command::ReplaceMove { from, to }),
        3 => (phrase(), prop::collection::vec(phrase(), 0..4), any::<bool>())
            .prop_map(|(phrase, into, mirror)| Command::RepeatPhrase { phrase, into, mirror }),
        1 => (place(), place()).prop_map(|(from, to)| Command::Mirror { from, to }),
        3 => (place(), place(), place(), any_place()).prop_map(|(from, to, at, room)| {
            Stretch::between(&small(), from, to)
                .map_or(Command::Erase { from, to }, |stretch| Command::PutDown { stretch, at, room: Counts(room) })
        }),
        1 => any_prompt().prop_map(|prompt| Command::AddPrompt { prompt }),
        1 => (0..3usize).prop_map(|prompt| Command::RemovePrompt { prompt }),
        1 => (0..3usize, any_prompt()).prop_map(|(prompt, to)| Command::ChangePrompt { prompt, to }),
        1 => ("[a-c]", prop::option::of(place()), any_text())
            .prop_filter("a finding is at a place", |(_, at, _)| at.is_none_or(|at| at.0.is_finite()))
            .prop_map(|(rule, at, reason)| Command::Silence { finding: Silenced { rule, at, reason, unknown: serde_json::Map::new() } }),
        1 => (0..3usize).prop_map(|finding| Command::Unsilence { finding }),
        1 => any_text().prop_map(Command::SetTitle),
        1 => any_text().prop_map(Command::SetNotes),
        1 => (0..110u8, any_place())
            .prop_map(|(age, distance)| Command::SetProfile(Profile { age, distance })),
        2 => any_grid(),
    ]
}
