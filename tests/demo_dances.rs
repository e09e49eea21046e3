//! The demo recordings as a teacher meets them: what is heard in them is drafted well, and the finished dances are
//! valid, in time with the truth, and leave the check nothing to say.

#[path = "support/metrics.rs"]
mod metrics;

use farandole::check::{Severity, check};
use farandole::dance::file::{from_json, to_json};
use farandole::dance::{
    Cue, Dance, Draft, Move, MoveBook, Profile, Side, Source, StepKind, draft, new_dance,
};
use farandole::identity::Identity;
use farandole::listening::{Listening, Pulse, Turn, TurnKind, listen};
use farandole::recording::decode;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;

const NAMES: [&str; 4] = ["cat-on-the-stairs", "evening-boat", "goats-on-the-wall", "march-and-farandole"];

/// One demo recording, decoded and heard once for all tests.
struct Demo {
    name: &'static str,
    identity: Identity,
    heard: Listening,
}

static DEMOS: LazyLock<Vec<Demo>> = LazyLock::new(|| NAMES.map(hear).into());

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn asset(name: &str, kind: &str) -> PathBuf {
    root().join(format!("assets/demo/{name}.{kind}"))
}

fn hear(name: &'static str) -> Demo {
    let recording =
        decode(&asset(name, "ogg"), &mut |_| ()).unwrap_or_else(|error| panic!("{name}: {error}"));
    let on = &mut |_| ControlFlow::Continue(());
    let heard =
        listen(&recording.samples, recording.channels, recording.rate, &[], on).expect("heard to the end");
    Demo { name, identity: recording.identity, heard }
}

fn text(name: &str) -> String {
    fs::read_to_string(asset(name, "dance.json")).unwrap_or_else(|error| panic!("{name}: {error}"))
}

fn finished(name: &str) -> Dance {
    let opened = from_json(&text(name)).unwrap_or_else(|error| panic!("{name}: {error}"));
    assert!(opened.notes.is_empty() && opened.read_only.is_none(), "{name}: {:?}", opened.notes);
    opened.dance
}

