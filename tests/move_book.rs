//! The move book: every move can be read, done at its tempo, done gently, and done safely.

use farandole::dance::reading::count_words;
use farandole::dance::{Move, MoveBook, MoveId, Need, StepKind};
use serde_json::{Value, json};
use std::collections::HashSet;
use unicode_width::UnicodeWidthStr;

const TEXT: &str = include_str!("../assets/moves.json");

fn book() -> MoveBook {
    MoveBook::built_in()
}

/// Every sentence and word of a move.
fn all_text(entry: &Move) -> Vec<&str> {
    let mut text = vec![&*entry.words, &*entry.how];
    for version in [&entry.seated, &entry.low_impact] {
        text.extend([&*version.words, &*version.how]);
    }
    text.extend(entry.caution.as_deref());
    text
}

#[test]
fn the_built_in_book_parses_whole() {
    let tree: Value = serde_json::from_str(TEXT).expect("JSON");
    let listed = tree["moves"].as_array().expect("a list").len();
    assert_eq!(book().entries().len(), listed);
    assert!(listed >= 40, "only {listed} moves");
}

#[test]
fn nothing_in_the_book_file_is_left_unread() {
    let tree: Value = serde_json::from_str(TEXT).expect("JSON");
    for (written, read) in tree["moves"].as_array().expect("a list").iter().zip(book().entries()) {
        let read = serde_json::to_value(read).expect("plain data");
        let keys = |value: &Value| value.as_object().expect("object").keys().cloned().collect::<Vec<_>>();
        assert_eq!(keys(written), keys(&read), "{}", written["id"]);
    }
    for entry in book().moves() {
        let unread = [&entry.unknown, &entry.tempo.unknown, &entry.seated.unknown, &entry.low_impact.unknown];
        assert!(unread.iter().all(|unread| unread.is_empty()), "{}: {unread:?}", entry.id.0);
    }
}

#[test]
fn every_call_has_one_to_four_words_and_every_version_its_own_description() {
    for entry in book().moves() {
        for words in [&entry.words, &entry.seated.words, &entry.low_impact.words] {
            assert!((1..=4).contains(&count_words(words)), "{}: '{words}'", entry.id.0);
            assert_eq!(words.trim(), words);
        }
        let how: HashSet<&str> =
            [&entry.how, &entry.seated.how, &entry.low_impact.how].map(|text| text.as_str()).into();
        assert_eq!(how.len(), 3, "{} describes two versions alike", entry.id.0);
        assert!(how.iter().all(|text| text.ends_with('.') && text.len() > 15), "{}", entry.id.0);
    }
}

#[test]
fn identifiers_are_well_formed_and_signs_unique() {
    let book = book();
    let ids: HashSet<&str> = book.moves().map(|entry| &*entry.id.0).collect();
    let signs: HashSet<&str> = book.moves().map(|entry| &*entry.sign).collect();
    let words: HashSet<&str> = book.moves().map(|entry| &*entry.words).collect();
    let n = book.entries().len();
    assert_eq!((ids.len(), signs.len(), words.len()), (n, n, n));
    for entry in book.moves() {
        assert!(entry.id.0.chars().all(|c| c.is_ascii_lowercase() || c == '-'), "{}", entry.id.0);
        assert!((1..=2).contains(&entry.sign.width()), "{}: '{}'", entry.id.0, entry.sign);
        // Signs beyond the basic plane are missing from many terminal fonts.
        assert!(entry.sign.chars().all(|c| (c as u32) < 0x2700), "{}: '{}'", entry.id.0, entry.sign);
    }
}

/// Steps a minute at the slowest and fastest tempo of a move.
fn rates(entry: &Move) -> (f64, f64) {
    (entry.tempo.slowest.0 * entry.steps_per_count, entry.tempo.fastest.0 * entry.steps_per_count)
}

/// Walking turns into running above 136 to 161 steps a minute at 6 to 20 years (Journal of Sports Sciences 2021); natural
/// walking is above 100. Slow steps (one in two counts) are meant to be slower.
#[test]
fn nobody_is_asked_to_walk_at_a_running_pace() {
    for entry in book().moves().filter(|entry| matches!(entry.step, StepKind::Walk | StepKind::Side)) {
        let (slow, fast) = rates(entry);
        assert!(fast <= 136.0, "{}: {fast}", entry.id.0);
        if entry.step == StepKind::Walk && entry.steps_per_count >= 1.0 {
            assert!(slow >= 100.0, "{}: {slow}", entry.id.0);
        }
    }
}

