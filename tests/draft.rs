//! The first draft: it follows the music, asks nobody for the impossible, and says why.

#[path = "support/drafts.rs"]
mod drafts;
#[path = "support/heard.rs"]
mod support;

use drafts::*;
use farandole::dance::reading::count_words;
use farandole::dance::{Cue, DraftError, MoveBook, Profile, Side, StepKind, draft, new_dance};
use farandole::listening::{Articulation, Listening, Pulse, TurnKind};
use farandole::units::{Beat, Counts};
use std::collections::BTreeMap;
use support::{Heard, heard, phrase, turn};

#[test]
fn phrases_that_return_get_their_move_back_and_others_do_not() {
    let music = heard(
        0,
        &[("A", 3), ("B", 3), ("A", 3), ("C", 3), ("A", 3)].map(|(l, e)| phrase(l, 16, 112.0, e)),
        &[],
    );
    let draft = drafted(&music);
    let named = |beat| &at(&draft, beat).movement;
    assert_eq!(named(0.0), named(32.0));
    assert_eq!(named(0.0), named(64.0));
    assert_ne!(named(0.0), named(16.0));
    assert_ne!(named(16.0), named(48.0));
    assert_eq!(
        at(&draft, 32.0).why.as_deref(),
        Some("phrase 3 (A) sounds like phrase 1 (A), so its move comes back")
    );
}

#[test]
fn a_varied_phrase_varies_its_move() {
    for bpm in [70.0, 90.0, 112.0, 140.0, 160.0] {
        for energy in 1..=5 {
            let music = heard(0, &["A", "B", "A'", "B"].map(|l| phrase(l, 16, bpm, energy)), &[]);
            let draft = drafted(&music);
            let (first, varied) = (at(&draft, 0.0), at(&draft, 32.0));
            assert_eq!(first.movement, varied.movement, "at {bpm}, energy {energy}");
            if move_of(&draft, first).one_sided {
                assert_eq!((first.side, varied.side), (Some(Side::Left), Some(Side::Right)));
            } else {
                let words = varied
                    .words
                    .as_deref()
                    .unwrap_or_else(|| panic!("at {bpm}, energy {energy}: {:#?}", draft.cues));
                assert!(words.ends_with(", bigger") && count_words(words) <= 4, "{words}");
            }
        }
    }
}

#[test]
fn energy_and_articulation_decide_the_move() {
    let energies: Vec<u8> = (1..=5)
        .map(|energy| {
            let draft = drafted(&heard(0, &["A", "A"].map(|l| phrase(l, 16, 112.0, energy)), &[]));
            move_of(&draft, &draft.cues[0]).energy.level()
        })
        .collect();
    assert!(energies.is_sorted(), "{energies:?}");
    assert!(energies[0] <= 2 && energies[4] >= 4, "{energies:?}");
    for articulation in [Articulation::Staccato, Articulation::Legato] {
        let music = heard(0, &["A", "B"].map(|l| phrase(l, 16, 112.0, 2).joined(articulation)), &[]);
        let draft = drafted(&music);
        for cue in &draft.cues[..2] {
            let entry = move_of(&draft, cue);
            assert!(entry.suits.is_empty() || entry.suits.contains(&articulation), "{}", entry.id.0);
        }
    }
}

#[test]
fn a_rest_freezes_until_the_phrase_that_follows() {
    let phrases = ["A", "B"].map(|l| phrase(l, 16, 120.0, 3));
    let draft = drafted(&heard(0, &phrases, &[turn(TurnKind::Rest, 12.1, 14.0)]));
    let freeze = at(&draft, 12.0);
    assert_eq!(move_of(&draft, freeze).step, StepKind::Freeze);
    assert_eq!(freeze.counts, Counts(4.0));
    assert_eq!(freeze.why.as_deref(), Some("the music is silent for 1.0 s, so everyone freezes"));
}

#[test]
fn a_rest_shorter_than_a_beat_does_not_freeze() {
    let phrases = ["A", "B"].map(|l| phrase(l, 16, 120.0, 3));
    let draft = drafted(&heard(0, &phrases, &[turn(TurnKind::Rest, 12.0, 12.7)]));
    assert!(!ids(&draft).contains(&"freeze"));
}

#[test]
fn a_fermata_freezes() {
    let phrases = ["A", "B"].map(|l| phrase(l, 16, 120.0, 3));
    let draft = drafted(&heard(0, &phrases, &[turn(TurnKind::Fermata, 12.0, 13.0)]));
    assert_eq!(move_of(&draft, at(&draft, 12.0)).step, StepKind::Freeze);
}

