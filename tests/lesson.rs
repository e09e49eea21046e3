//! A dance at a glance, and a lesson added up.

#[path = "support/heard.rs"]
mod heard;

use farandole::check::check;
use farandole::dance::{Dance, MoveBook, Need, Profile, Source, StepKind, draft, new_dance};
use farandole::identity::Identity;
use farandole::lesson::{Glance, Item, Part, Programme, ProgrammeError, Remark, Sum};
use farandole::listening::{Listening, TurnKind};
use farandole::units::{Beat, Counts, Seconds};
use heard::{heard, phrase, turn};
use proptest::prelude::*;

/// A piece that grows, and a dance for it.
fn growing() -> (Dance, Listening) {
    let listening = heard(
        0,
        &[phrase("A", 16, 96.0, 2), phrase("A'", 16, 96.0, 3), phrase("B", 16, 132.0, 4)],
        &[
            turn(TurnKind::Crescendo, 8.0, 16.0),
            turn(TurnKind::SuddenlyFaster, 32.0, 32.0),
            turn(TurnKind::Crescendo, 40.0, 44.0),
        ],
    );
    let drafted = draft(&listening, &MoveBook::built_in(), &Profile::default()).expect("there are beats");
    let source = Source {
        path: "growing.ogg".into(),
        identity: Identity { hash: "0".repeat(64), frames: (listening.length.0 * 1000.0) as u64, rate: 1000 },
        title: None,
        performer: Some("A school band".into()),
        year: None,
        unknown: serde_json::Map::new(),
    };
    (new_dance("Growing", source, Profile::default(), &listening, drafted), listening)
}

fn seen(dance: &Dance, listening: Option<&Listening>) -> Glance {
    Glance::of(dance, listening, &check(dance, listening), &MoveBook::built_in())
}

#[test]
fn a_glance_tells_what_was_heard_what_is_danced_and_how_the_check_stands() {
    let (dance, listening) = growing();
    let glance = seen(&dance, Some(&listening));
    assert_eq!(glance.turns, [TurnKind::Crescendo, TurnKind::SuddenlyFaster]);
    assert_eq!(glance.teaches(), "crescendo, sudden quickening");
    assert_eq!(glance.form, "A A' B");
    assert_eq!(glance.pace(), "Andante to Allegro");
    // Count by count: what the move there asks.
    let asked = |count: usize| {
        let here = Beat(count as f64 + 0.5);
        let cue = dance.cues.iter().find(|cue| cue.at <= here && here < cue.end());
        cue.and_then(|cue| dance.move_of(cue)).map(|entry| f64::from(entry.energy.level()))
    };
    let mean = |phrase: usize| {
        let here: Vec<f64> = (16 * phrase..16 * phrase + 16).filter_map(asked).collect();
        (here.iter().sum::<f64>() / here.len() as f64).round() as u8
    };
    assert_eq!(glance.energy, (0..3).map(mean).collect::<Vec<_>>());
    let report = check(&dance, Some(&listening));
    assert_eq!(glance.met, (report.turns_met, report.turns));
    assert!(glance.not_gentle.is_empty(), "the built-in moves have theirs");
    for words in ["growing", "cresc quick", "band", "allegro", "andante", "louder faster"] {
        assert!(glance.answers_to(words), "{words}");
    }
    for words in ["row", "diminuendo", "presto", "growing diminuendo"] {
        assert!(!glance.answers_to(words), "{words}");
    }
}

#[test]
fn without_the_recording_nothing_is_said_of_its_sound() {
    let (dance, listening) = growing();
    let glance = seen(&dance, None);
    assert_eq!((glance.turns.len(), glance.dynamics, glance.heights.len()), (0, None, 0));
    assert_eq!(glance.standing(), "not heard yet");
    assert_eq!(glance.pace(), seen(&dance, Some(&listening)).pace(), "the counts are the dance's own");
}