fn json(path: &Path) -> Value {
    let text = fs::read_to_string(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    serde_json::from_str(&text).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

// The finished dances.

#[test]
fn finished_dances_validate_and_stand_as_the_program_writes_them() {
    let schema = json(&root().join("docs/dance.schema.json"));
    let validator = jsonschema::draft202012::new(&schema).expect("the schema compiles");
    for name in NAMES {
        let tree = json(&asset(name, "dance.json"));
        if let Err(error) = validator.validate(&tree) {
            panic!("{name}: {error} at {}", error.instance_path());
        }
        assert!(to_json(&finished(name)) == text(name), "{name} is not laid out as it would be saved");
    }
}

#[test]
fn finished_dances_know_their_recordings() {
    for demo in DEMOS.iter() {
        let recording = finished(demo.name).recording;
        assert_eq!(recording.identity, demo.identity, "{}", demo.name);
        assert_eq!(recording.path, format!("{}.ogg", demo.name));
    }
}

/// F-measure within 70 ms, nothing trimmed; measured 1.0 or, where a bar is counted on to its end, 0.984 and 0.986.
#[test]
fn finished_dances_count_the_beats_and_phrases_of_the_score() {
    for name in NAMES {
        let dance = finished(name);
        let truth = json(&root().join(format!("tests/data/demo/{name}.truth.json")));
        let times = |field: &Value| -> Vec<f64> {
            field.as_array().expect("a list").iter().map(|time| time.as_f64().expect("a time")).collect()
        };
        let beats: Vec<f64> = dance.grid.beats().iter().map(|beat| beat.0).collect();
        let bars: Vec<f64> = dance.grid.bars().iter().map(|&bar| beats[bar]).collect();
        let phrases: Vec<f64> = dance.grid.phrases().iter().map(|phrase| beats[phrase.start]).collect();
        let starts: Vec<f64> = truth["phrases"]
            .as_array()
            .expect("a list")
            .iter()
            .map(|phrase| phrase["start_s"].as_f64().expect("a time"))
            .collect();
        for (what, truth, ours, least) in [
            ("beats", times(&truth["beats"]), &beats, 0.97),
            ("bars", times(&truth["downbeats"]), &bars, 0.95),
            ("phrases", starts, &phrases, 1.0),
        ] {
            let f = metrics::f_measure(&truth, ours, 0.07);
            assert!(f >= least, "{name}: F-measure of {what} is {f:.4}");
        }
    }
}

#[test]
fn the_check_finds_nothing_in_the_finished_dances() {
    for demo in DEMOS.iter() {
        let dance = finished(demo.name);
        assert_eq!(dance.profile.age, 7, "{}", demo.name);
        let report = check(&dance, Some(&demo.heard));
        assert!(report.findings.is_empty(), "{}: {:#?}", demo.name, report.findings);
        assert!(dance.silenced.iter().all(|silenced| silenced.reason.len() > 20), "{}", demo.name);
    }
}

#[test]
fn finished_dances_teach_and_adapt() {
    for name in NAMES {
        let dance = finished(name);
        assert!((1..=4).contains(&dance.prompts.len()), "{name}");
        assert!(
            dance.prompts.iter().all(|prompt| prompt.question.ends_with('?') && !prompt.answer.is_empty())
        );
        assert!(!dance.notes.is_empty(), "{name} says nothing to the teacher");
        let used: BTreeSet<_> = dance.cues.iter().filter_map(|cue| cue.movement.clone()).collect();
        let held: BTreeSet<_> = dance.moves.iter().map(|entry| entry.id.clone()).collect();
        assert_eq!(used, held, "{name} holds other moves than it uses");
        assert!(dance.cues.iter().all(|cue| cue.why.is_some()), "{name} has a cue that does not say why");
    }
}

/// The class stands still from the silent bar's first beat, when the last chord has died away, until the tiptoe.
#[test]
fn the_farandole_freezes_in_the_silence() {
    let dance = finished("march-and-farandole");
    let truth = json(&root().join("tests/data/demo/march-and-farandole.truth.json"));
    let silence = &truth["phrases"][5];
    assert_eq!(silence["letter"], "-");
    let (start, end) =
        (silence["start_s"].as_f64().expect("a time"), silence["end_s"].as_f64().expect("a time"));
    let freeze = dance
        .cues
        .iter()
        .find(|cue| dance.move_of(cue).is_some_and(|entry| entry.id.0 == "freeze"))
        .expect("a freeze");
    let (from, to) = (dance.grid.seconds_at(freeze.at).0, dance.grid.seconds_at(freeze.end()).0);
    assert!(
        (from - start).abs() < 0.07 && (to - end).abs() < 0.07,
        "{from} to {to}, silence {start} to {end}"
    );
}

// Drafts of what is heard in them.

fn drafted(demo: &Demo, age: u8) -> Draft {
    let profile = Profile { age, ..Profile::default() };
    draft(&demo.heard, &MoveBook::built_in(), &profile)
        .unwrap_or_else(|error| panic!("{}: {error}", demo.name))
}

fn dance_of(demo: &Demo, age: u8) -> Dance {
    let source = Source { identity: demo.identity.clone(), ..finished(demo.name).recording };
    new_dance(demo.name, source, Profile { age, ..Profile::default() }, &demo.heard, drafted(demo, age))
}

fn move_of<'a>(draft: &'a Draft, cue: &Cue) -> &'a Move {
    let id = cue.movement.as_ref().expect("drafts name moves");
    draft.moves.iter().find(|entry| entry.id == *id).expect("every move is copied")
}

/// Where the listening is known to be wrong, in counts: the held note is counted through, which bends the beats around
/// it, and no draft can be better than what was heard.
const MISHEARD: (&str, std::ops::Range<f64>) = ("evening-boat", 13.0..19.0);

/// Turns that follow one another too closely for a cue each, a phrase under a freeze, a beat that nobody can hear
/// because everyone is silent, and what comes of a doubtful beat: that is all that may be left.
#[test]
fn drafts_leave_the_check_only_what_is_too_close_together() {
    for demo in DEMOS.iter() {
        for age in [7, 8, 10] {
            let mut report = check(&dance_of(demo, age), Some(&demo.heard));
            report.findings.retain(|finding| {
                demo.name != MISHEARD.0 || !finding.at.is_some_and(|at| MISHEARD.1.contains(&at.0))
            });
            assert!(
                report.worst() < Some(Severity::Problem),
                "{} at {age}: {:#?}",
                demo.name,
                report.findings
            );
            let close = ["turn-missed", "turn-nearly-met", "phrase-unmarked", "grid-unsure"];
            // Where the beat is doubtful that is said too, and a rest may lie between the counts.
            let doubtful = ["no-clear-beat", "freeze-off-rest"];
            let unsure = demo.heard.pulse == Pulse::Unsure;
            let left = |rule| close.contains(&rule) || unsure && doubtful.contains(&rule);
            assert!(
                report.findings.iter().all(|finding| left(finding.rule)),
                "{} at {age}: {:#?}",
                demo.name,
                report.findings
            );
            assert!(report.findings.len() <= 3, "{} at {age}: {:#?}", demo.name, report.findings);
            if demo.name != MISHEARD.0 {
                assert!(3 * report.turns_met >= 2 * report.turns, "{}: {} met", demo.name, report.turns_met);
            }
        }
    }
}