/// Quick march 112 to 120, slow march 60 to 65 within 4 (drill practice); 100 to 126 for children is our range.
#[test]
fn marches_keep_to_a_marching_pace() {
    for entry in book().moves().filter(|entry| entry.step == StepKind::March) {
        let (slow, fast) = rates(entry);
        let quick = slow >= 100.0 && fast <= 126.0;
        let stately = slow >= 56.0 && fast <= 69.0;
        assert!(quick || stately, "{}: {slow} to {fast}", entry.id.0);
    }
}

/// Running at 5 to 11 years takes about 150 to 210 steps a minute (after Schepens et al. 1998).
#[test]
fn runs_keep_to_a_running_pace() {
    for entry in book().moves().filter(|entry| entry.step == StepKind::Run) {
        let (slow, fast) = rates(entry);
        assert!(slow >= 150.0 && fast <= 210.0, "{}: {slow} to {fast}", entry.id.0);
    }
}

/// Skipping with a rope is comfortable at 116 a minute (AJPHERD 14(4) 2008): 100 to 130 on every count; never above 150.
#[test]
fn jumps_are_comfortable() {
    for entry in book().moves().filter(|entry| entry.step == StepKind::Jump) {
        let (slow, fast) = rates(entry);
        assert!(fast <= 150.0, "{}: {fast}", entry.id.0);
        if entry.steps_per_count >= 1.0 {
            assert!(slow >= 100.0 && fast <= 130.0, "{}: {slow} to {fast}", entry.id.0);
        }
    }
}

/// People keep time with sounds between 33 and 200 a minute at most (Repp 2003, 2006, with visual pulses up to 150).
#[test]
fn every_tempo_is_one_that_people_can_follow() {
    for entry in book().moves() {
        assert!(entry.tempo.slowest.0 >= 33.0 && entry.tempo.fastest.0 <= 204.0, "{}", entry.id.0);
        assert!(entry.tempo.fastest.0 >= 1.15 * entry.tempo.slowest.0, "{} hardly ever fits", entry.id.0);
        assert!(entry.step != StepKind::Freeze || entry.steps_per_count == 0.0, "{} moves", entry.id.0);
    }
}

#[test]
fn turning_jumping_running_scarves_and_hands_carry_a_caution() {
    for entry in book().entries() {
        let risky = matches!(entry.movement.step, StepKind::Turn | StepKind::Jump) || !entry.needs.is_empty();
        let travels = matches!(&*entry.movement.id.0, "run" | "gallop" | "walk" | "skip");
        if risky || travels {
            assert!(entry.movement.caution.is_some(), "{}", entry.movement.id.0);
        }
    }
}

#[test]
fn low_impact_versions_neither_jump_nor_run_nor_twist() {
    for entry in book().moves() {
        let text = format!("{} {}", entry.low_impact.words, entry.low_impact.how).to_lowercase();
        let text = text.replace("without the hop", "").replace("without leaving the floor", "");
        for word in ["jump", "hop ", "run", "twist", "gallop", "skip", "sprint"] {
            assert!(!text.contains(word), "{}: '{word}' in '{text}'", entry.id.0);
        }
        let seated = format!("{} {}", entry.seated.words, entry.seated.how).to_lowercase();
        for word in ["jump", "hop ", "stand", "walk once"] {
            assert!(!seated.contains(word), "{}: '{word}' in '{seated}'", entry.id.0);
        }
    }
}

/// No built-in move mentions necks, faces, wrapping or standing on furniture (reference cautions on scarves and falls);
/// nor closed eyes, nor blows.
#[test]
fn no_move_mentions_what_is_unsafe() {
    let forbidden = [
        "neck",
        "face",
        "throat",
        "wrap",
        "tie ",
        "tied",
        "knot",
        "blindfold",
        "chair",
        "table",
        "bench",
        "desk",
        "climb",
        "stand on",
        "eyes",
        "punch",
        "kick",
        "hit ",
        "headstand",
        "somersault",
        "wrist",
    ];
    for entry in book().moves() {
        for text in all_text(entry) {
            let lower = text.to_lowercase();
            for word in forbidden {
                assert!(!lower.contains(word), "{}: '{word}' in '{text}'", entry.id.0);
            }
        }
    }
}

#[test]
fn scarf_moves_say_that_they_need_a_scarf() {
    for entry in book().entries() {
        let mentions = all_text(&entry.movement).iter().any(|text| text.to_lowercase().contains("scarf"));
        assert_eq!(mentions, entry.needs.contains(&Need::Scarf), "{}", entry.movement.id.0);
    }
}