#[test]
fn gentle_versions_needs_and_jumping_are_seen() {
    let (mut dance, listening) = growing();
    let book = MoveBook::built_in();
    let scarf =
        book.entries().iter().find(|entry| entry.needs.contains(&Need::Scarf)).expect("the book has one");
    let jump =
        book.entries().iter().find(|entry| entry.movement.step == StepKind::Jump).expect("the book has one");
    dance.moves = vec![scarf.movement.clone(), jump.movement.clone()];
    dance.moves[1].seated.how = " ".into();
    dance.cues.truncate(3);
    for (index, (cue, id)) in
        dance.cues.iter_mut().zip([&jump.movement, &scarf.movement, &jump.movement]).enumerate()
    {
        (cue.movement, cue.words) = (Some(id.id.clone()), None);
        (cue.at, cue.counts) = (Beat(16.0 * index as f64), Counts(8.0));
    }
    let glance = seen(&dance, Some(&listening));
    assert_eq!(glance.needs, [Need::Scarf]);
    assert_eq!(glance.not_gentle, std::slice::from_ref(&jump.movement.words));
    assert_eq!(glance.ends, Some((StepKind::Jump, StepKind::Jump)));
    let grid = &dance.grid;
    let lasts = |from: f64| grid.seconds_at(Beat(from + 8.0)).0 - grid.seconds_at(Beat(from)).0;
    assert!((glance.jumping.0 - lasts(0.0) - lasts(32.0)).abs() < 1e-9);
    // Between the two bouts there is more rest than jumping.
    assert!((glance.longest_jumping.0 - lasts(0.0)).abs() < 1e-9);
    assert!(glance.answers_to("scarf jumping") && !glance.answers_to("gentle"));
}

fn items(text: &str) -> Vec<(f64, Option<String>, String)> {
    let programme = Programme::read(text).unwrap_or_else(|error| panic!("{text}: {error}"));
    programme.items.into_iter().map(|item| (item.minutes, item.dance, item.note)).collect()
}

#[test]
fn a_lesson_is_read_as_teachers_write_it() {
    let text = "\u{feff}Title: Year 2, week 5\r\n# for me\r\n\r\n5 shake hands\r\n10 boat.dance.json sit first\r\n2,5 min my boat.dance.json - twice\r\n12' \"songs/a b.json\" with the band\r\n3\r\n";
    assert_eq!(Programme::read(text).expect("a lesson").title, "Year 2, week 5");
    let named = |name: &str| Some(name.to_owned());
    assert_eq!(
        items(text),
        [
            (5.0, None, "shake hands".to_owned()),
            (10.0, named("boat.dance.json"), "sit first".into()),
            (2.5, named("my boat.dance.json"), "twice".into()),
            (12.0, named("songs/a b.json"), "with the band".into()),
            (3.0, None, String::new()),
        ]
    );
    let json = r#"{"schema": 1, "title": "T", "items": [{"minutes": 5, "note": "talk"}, {"minutes": 4.5, "dance": "a.dance.json"}]}"#;
    assert_eq!(items(json), [(5.0, None, "talk".to_owned()), (4.5, named("a.dance.json"), String::new())]);
}