/// Phrases that were given the same letter have the same first move, unless it had gone on for a whole tune or the
/// tempo is another.
#[test]
fn what_sounds_alike_in_the_recordings_is_danced_alike() {
    let mut compared = 0;
    for demo in DEMOS.iter() {
        let draft = drafted(demo, 7);
        let mut first: BTreeMap<&str, (&Cue, f64)> = BTreeMap::new();
        let mut in_a_row = ("", 0.0);
        for (phrase, character) in demo.heard.grid.phrases().iter().zip(&demo.heard.phrases) {
            let Some(cue) = draft.cues.iter().find(|cue| cue.at.index() == phrase.start) else { continue };
            if move_of(&draft, cue).step == StepKind::Freeze {
                continue;
            }
            // A prime is the same tune with a small change.
            let tune = phrase.letter.trim_end_matches('\'');
            let before = if in_a_row.0 == tune { in_a_row.1 } else { 0.0 };
            in_a_row = (tune, before + demo.heard.grid.phrase_at(cue.at).expect("in one").counts().0);
            if in_a_row.1 > 64.0 {
                continue;
            }
            let (like, bpm) = first.entry(&phrase.letter).or_insert((cue, character.bpm.0));
            if like.at != cue.at && (*bpm / character.bpm.0 - 1.0).abs() < 0.05 {
                compared += 1;
                assert_eq!(like.movement, cue.movement, "{}: {}", demo.name, phrase.letter);
            }
        }
    }
    assert!(compared >= 3, "only {compared} phrases return");
}

#[test]
fn every_rest_that_leaves_room_is_frozen_in_from_its_first_count() {
    let mut rests = 0;
    for demo in DEMOS.iter() {
        let draft = drafted(demo, 7);
        let still = |cue: &&Cue| move_of(&draft, cue).step == StepKind::Freeze;
        let frozen: Vec<&Cue> = draft.cues.iter().filter(still).collect();
        let counted = demo.heard.grid.len() as f64;
        let inside = |turn: &&Turn| turn.kind == TurnKind::Rest && turn.start_beat.0.round() < counted;
        for turn in demo.heard.turns.iter().filter(inside) {
            // A rest inside a freeze is kept already; one at the end belongs to the last pose.
            let covered = frozen.iter().any(|cue| {
                let begins = (cue.at.0 - turn.start_beat.0).abs() <= 0.75;
                begins || (cue.at.0 <= turn.start_beat.0 && turn.start_beat.0 < cue.end().0)
            });
            assert!(covered, "{}: rest at {}", demo.name, turn.start);
            rests += 1;
        }
    }
    assert!(rests >= 2, "only {rests} rests were heard");
}

#[test]
fn drafts_keep_to_what_a_class_can_learn_and_go_to_both_sides() {
    for demo in DEMOS.iter() {
        for (age, most) in [(6, 6), (7, 8), (8, 8), (10, 12)] {
            let draft = drafted(demo, age);
            assert!(draft.moves.len() <= most, "{} at {age}: {} moves", demo.name, draft.moves.len());
            for entry in draft.moves.iter().filter(|entry| entry.one_sided) {
                let uses = || draft.cues.iter().filter(|cue| cue.movement.as_ref() == Some(&entry.id));
                let to = |side: Side| -> f64 {
                    uses().filter(|cue| cue.side == Some(side)).map(|cue| cue.counts.0).sum()
                };
                assert!((to(Side::Left) - to(Side::Right)).abs() <= 8.0, "{}: {}", demo.name, entry.id.0);
            }
        }
    }
}

/// The second tune of the march is marched to, the tiptoe part is soft, and the end is lively.
#[test]
fn the_drafted_farandole_follows_its_music() {
    let demo = DEMOS.iter().find(|demo| demo.name == "march-and-farandole").expect("one of the four");
    let draft = drafted(demo, 7);
    let energy_at = |seconds: f64| {
        let beat = demo.heard.grid.beat_at(farandole::units::Seconds(seconds));
        let cue = draft.cues.iter().find(|cue| cue.at.0 <= beat.0 && beat.0 < cue.end().0).expect("danced");
        (move_of(&draft, cue).energy.level(), move_of(&draft, cue).id.0.clone())
    };
    // The two tunes of the march are told apart, so each has a move of its own.
    assert_eq!([energy_at(10.0).1, energy_at(20.0).1], ["follow"; 2]);
    assert_eq!(energy_at(30.0).1, "march");
    assert_eq!(energy_at(44.5).1, "freeze");
    let (soft, loud) = (energy_at(48.0).0, energy_at(84.0).0);
    assert!(soft <= 2 && loud >= 4, "{soft} and {loud}");
}
