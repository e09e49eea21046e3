//! The dance file: what is written can be read, compared and validated; what is damaged is told in one sentence.

#[path = "support/dances.rs"]
mod dances;

use dances::{any_dance, full};
use farandole::dance::file::{DanceFileError, canonical, from_json, to_json};
use farandole::dance::{Cue, MoveId};
use farandole::units::{Beat, Counts};
use jsonschema::Validator;
use proptest::prelude::*;
use serde_json::{Value, json};

const SCHEMA_TEXT: &str = include_str!("../docs/dance.schema.json");

fn validator() -> Validator {
    let schema: Value = serde_json::from_str(SCHEMA_TEXT).expect("the schema is JSON");
    jsonschema::draft202012::meta::validate(&schema).expect("the schema obeys its own draft");
    jsonschema::draft202012::new(&schema).expect("the schema compiles")
}

fn tree(text: &str) -> Value {
    serde_json::from_str(text).expect("JSON")
}

/// The text of the full dance after `change` to its tree.
fn changed(change: impl FnOnce(&mut Value)) -> String {
    let mut tree = tree(&to_json(&full()));
    change(&mut tree);
    tree.to_string()
}

fn sentence(text: &str) -> String {
    from_json(text).expect_err("must be refused").to_string()
}

#[test]
fn the_layout_is_one_cue_a_line_and_eight_beats_a_line() {
    insta::assert_snapshot!(to_json(&full()));
}

#[test]
fn a_dance_is_read_back_as_it_was() {
    let opened = from_json(&to_json(&full())).expect("just written");
    assert_eq!(opened.dance, canonical(&full()).with_rounded_anchor());
    assert_eq!(opened.read_only, None);
    assert_eq!(
        opened.notes,
        [
            "fields that this program does not know are kept as they are: 'lesson', 'shelfmark' in the recording, \
          'pupils' in the profile, 'muscles' in moves, 'best' in moves, 'picture' in moves, 'colour' in cues, \
          'shown-as' in prompts, 'by' in silenced findings"
        ]
    );
}

trait Rounded {
    fn with_rounded_anchor(self) -> Self;
}

impl Rounded for farandole::dance::Dance {
    /// The tap of the full dance has more decimals than the form keeps.
    fn with_rounded_anchor(mut self) -> Self {
        self.anchors[0] = farandole::grid::Anchor::Tap { at: farandole::units::Seconds(1.2568) };
        self
    }
}

#[test]
fn a_full_dance_validates_and_so_does_its_smallest_form() {
    let validator = validator();
    let full = tree(&to_json(&full()));
    if let Err(error) = validator.validate(&full) {
        panic!("{error} at {}", error.instance_path());
    }
    let mut small = full;
    for optional in ["notes", "anchors", "prompts", "silenced", "lesson"] {
        small.as_object_mut().expect("an object").remove(optional);
    }
    assert!(validator.is_valid(&small));
    assert!(from_json(&small.to_string()).is_ok());
}