#[test]
fn a_crescendo_grows_and_a_diminuendo_shrinks() {
    let phrases = ["A", "B", "C", "D"].map(|l| phrase(l, 16, 100.0, 3));
    let turns = [turn(TurnKind::Crescendo, 16.0, 32.0), turn(TurnKind::Diminuendo, 48.0, 60.0)];
    let draft = drafted(&heard(0, &phrases, &turns));
    assert_eq!(at(&draft, 16.0).movement.as_ref().expect("named").0, "grow-tall");
    assert_eq!(at(&draft, 48.0).movement.as_ref().expect("named").0, "shrink");
    assert_eq!(
        at(&draft, 16.0).why.as_deref(),
        Some("the music grows louder by 10 LU in 16 counts in phrase 2 (B), and 'grow tall' shows it")
    );
}

#[test]
fn a_sudden_turn_inside_a_phrase_changes_the_move_there() {
    let phrases = ["A", "B"].map(|l| phrase(l, 32, 112.0, 3));
    for kind in [TurnKind::SubitoLoud, TurnKind::SubitoSoft, TurnKind::SuddenlyFaster] {
        let draft = drafted(&heard(0, &phrases, &[turn(kind, 16.3, 16.3)]));
        let before = at(&draft, 0.0);
        let after = at(&draft, 16.0);
        assert_eq!(before.end(), Beat(16.0));
        assert_ne!(before.movement, after.movement, "{kind:?}");
    }
}

#[test]
fn a_turn_a_count_beside_a_phrase_start_is_met_on_count_one() {
    let phrases = ["A", "B"].map(|l| phrase(l, 16, 112.0, 3));
    let draft = drafted(&heard(0, &phrases, &[turn(TurnKind::SubitoLoud, 15.2, 15.2)]));
    assert_eq!(draft.cues[1].at, Beat(16.0));
}

/// Walk 100 to 136, march 100 to 126, run 150 to 210 steps a minute.
#[test]
fn an_accelerando_leads_from_slow_steps_to_running() {
    let speeds = [(84.0, 90.0), (104.0, 110.0), (112.0, 124.0), (152.0, 160.0), (160.0, 172.0)];
    let phrases: Vec<Heard> = speeds
        .iter()
        .zip(["A", "B", "C", "D", "E"])
        .zip([2, 3, 3, 4, 5])
        .map(|((&(from, to), letter), energy)| phrase(letter, 16, from, energy).speeding_to(to))
        .collect();
    let draft = drafted(&heard(0, &phrases, &[turn(TurnKind::Accelerando, 0.0, 80.0)]));
    let travels = |step| matches!(step, StepKind::Walk | StepKind::March | StepKind::Run | StepKind::Side);
    let rates: Vec<f64> = draft
        .cues
        .iter()
        .zip(speeds)
        .filter(|(cue, _)| travels(move_of(&draft, cue).step))
        .map(|(cue, (_, bpm))| bpm * move_of(&draft, cue).steps_per_count)
        .collect();
    assert!(rates.is_sorted(), "{rates:?} from {:?}", ids(&draft));
    assert!(rates[0] <= 110.0 && *rates.last().expect("some travel") >= 150.0, "{rates:?}");
    assert!(draft.cues.iter().any(|cue| move_of(&draft, cue).step == StepKind::Run), "{:?}", ids(&draft));
}

#[test]
fn an_introduction_is_for_listening_and_the_last_counts_are_for_a_pose() {
    let draft = drafted(&heard(2, &["intro", "A", "B", "A"].map(|l| phrase(l, 16, 112.0, 3)), &[]));
    assert_eq!(ids(&draft)[0], "listen");
    let last = draft.cues.last().expect("some");
    assert_eq!(last.movement.as_ref().expect("named").0, "final-pose");
    assert_eq!(last.end(), Beat(66.0));
    assert_eq!(last.counts, Counts(4.0));
}

#[test]
fn the_youngest_have_fewer_moves_to_keep_apart() {
    let phrases: Vec<Heard> =
        ["A", "B", "C", "D", "E", "F", "G", "H", "I", "J"].map(|l| phrase(l, 16, 112.0, 3)).to_vec();
    let music = heard(0, &phrases, &[]);
    let kinds = |age| {
        let profile = Profile { age, ..Profile::default() };
        draft(&music, &MoveBook::built_in(), &profile).expect("a beat").moves.len()
    };
    assert!(kinds(5) < kinds(8) && kinds(8) < kinds(11), "{} {} {}", kinds(5), kinds(8), kinds(11));
    assert!(kinds(5) <= 5, "{}", kinds(5));
}