#[test]
fn each_energy_has_a_move_without_needs_at_every_common_tempo() {
    for energy in 1..=5 {
        for bpm in 60..=176 {
            let bpm = f64::from(bpm);
            let fits = book().entries().iter().any(|entry| {
                let tempo = &entry.movement.tempo;
                entry.needs.is_empty()
                    && entry.movement.energy.level().abs_diff(energy) <= u8::from(energy == 5)
                    && (tempo.slowest.0..=tempo.fastest.0).contains(&bpm)
            });
            assert!(fits, "nothing of energy {energy} at {bpm}");
        }
    }
}

fn found(typed: &str) -> Vec<String> {
    book().search(typed).iter().map(|entry| entry.id.0.clone()).collect()
}

#[test]
fn typing_letters_finds_the_move_that_was_meant_first() {
    for (typed, first) in [
        ("jump", "jump"),
        ("ti", "tiptoe"),
        ("mar", "march"),
        ("Giant", "giant-steps"),
        ("knees", "knee-lifts"),
    ] {
        assert_eq!(found(typed).first().map(String::as_str), Some(first), "{typed}");
    }
    assert!(found("knees").contains(&"pat-knees".to_owned()));
    assert!(found("tptoe").contains(&"tiptoe".to_owned()), "a letter left out");
    assert!(found("hedgehog").contains(&"hide".to_owned()), "a word of the description");
    assert!(found("zzz").is_empty());
    assert_eq!(found("  ").len(), book().entries().len());
}

fn own(change: impl FnOnce(&mut Value)) -> String {
    let tree: Value = serde_json::from_str(TEXT).expect("JSON");
    let mut entry = tree["moves"][0].clone();
    entry["id"] = json!("lantern");
    change(&mut entry);
    json!({"schema": 1, "moves": [entry]}).to_string()
}

#[test]
fn a_teachers_own_move_joins_the_book_or_takes_the_place_of_one() {
    let added = book().with_own(&own(|_| ())).expect("well formed");
    assert_eq!(added.entries().len(), book().entries().len() + 1);
    assert!(added.get(&MoveId("lantern".into())).is_some());
    let replaced = book()
        .with_own(&own(|entry| {
            entry["id"] = json!("march");
            entry["words"] = json!("parade");
        }))
        .expect("well formed");
    assert_eq!(replaced.entries().len(), book().entries().len());
    assert_eq!(replaced.get(&MoveId("march".into())).expect("still there").words, "parade");
}

#[test]
fn what_is_wrong_with_an_own_move_is_one_sentence() {
    let said = |change: fn(&mut Value)| book().with_own(&own(change)).expect_err("refused").to_string();
    assert_eq!(
        said(|entry| entry["words"] = json!("walk very slowly round the room")),
        "move 1 'lantern': 'words' has 6 words; write 1 to 4"
    );
    assert_eq!(
        said(|entry| drop(entry.as_object_mut().expect("object").remove("seated"))),
        "move 1 'lantern': missing field 'seated'"
    );
    assert_eq!(
        said(|entry| entry["id"] = json!("My Move")),
        "move 1 'My Move': the 'id' must be lower-case words joined by hyphens"
    );
    assert_eq!(said(|entry| entry["energy"] = json!(9)), "move 1 'lantern': energy 9 is not between 1 and 5");
    assert_eq!(
        said(|entry| entry["sign"] = json!("abc")),
        "move 1 'lantern': the sign is 3 characters wide; use 1 or 2"
    );
    let book_error = |text: &str| book().with_own(text).expect_err("refused").to_string();
    assert_eq!(
        book_error("{}"),
        "this is not a move book of form 1: it needs 'schema': 1 and a list 'moves'"
    );
    assert_eq!(
        book_error("{\n  moves"),
        "the move book is damaged at line 2, column 3; mend it there, or print one with 'farandole moves --json'"
    );
}

#[test]
fn a_printed_book_can_be_read_as_an_own_one() {
    let printed = serde_json::to_string(&book()).expect("plain data");
    assert_eq!(book().with_own(&printed).expect("same form"), book());
}

#[test]
fn the_example_in_the_manual_is_a_move() {
    let page = include_str!("../docs/move-book.md");
    let example = page.split("```json\n").nth(1).and_then(|rest| rest.split("```").next()).expect("has one");
    assert!(book().with_own(example).expect("well formed").get(&MoveId("lantern".into())).is_some());
}