/// One broken dance: a name for the message, and what breaks it.
type Breakage = (&'static str, fn(&mut Value));

/// What neither the schema nor the program accepts.
const REFUSED: &[Breakage] = &[
    ("no cues", |d| drop(d.as_object_mut().expect("object").remove("cues"))),
    ("no recording", |d| drop(d.as_object_mut().expect("object").remove("recording"))),
    ("a title that is a number", |d| d["title"] = json!(7)),
    ("a cue without a position", |d| drop(d["cues"][0].as_object_mut().expect("object").remove("at"))),
    ("a position in words", |d| d["cues"][0]["at"] = json!("count 3")),
    ("negative counts", |d| d["cues"][0]["counts"] = json!(-8)),
    ("a negative lead", |d| d["cues"][0]["lead"] = json!(-1)),
    ("an unknown side", |d| d["cues"][0]["side"] = json!("up")),
    ("energy six", |d| d["moves"][0]["energy"] = json!(6)),
    ("an unknown kind of step", |d| d["moves"][0]["step"] = json!("moonwalk")),
    ("an unknown articulation", |d| d["moves"][0]["suits"] = json!(["portato"])),
    ("a move without a seated version", |d| {
        drop(d["moves"][0].as_object_mut().expect("object").remove("seated"))
    }),
    ("a pupil of two", |d| d["profile"]["age"] = json!(2)),
    ("no distance", |d| d["profile"]["distance"] = json!(0)),
    ("an unknown anchor", |d| d["anchors"][0]["kind"] = json!("guess")),
    ("an anchor with a stray field", |d| d["anchors"][0]["colour"] = json!("red")),
    ("a metre of three hundred", |d| d["anchors"][4]["beats"] = json!(300)),
    ("a hold without an end", |d| drop(d["anchors"][8].as_object_mut().expect("object").remove("until"))),
    ("a phrase of no whole number of counts", |d| d["anchors"][7]["counts"] = json!(7.5)),
    ("a stray field in the grid", |d| d["grid"]["tempo"] = json!(120)),
    ("a stray field in a phrase", |d| d["grid"]["phrases"][0]["mood"] = json!("merry")),
    ("a negative beat time", |d| d["grid"]["beats"][0] = json!(-0.5)),
    ("a bar that starts between beats", |d| d["grid"]["bars"][0] = json!(0.5)),
    ("a phrase without a letter", |d| {
        drop(d["grid"]["phrases"][0].as_object_mut().expect("object").remove("letter"))
    }),
    ("a prompt without an answer", |d| {
        drop(d["prompts"][0].as_object_mut().expect("object").remove("answer"))
    }),
    ("a silenced finding without a reason", |d| {
        drop(d["silenced"][0].as_object_mut().expect("object").remove("reason"))
    }),
    ("a whole array", |d| *d = json!([])),
];

#[test]
fn what_the_schema_refuses_the_program_refuses_too() {
    let validator = validator();
    for (name, change) in REFUSED {
        let text = changed(change);
        assert!(!validator.is_valid(&tree(&text)), "the schema accepts {name}");
        assert!(from_json(&text).is_err(), "the program accepts {name}");
    }
}

#[test]
fn the_schema_alone_refuses_a_malformed_hash_and_another_version() {
    let validator = validator();
    assert!(!validator.is_valid(&tree(&changed(|d| d["recording"]["hash"] = json!("abc")))));
    assert!(!validator.is_valid(&tree(&changed(|d| d["schema"] = json!(2)))));
}

#[test]
fn cues_in_the_wrong_order_are_sorted_and_none_is_lost() {
    let text = changed(|d| d["cues"].as_array_mut().expect("array").reverse());
    let opened = from_json(&text).expect("can be mended");
    assert_eq!(opened.dance.cues, canonical(&full()).cues);
    assert_eq!(opened.notes[0], "the cues were out of order and have been sorted; none was lost");
}

#[test]
fn cues_at_one_beat_keep_their_order() {
    let mut dance = full();
    dance.cues = ["b", "a", "c"].map(|id| Cue::new(Beat(3.0), Counts(4.0), MoveId(id.into()))).to_vec();
    let opened = from_json(&to_json(&dance)).expect("just written");
    assert_eq!(opened.dance.cues, dance.cues);
}

/// Every part but the grid and its anchors, which are strict, and the identity, which is the recording's own.
#[test]
fn unknown_fields_are_kept_in_every_part_that_may_have_them() {
    let parts = [
        "",
        "/recording",
        "/profile",
        "/moves/0",
        "/moves/0/tempo",
        "/moves/0/seated",
        "/moves/0/low_impact",
        "/cues/0",
        "/prompts/0",
        "/silenced/0",
    ];
    // Numbers that the program would round or shorten in fields of its own, and nothing at all.
    let stray = json!({"fine": 0.123456789, "whole": 210.0, "none": null, "in": [{"depth": 1e300}]});
    let text = changed(|dance| {
        for part in parts {
            dance.pointer_mut(part).expect("a part of the full dance")["zz-stray"] = stray.clone();
        }
    });
    let opened = from_json(&text).expect("can be read");
    let saved = to_json(&opened.dance);
    let again = tree(&saved);
    for part in parts {
        assert_eq!(again.pointer(part).expect("still there")["zz-stray"], stray, "in '{part}'");
    }
    assert_eq!(again, tree(&to_json(&from_json(&saved).expect("just written").dance)));
    assert!(validator().is_valid(&again));
    assert_eq!(opened.notes.len(), 1, "{:?}", opened.notes);
}

#[test]
fn a_newer_dance_opens_for_reading_only() {
    let opened = from_json(&changed(|d| {
        d["schema"] = json!(9);
        d["stage"] = json!("left");
    }))
    .expect("can be understood");
    assert_eq!(
        opened.read_only.expect("newer"),
        "this dance was saved by a newer Farandole (form 9; this program writes form 1): it can be led and \
         printed, but not changed; update the program to change it"
    );
}

#[test]
fn a_newer_dance_that_makes_no_sense_says_which_form_it_is_in() {
    let text = changed(|d| {
        d["schema"] = json!(9);
        d["grid"] = json!("elsewhere");
    });
    assert_eq!(
        sentence(&text),
        "this dance needs a newer Farandole: it is written in form 9 and this program reads up to 1; update the \
         program"
    );
}

#[test]
fn damage_is_told_with_its_place_and_the_way_out() {
    let text = to_json(&full());
    let comma = text.replacen("\"schema\": 1,", "\"schema\": 1", 1);
    assert_eq!(
        sentence(&comma),
        "the text is damaged at line 3, column 3: expected ',' or '}'; mend it there or go back to an earlier copy"
    );
    let half = &text[..text.find("\"moves\"").expect("has moves")];
    assert_eq!(
        sentence(half),
        "the text stops in the middle, at line 41: it was cut short; go back to an earlier copy"
    );
    assert_eq!(
        sentence(""),
        "the text stops in the middle, at line 1: it was cut short; go back to an earlier copy"
    );
    let unmerged = text.replacen("  \"profile\"", "<<<<<<< mine\n  \"profile\"", 1);
    assert_eq!(
        sentence(&unmerged),
        "line 14 marks two versions that were never joined; keep one of them and delete the marks"
    );
    assert_eq!(
        sentence("{\"colour\": 3}"),
        "this is not a dance: it has no 'schema' number; choose a file that Farandole saved"
    );
}

#[test]
fn a_part_of_the_wrong_kind_is_told_with_its_line_and_cue() {
    let text = to_json(&full()).replacen("\"at\": 9.333,", "\"at\": \"nine\",", 1);
    assert_eq!(
        sentence(&text),
        "line 62, column 17, cue 2: invalid type: string \"nine\", expected a number; mend it there or go back to an \
         earlier copy"
    );
    let text = to_json(&full()).replacen("\"at\": 1, \"counts\": 8, ", "\"at\": 1, ", 1);
    let error = sentence(&text);
    assert!(
        error.starts_with("line 61, ") && error.contains(", cue 1 (beat 1): missing field 'counts'"),
        "{error}"
    );
}

#[test]
fn impossible_values_are_told_with_what_is_allowed() {
    let said = |change: fn(&mut Value)| sentence(&changed(change));
    assert_eq!(
        said(|d| d["cues"][1]["counts"] = json!(-4)),
        "cue 2 (beat 9.333) lasts -4 counts; write 0 or more"
    );
    assert_eq!(
        said(|d| d["cues"][0]["lead"] = json!(-2)),
        "cue 1 (beat 1) is called -2 counts ahead; write 0 or more"
    );
    assert_eq!(said(|d| d["profile"]["age"] = json!(120)), "the profile gives age 120; write 3 to 99");
    assert_eq!(
        said(|d| d["moves"][0]["tempo"]["slowest"] = json!(200)),
        "move 'march' works from 200 to 126 counts a minute; write the slower one first"
    );
    let order = said(|d| d["grid"]["beats"][3] = json!(0.1));
    assert!(order.contains("beat 3 is not later than the beat before it"), "{order}");
    let huge = to_json(&full()).replacen("\"counts\": 8, \"words\"", "\"counts\": 1e999, \"words\"", 1);
    assert!(matches!(from_json(&huge), Err(DanceFileError::Broken { .. })), "a number that is not finite");
}

#[test]
fn what_the_check_reports_does_not_stop_a_dance_from_opening() {
    let text = changed(|d| {
        d["cues"][0]["move"] = json!("no-such-move");
        d["cues"][1]["at"] = json!(-3);
    });
    let opened = from_json(&text).expect("the check will tell");
    assert_eq!(opened.dance.cues[1].movement, Some(MoveId("no-such-move".into())));
}

#[test]
fn a_path_that_holds_on_one_computer_only_is_noted() {
    for path in ["C:/music/march.wav", "/home/teacher/march.wav", "\\\\school\\march.wav"] {
        let opened = from_json(&changed(|d| d["recording"]["path"] = json!(path))).expect("accepted");
        let note = format!(
            "the recording's path '{path}' works on one computer only; keep the recording beside the dance"
        );
        assert!(opened.notes.contains(&note), "{:?}", opened.notes);
    }
    let opened = from_json(&changed(|d| d["recording"]["path"] = json!("a\\b.wav"))).expect("accepted");
    assert!(opened.notes.iter().any(|note| note.contains("write '/'")));
}

#[test]
fn a_byte_order_mark_and_foreign_line_ends_do_no_harm() {
    let text = format!("\u{feff}{}", to_json(&full()).replace('\n', "\r\n"));
    assert_eq!(to_json(&from_json(&text).expect("harmless").dance), to_json(&full()));
}

#[test]
fn a_number_that_is_not_finite_does_not_cost_the_dance() {
    let mut dance = full();
    dance.cues[0].at = Beat(f64::NAN);
    let opened = from_json(&to_json(&dance)).expect("still opens");
    assert_eq!(opened.dance.cues.len(), 2);
}

#[test]
fn changing_one_cue_changes_one_line() {
    let before = to_json(&full());
    let mut dance = full();
    dance.cues[0].counts = Counts(16.0);
    let after = to_json(&dance);
    let differing = before.lines().zip(after.lines()).filter(|(a, b)| a != b).count();
    assert_eq!((before.lines().count(), differing), (after.lines().count(), 1));
}

proptest! {
    #[test]
    fn writing_reading_and_writing_gives_the_same_bytes(dance in any_dance()) {
        let text = to_json(&dance);
        let opened = from_json(&text).expect("what is written can be read");
        prop_assert_eq!(&to_json(&opened.dance), &text);
        prop_assert!(text.ends_with("\n"));
        prop_assert_eq!(opened.dance.cues, canonical(&dance).cues);
        prop_assert_eq!(opened.dance.unknown, dance.unknown);
    }

    #[test]
    fn whatever_is_written_validates(dance in any_dance()) {
        let text = to_json(&dance);
        if let Err(error) = validator().validate(&tree(&text)) {
            return Err(TestCaseError::fail(format!("{error} at {}", error.instance_path())));
        }
    }

    #[test]
    fn no_text_makes_the_reader_panic(cut in 0..3_000usize, junk in "\\PC{0,5}") {
        let text = to_json(&full());
        let mut at = cut.min(text.len());
        while !text.is_char_boundary(at) { at -= 1; }
        let _ = from_json(&text[..at]);
        let _ = from_json(&format!("{}{junk}{}", &text[..at], &text[at..]));
    }
}

#[test]
fn the_example_in_the_manual_is_a_dance() {
    let page = include_str!("../docs/dance-file.md");
    let example = page.split("```json\n").nth(1).and_then(|rest| rest.split("```").next()).expect("has one");
    assert!(validator().is_valid(&tree(example)));
    let opened = from_json(example).expect("is a dance");
    assert_eq!(to_json(&opened.dance), example, "the manual shows the layout that is written");
}