#[test]
fn prompts_ask_about_the_main_turns_and_have_answers() {
    let phrases = ["A", "B", "A", "B"].map(|l| phrase(l, 16, 100.0, 3));
    let turns = [
        turn(TurnKind::Crescendo, 16.0, 30.0),
        turn(TurnKind::Accelerando, 34.0, 48.0),
        turn(TurnKind::Crescendo, 50.0, 60.0),
    ];
    let asked = drafted(&heard(0, &phrases, &turns)).prompts;
    assert_eq!(asked[0].question, "What happened to the loudness?");
    assert_eq!(asked[0].answer, "It grew louder bit by bit: a crescendo.");
    assert_eq!(asked[0].at, Beat(30.0));
    assert_eq!(asked.len(), 2, "the second crescendo is not asked again");
    let plain = drafted(&heard(0, &phrases, &[])).prompts;
    assert_eq!(plain.len(), 2);
    assert_eq!(plain[1].answer, "Yes: it is tune A again.");
}

#[test]
fn without_phrases_moves_still_change() {
    let mut music = heard(0, &[phrase("A", 64, 112.0, 3)], &[]);
    music.grid = farandole::grid::Grid::new(music.grid.beats().to_vec(), music.grid.bars().to_vec(), vec![])
        .expect("valid");
    music.phrases.clear();
    let draft = drafted(&music);
    assert!(draft.cues.len() >= 4);
    assert!(draft.reasons.iter().any(|reason| reason.starts_with("no phrases were found")));
}

#[test]
fn a_piece_of_little_more_than_a_pickup_is_one_pose() {
    let draft = drafted(&heard(3, &[phrase("A", 5, 166.0, 3)], &[]));
    assert_eq!(ids(&draft), ["final-pose"]);
    assert_eq!((draft.cues[0].at, draft.cues[0].counts), (Beat(0.0), Counts(8.0)));
}

#[test]
fn at_a_tempo_for_nobody_the_draft_stays_calm() {
    for bpm in [25.0, 230.0, 300.0] {
        let draft = drafted(&heard(0, &["A", "B", "A"].map(|l| phrase(l, 16, bpm, 5)), &[]));
        assert!(draft.cues.iter().all(|cue| {
            !matches!(
                move_of(&draft, cue).step,
                StepKind::Jump | StepKind::Run | StepKind::Walk | StepKind::March
            )
        }));
    }
}

#[test]
fn calls_can_be_read_while_the_move_before_is_danced() {
    let mut late = 0;
    let mut all = 0;
    for age in [6, 7, 9] {
        for bpm in [72.0, 96.0, 112.0, 132.0, 160.0] {
            for energies in [[1, 2, 3, 4], [3, 3, 2, 5], [5, 4, 1, 2]] {
                let letters = ["A", "B", "A'", "C"];
                let phrases: Vec<Heard> =
                    letters.iter().zip(energies).map(|(l, energy)| phrase(l, 16, bpm, energy)).collect();
                let music = heard(0, &phrases, &[]);
                let profile = Profile { age, ..Profile::default() };
                let draft = draft(&music, &MoveBook::built_in(), &profile).expect("a beat");
                let dance = new_dance("Piece", a_source(), profile, &music, draft);
                for index in 1..dance.cues.len() {
                    all += 1;
                    late += usize::from(dance.lead_needed(index) > dance.cues[index - 1].counts);
                }
            }
        }
    }
    assert!(all > 150 && late == 0, "{late} of {all} calls overlap the call before");
}

#[test]
fn what_cannot_be_drafted_is_told_with_the_way_out() {
    let mut music = heard(0, &[phrase("A", 16, 112.0, 3)], &[]);
    let said = |music: &Listening| {
        draft(music, &MoveBook::built_in(), &Profile::default()).expect_err("cannot").to_string()
    };
    music.pulse = Pulse::None;
    assert_eq!(
        said(&music),
        "no beat was found to pin moves to; tap the beat on the count sheet, or lead it free, without moves"
    );
    music.pulse = Pulse::Silent;
    assert_eq!(
        said(&music),
        "there is nothing to hear in this recording; check the file, or choose another one"
    );
    let short = heard(0, &[phrase("A", 6, 112.0, 3)], &[]);
    assert_eq!(
        draft(&short, &MoveBook::built_in(), &Profile::default()),
        Err(DraftError::TooShort { beats: 6 })
    );
    assert_eq!(
        said(&short),
        "only 6 beats were found and a dance needs 8; choose a longer recording, or tap the missing beats on the \
         count sheet"
    );
}

/// Silence after the last chord is heard as a rest that begins where the grid ends.
#[test]
fn a_rest_after_the_last_beat_is_not_danced() {
    let phrases = ["A", "B"].map(|letter| phrase(letter, 16, 112.0, 3));
    let ended = drafted(&heard(0, &phrases, &[turn(TurnKind::Rest, 32.0, 34.0)]));
    assert_eq!(ended.cues, drafted(&heard(0, &phrases, &[])).cues);
    let fading = drafted(&heard(0, &phrases, &[turn(TurnKind::Diminuendo, 20.0, 41.0)]));
    assert_eq!(fading.cues.last().map(Cue::end), Some(Beat(32.0)));
}

