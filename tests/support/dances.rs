//! Dances made in the test: one small one that uses every field, and many at random.

#![allow(dead_code, reason = "every test binary uses its own share of these")]

use farandole::dance::{
    Cue, Dance, Energy, GentleVersion, Kept, Move, MoveId, Profile, Prompt, SCHEMA, Side, Silenced, Source,
    StepKind, StepRate,
};
use farandole::grid::{Anchor, Grid, Level, Phrase};
use farandole::identity::Identity;
use farandole::listening::Articulation;
use farandole::units::{Beat, Bpm, Counts, Seconds};
use proptest::prelude::*;
use serde_json::{Map, Value, json};

/// A move with every field filled.
pub(crate) fn a_move(id: &str) -> Move {
    let gentle = |words: &str| GentleVersion {
        words: words.into(),
        how: format!("{words}, gently."),
        unknown: stray("picture", json!("march.png")),
    };
    Move {
        id: MoveId(id.into()),
        words: "march tall".into(),
        how: "Knees up, arms swinging.".into(),
        sign: "▲".into(),
        counts: Counts(8.0),
        energy: Energy::new(3).expect("in range"),
        step: StepKind::March,
        steps_per_count: 1.0,
        tempo: Kept {
            known: StepRate { slowest: Bpm(100.0), fastest: Bpm(126.0) },
            unknown: stray("best", json!(112.123456789)),
        },
        suits: vec![Articulation::Staccato, Articulation::Detached],
        one_sided: true,
        seated: gentle("march sitting"),
        low_impact: gentle("march low"),
        caution: Some("Keep an arm's length apart.".into()),
        unknown: stray("muscles", json!(["calf", null, 2.0])),
    }
}

/// One field that the program does not know.
fn stray(key: &str, value: Value) -> Map<String, Value> {
    Map::from_iter([(key.to_owned(), value)])
}

/// A dance in which every field of the form is used.
pub(crate) fn full() -> Dance {
    let beats = (0..20).map(|index| Seconds(0.25 + 0.5 * f64::from(index))).collect();
    let phrases = vec![Phrase { start: 1, letter: "A".into() }, Phrase { start: 9, letter: "A'".into() }];
    let march = MoveId("march".into());
    Dance {
        schema: SCHEMA,
        title: "Cold morning \"march\"".into(),
        recording: Source {
            path: "music/märz 1.flac".into(),
            identity: Identity { hash: "0123456789abcdef".repeat(4), frames: 504_000, rate: 48_000 },
            title: Some("March".into()),
            performer: Some("A village band".into()),
            year: Some(1911),
            unknown: stray("shelfmark", json!("M 1911.12")),
        },
        profile: Kept { known: Profile { age: 7, distance: 4.5 }, unknown: stray("pupils", json!(28)) },
        notes: "Scarves are in the\nblue box.".into(),
        grid: Grid::new(beats, vec![1, 5, 9, 13, 17], phrases).expect("valid"),
        anchors: vec![
            Anchor::Tap { at: Seconds(1.256_78) },
            Anchor::CountOne { at: Seconds(0.75) },
            Anchor::Level { from: Seconds(0.0), level: Level::Double },
            Anchor::ShiftHalf { from: Seconds(2.0) },
            Anchor::Metre { from: Seconds(0.0), beats: 4 },
            Anchor::Beat { at: Seconds(1.25) },
            Anchor::BarStart { at: Seconds(2.75) },
            Anchor::PhraseLength { from: Seconds(0.75), counts: 8 },
            Anchor::Hold { at: Seconds(4.25), until: Seconds(4.75) },
        ],
        moves: vec![a_move("march")],
        cues: vec![
            Cue {
                side: Some(Side::Left),
                lead: Some(Counts(4.0)),
                why: Some("the phrase is firm".into()),
                ..Cue::new(Beat(1.0), Counts(8.0), march.clone())
            },
            Cue {
                words: Some("swap places".into()),
                movement: None,
                unknown: Map::from_iter([("colour".to_owned(), json!({"hue": 210.0, "of": [1, null]}))]),
                ..Cue::new(Beat(9.0 + 1.0 / 3.0), Counts(8.0), march)
            },
        ],
        prompts: vec![Prompt {
            at: Beat(9.0),
            question: "What changed?".into(),
            answer: "It grew.".into(),
            pause: true,
            unknown: stray("shown-as", json!("card")),
        }],
        silenced: vec![Silenced {
            rule: "off-grid".into(),
            at: Some(Beat(9.333)),
            reason: "meant so".into(),
            unknown: stray("by", json!({"name": "I", "share": 0.123456789})),
        }],
        unknown: Map::from_iter([("lesson".to_owned(), json!({"week": 3, "weight": 0.123456789}))]),
    }
}