#[test]
fn what_is_no_lesson_is_told_apart() {
    let refused = |text: &str| Programme::read(text).expect_err(text);
    assert_eq!(refused("# nothing\n\n"), ProgrammeError::Empty);
    assert_eq!(
        refused("title: x\n\nboat.dance.json 5\n"),
        ProgrammeError::NoMinutes { line: 3, text: "boat.dance.json 5".into() }
    );
    assert_eq!(
        refused("0 boat.dance.json"),
        ProgrammeError::Minutes { place: "line 1".into(), minutes: 0.0 }
    );
    assert_eq!(refused("5 \"boat"), ProgrammeError::Quotes { line: 1 });
    assert_eq!(refused(&"5 rest\n".repeat(101)), ProgrammeError::TooMany { items: 101 });
    assert!(matches!(refused("{\n\"schema\": 1,\n\"itms\": []}"), ProgrammeError::Json { line: 3, .. }));
    assert!(matches!(refused(r#"{"schema": 2, "items": []}"#), ProgrammeError::Json { line: 1, .. }));
    assert_eq!(
        refused(r#"{"schema": 1, "items": [{"minutes": 1e9}]}"#),
        ProgrammeError::Minutes { place: "item 1".into(), minutes: 1e9 }
    );
}

fn part(minutes: f64) -> Item {
    Item { minutes, dance: Some("x.dance.json".into()), note: String::new() }
}

/// A dance at a glance with this energy, beginning and ending with these steps.
fn like(title: &str, energy: &[u8], ends: (StepKind, StepKind)) -> Glance {
    let (dance, listening) = growing();
    Glance {
        title: title.into(),
        length: Seconds(90.0),
        energy: energy.to_vec(),
        ends: Some(ends),
        findings: (0, 0, 0),
        not_gentle: Vec::new(),
        cautions: Vec::new(),
        ..seen(&dance, Some(&listening))
    }
}

#[test]
fn a_lesson_without_a_flaw_has_no_remarks_and_adds_up() {
    use StepKind::{Run, Walk};
    let (calm, wild) = (like("calm", &[2, 3, 2], (Walk, Walk)), like("wild", &[3, 5, 3], (Walk, Run)));
    let (talk, five) = (Item { minutes: 3.0, dance: None, note: "talk".into() }, part(5.0));
    let parts = [
        Part { item: &five, glance: Some(&calm) },
        Part { item: &talk, glance: None },
        Part { item: &five, glance: Some(&wild) },
        Part { item: &five, glance: Some(&calm) },
    ];
    let sum = Sum::of(&parts);
    assert_eq!(sum.remarks, []);
    assert_eq!((sum.minutes, sum.dances, sum.music), (18.0, 3, Seconds(270.0)));
    assert_eq!(Sum::arc(&parts), ["calm, steady, calm", "steady, wild, steady", "calm, steady, calm"]);
}

#[test]
fn every_remark_is_made_where_it_is_due_and_only_there() {
    use StepKind::{Jump, Run, Walk};
    let calm = like("calm", &[2, 2], (Walk, Walk));
    let runs = like("runs", &[4, 4], (Run, Jump));
    let gap = Item { minutes: 2.0, dance: None, note: String::new() };
    let five = part(5.0);
    let of = |parts: &[(&Item, Option<&Glance>)]| -> Vec<Remark> {
        let parts: Vec<Part<'_>> = parts.iter().map(|&(item, glance)| Part { item, glance }).collect();
        Sum::of(&parts).remarks
    };
    let title = || "runs".to_owned();
    assert_eq!(
        of(&[(&five, Some(&runs)), (&five, Some(&calm))]),
        [Remark::ColdStart { item: 0, title: title() }]
    );
    assert_eq!(of(&[(&gap, None), (&five, Some(&runs)), (&gap, None)]), []);
    assert_eq!(
        of(&[(&five, Some(&calm)), (&five, Some(&runs))]),
        [Remark::LivelyEnd { item: 1, title: title() }]
    );
    assert_eq!(
        of(&[(&gap, None), (&five, Some(&runs)), (&five, Some(&runs)), (&gap, None)]),
        [Remark::NoRest { item: 2, titles: (title(), title()) }]
    );
    assert_eq!(
        of(&[(&gap, None), (&five, Some(&runs)), (&gap, None), (&five, Some(&runs)), (&gap, None)]),
        []
    );
    let one = part(1.0);
    assert_eq!(
        of(&[(&one, Some(&calm))]),
        [Remark::Longer { item: 0, title: "calm".into(), music: Seconds(90.0), minutes: 1.0 }]
    );
    let poor = Glance { heard: false, findings: (2, 0, 0), not_gentle: vec!["hop".into()], ..calm.clone() };
    assert_eq!(
        of(&[(&five, Some(&poor)), (&five, Some(&poor))]),
        [
            Remark::NotHeard { item: 0, title: "calm".into() },
            Remark::ToMend { item: 0, title: "calm".into(), problems: 2 },
            Remark::NotGentle { item: 0, title: "calm".into(), moves: vec!["hop".into()] },
        ],
        "once, however often it is danced"
    );
}

proptest! {
    #[test]
    fn no_text_makes_reading_a_lesson_fall_over(text in "\\PC{0,80}", lines in prop::collection::vec("[0-9.,' a-z\"]{0,20}(\\.dance\\.json)?.{0,6}", 0..6)) {
        let _ = Programme::read(&text);
        let _ = Programme::read(&lines.join("\n"));
    }
}