/// A rondo with two turns, cue by cue: a change of the drafting rules shows here in full.
#[test]
fn a_rondo_in_full() {
    let phrases = [
        phrase("intro", 8, 112.0, 1),
        phrase("A", 16, 112.0, 3).joined(Articulation::Staccato),
        phrase("B", 16, 112.0, 2).joined(Articulation::Legato),
        phrase("A", 16, 112.0, 3).joined(Articulation::Staccato),
        phrase("C", 16, 112.0, 5).joined(Articulation::Staccato),
        phrase("A'", 16, 112.0, 4).joined(Articulation::Staccato),
    ];
    let turns = [turn(TurnKind::Rest, 37.0, 39.5), turn(TurnKind::SubitoLoud, 56.0, 56.0)];
    let draft = drafted(&heard(0, &phrases, &turns));
    let lines: Vec<String> = draft
        .cues
        .iter()
        .map(|cue| {
            let words = cue.words.as_deref().unwrap_or(&move_of(&draft, cue).words);
            format!("{:>3} +{:<2} {words} | {}", cue.at.0, cue.counts.0, cue.why.as_deref().unwrap_or(""))
        })
        .collect();
    insta::assert_snapshot!(lines.join("\n"));
}

/// The same music over and over: varied after 32 counts, another move after 64.
#[test]
fn music_that_goes_on_is_varied_and_then_danced_otherwise() {
    for bpm in [84.0, 100.0, 120.0, 144.0, 160.0, 180.0] {
        for energy in 2..=4 {
            let draft = drafted(&heard(0, &["A"; 8].map(|l| phrase(l, 16, bpm, energy)), &[]));
            let mut same: Vec<&Cue> = Vec::new();
            for cue in &draft.cues {
                if same.last().is_some_and(|last| last.movement != cue.movement) {
                    same.clear();
                }
                same.push(cue);
                let counts: f64 = same.iter().map(|cue| cue.counts.0).sum();
                assert!(counts <= 64.0, "{counts} counts at {bpm}, energy {energy}: {:?}", ids(&draft));
                let one_way = same.iter().all(|cue| cue.words == same[0].words && cue.side == same[0].side);
                assert!(counts <= 32.0 || !one_way, "{counts} counts at {bpm}, energy {energy}: {same:#?}");
            }
        }
    }
}

#[test]
fn one_sided_moves_go_to_both_sides_by_eights() {
    for bpm in [60.0, 90.0, 112.0, 144.0] {
        for counts in [16, 24, 32, 48] {
            let phrases =
                ["A", "B", "A", "C"].map(|l| phrase(l, counts, bpm, 2).joined(Articulation::Legato));
            let draft = drafted(&heard(0, &phrases, &[]));
            let mut sides: BTreeMap<&str, (f64, f64)> = BTreeMap::new();
            for cue in draft.cues.iter().filter(|cue| move_of(&draft, cue).one_sided) {
                let (left, right) = sides.entry(&cue.movement.as_ref().expect("named").0).or_default();
                match cue.side.expect("a one-sided move says which") {
                    Side::Left => *left += cue.counts.0,
                    Side::Right => *right += cue.counts.0,
                }
                assert!(cue.counts.0 <= 24.0, "{cue:?}");
            }
            assert!(sides.values().all(|(left, right)| (left - right).abs() <= 8.0), "{sides:?}");
        }
    }
}

#[test]
fn a_crescendo_just_before_a_new_phrase_grows_in_the_move_that_is_danced() {
    let phrases = ["A", "B"].map(|l| phrase(l, 16, 112.0, 3));
    let draft = drafted(&heard(0, &phrases, &[turn(TurnKind::Crescendo, 12.0, 30.0)]));
    let (before, growing) = (at(&draft, 0.0), at(&draft, 12.0));
    assert_eq!(before.movement, growing.movement);
    assert!(growing.words.as_deref().expect("resaid").ends_with(", bigger"), "{growing:?}");
}

/// 99.97 counts a minute are 100 for everyone who marches.
#[test]
fn a_hair_beside_a_moves_range_is_inside_it() {
    let phrases = ["A", "A"].map(|l| phrase(l, 16, 99.97, 3).joined(Articulation::Detached));
    let draft = drafted(&heard(0, &phrases, &[]));
    assert_eq!(ids(&draft)[0], "march");
}

#[test]
fn the_last_pose_is_no_longer_than_two_bars() {
    for bpm in [66.0, 100.0, 132.0, 180.0] {
        for last in 4..=16 {
            let phrases = [phrase("A", 16, bpm, 3), phrase("B", 16 + last, bpm, 3)];
            let draft = drafted(&heard(0, &phrases, &[]));
            let pose = draft.cues.last().expect("some");
            assert!(pose.counts.0 <= 9.0, "{} of {last} at {bpm}", pose.counts.0);
        }
    }
}