/// Any text, with the characters that trouble writers of JSON well represented.
fn any_text() -> impl Strategy<Value = String> {
    prop_oneof!["[a-z ]{0,12}", "\\PC{0,8}", "[\"\\\\\n\t/{}:,é\u{1F3B5}\u{2028}]{0,6}"]
}

fn any_unknown() -> impl Strategy<Value = Map<String, Value>> {
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        any::<i64>().prop_map(Value::from),
        any::<f64>().prop_filter("JSON has finite numbers only", |x| x.is_finite()).prop_map(Value::from),
        any_text().prop_map(Value::from),
    ];
    let tree = leaf.prop_recursive(2, 8, 3, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..3).prop_map(Value::from),
            prop::collection::btree_map(any_text(), inner, 0..3)
                .prop_map(|map| Value::Object(map.into_iter().collect())),
        ]
    });
    prop::collection::btree_map("x-[a-z]{1,5}", tree, 0..3).prop_map(|map| map.into_iter().collect())
}

prop_compose! {
    fn any_cue()(
        at in -4.0..300.0f64,
        counts in 0.0..64.0f64,
        id in prop::option::of("[a-z]{1,8}"),
        words in prop::option::of(any_text()),
        side in prop::option::of(prop_oneof![Just(Side::Left), Just(Side::Right)]),
        lead in prop::option::of(0.0..32.0f64),
        why in prop::option::of(any_text()),
        unknown in any_unknown(),
    ) -> Cue {
        Cue {
            at: Beat(at),
            counts: Counts(counts),
            movement: id.map(MoveId),
            words,
            side,
            lead: lead.map(Counts),
            why,
            unknown,
        }
    }
}

prop_compose! {
    fn any_grid()(
        first in 0.0..20.0f64,
        gaps in prop::collection::vec(0.1..3.0f64, 0..40),
        bar in 1..6usize,
        letters in prop::collection::vec("[A-C]'?", 4),
    ) -> Grid {
        let mut at = first;
        let beats: Vec<Seconds> = gaps.iter().map(|gap| { at += gap; Seconds(at) }).collect();
        let bars = (0..beats.len()).step_by(bar).collect();
        let phrases = letters
            .into_iter()
            .zip((0..beats.len()).step_by(bar * 4))
            .map(|(letter, start)| Phrase { start, letter })
            .collect();
        Grid::new(beats, bars, phrases).expect("ascending by construction")
    }
}

prop_compose! {
    /// Any dance that the program could hold, its parts in no order.
    pub(crate) fn any_dance()(
        title in any_text(),
        path in "[a-z]{1,6}(/[a-z ]{1,6}){0,2}\\.flac",
        notes in any_text(),
        age in 3..=99u8,
        distance in 0.5..30.0f64,
        grid in any_grid(),
        taps in prop::collection::vec(0.0..300.0f64, 0..4),
        ids in prop::collection::btree_set("[a-z]{1,4}(-[a-z]{1,4})?", 0..4),
        cues in prop::collection::vec(any_cue(), 0..12),
        asked in prop::collection::vec((0.0..300.0f64, any_text(), any_text(), any::<bool>()), 0..4),
        unknown in any_unknown(),
        mut others in prop::collection::vec(any_unknown(), 8),
    ) -> Dance {
        Dance {
            title,
            recording: Source { path, unknown: others.pop().unwrap_or_default(), ..full().recording },
            notes,
            profile: Kept { known: Profile { age, distance }, unknown: others.pop().unwrap_or_default() },
            grid,
            anchors: taps.into_iter().map(|at| Anchor::Tap { at: Seconds(at) }).collect(),
            moves: ids.iter().rev().map(|id| a_move(id)).collect(),
            cues,
            prompts: asked
                .into_iter()
                .map(|(at, question, answer, pause)| Prompt {
                    at: Beat(at),
                    question,
                    answer,
                    pause,
                    unknown: others.pop().unwrap_or_default(),
                })
                .collect(),
            unknown,
            ..full()
        }
    }
}
