//! The first draft: it follows the music, asks nobody for the impossible, and says why.

#[path = "support/heard.rs"]
mod support;

use farandole::dance::file::{from_json, to_json};
use farandole::dance::reading::{SHORTEST_SHOWN, count_words};
use farandole::dance::{
    Cue, Draft, DraftError, LONGEST_JUMPING, Move, MoveBook, Profile, Side, Source, StepKind, draft,
    new_dance,
};
use farandole::identity::Identity;
use farandole::listening::{Articulation, Listening, Pulse, TurnKind};
use farandole::units::{Beat, Counts, Seconds};
use proptest::prelude::*;
use std::collections::BTreeMap;
use support::{Heard, heard, phrase, turn};

fn drafted(heard: &Listening) -> Draft {
    draft(heard, &MoveBook::built_in(), &Profile::default()).expect("a beat was heard")
}

fn a_source() -> Source {
    Source {
        path: "piece.flac".into(),
        identity: Identity { hash: "0".repeat(64), frames: 1_000, rate: 48_000 },
        title: None,
        performer: None,
        year: None,
        unknown: serde_json::Map::new(),
    }
}

fn move_of<'a>(draft: &'a Draft, cue: &Cue) -> &'a Move {
    let id = cue.movement.as_ref().expect("drafts name moves");
    draft.moves.iter().find(|entry| entry.id == *id).expect("every move is copied")
}

fn ids(draft: &Draft) -> Vec<&str> {
    draft.cues.iter().map(|cue| &*cue.movement.as_ref().expect("drafts name moves").0).collect()
}

fn at(draft: &Draft, beat: f64) -> &Cue {
    draft
        .cues
        .iter()
        .find(|cue| cue.at == Beat(beat))
        .unwrap_or_else(|| panic!("no cue at {beat}: {:#?}", draft.cues))
}

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

fn any_phrase(energies: std::ops::RangeInclusive<u8>, drift: f64) -> impl Strategy<Value = Heard> {
    let articulation = prop_oneof![
        Just(Articulation::Staccato),
        Just(Articulation::Detached),
        Just(Articulation::Legato),
        Just(Articulation::Unclear)
    ];
    let letter = prop_oneof![Just("A"), Just("A'"), Just("B"), Just("C"), Just("intro")];
    let counts = prop_oneof![Just(8usize), Just(12), Just(16), Just(24), Just(32), 5..40usize];
    (letter, counts, 60.0..176.0f64, energies, articulation, -drift..=drift).prop_map(
        |(letter, counts, bpm, energy, articulation, drift)| {
            phrase(letter, counts, bpm, energy)
                .joined(articulation)
                .speeding_to((bpm + drift).clamp(60.0, 176.0))
        },
    )
}

fn any_turns() -> impl Strategy<Value = Vec<(TurnKind, f64, f64)>> {
    let kinds = [
        TurnKind::Crescendo,
        TurnKind::Diminuendo,
        TurnKind::SubitoLoud,
        TurnKind::SubitoSoft,
        TurnKind::Accelerando,
        TurnKind::Ritardando,
        TurnKind::SuddenlyFaster,
        TurnKind::SuddenlySlower,
        TurnKind::ATempo,
        TurnKind::Rest,
        TurnKind::Fermata,
    ];
    prop::collection::vec((prop::sample::select(kinds.to_vec()), 0.0..150.0f64, 0.0..24.0f64), 0..6).prop_map(
        |turns| {
            let mut turns: Vec<_> = turns
                .into_iter()
                .map(|(kind, start, lasts)| {
                    let lasts = match kind {
                        kind if kind.sudden() => 0.0,
                        TurnKind::Rest | TurnKind::Fermata => lasts / 6.0,
                        _ => lasts + 4.0,
                    };
                    (kind, start, start + lasts)
                })
                .collect();
            turns.sort_by(|a, b| a.1.total_cmp(&b.1));
            turns
        },
    )
}

prop_compose! {
    /// Any piece: phrases of any kind, turns anywhere inside it.
    fn any_piece()(
        pickup in 0..6usize,
        phrases in prop::collection::vec(any_phrase(1..=5, 12.0), 1..9),
        turns in any_turns(),
    ) -> Listening {
        let end = (pickup + phrases.iter().map(|phrase| phrase.counts).sum::<usize>()) as f64;
        let inside: Vec<_> = turns.into_iter().filter(|turn| turn.2 < end).collect();
        heard(pickup, &phrases, &inside)
    }
}

fn any_profile() -> impl Strategy<Value = Profile> {
    (4..=12u8).prop_map(|age| Profile { age, ..Profile::default() })
}

fn lasts(music: &Listening, cue: &Cue) -> Seconds {
    music.grid.seconds_at(cue.end()).since(music.grid.seconds_at(cue.at))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn cues_are_apart_inside_the_grid_and_long_enough(music in any_piece(), profile in any_profile()) {
        prop_assume!(music.grid.len() >= 8);
        let draft = draft(&music, &MoveBook::built_in(), &profile).expect("a beat");
        prop_assert!(!draft.cues.is_empty());
        for pair in draft.cues.windows(2) {
            prop_assert_eq!(pair[0].end(), pair[1].at, "a gap or an overlap");
        }
        for cue in &draft.cues {
            prop_assert!(cue.at.0 >= 0.0 && cue.end().0 <= music.grid.end().0);
            prop_assert!(cue.at.is_whole() && cue.counts.0 >= 4.0, "{:?}", cue);
            prop_assert!(lasts(&music, cue).0 >= SHORTEST_SHOWN.0 - 1e-6 || draft.cues.len() == 1, "{:?}", cue);
            prop_assert!(cue.lead.is_none());
            let why = cue.why.as_deref().unwrap_or_default();
            prop_assert!(why.len() > 20 && !why.ends_with('.') && !why.contains("NaN"), "{}", why);
            let words = cue.words.as_deref().unwrap_or(&move_of(&draft, cue).words);
            prop_assert!((1..=4).contains(&count_words(words)), "{}", words);
        }
        prop_assert_eq!(draft.cues.last().expect("some").end(), music.grid.end());
    }

    #[test]
    fn moves_change_only_where_the_music_does(music in any_piece()) {
        prop_assume!(music.grid.len() >= 8);
        let draft = drafted(&music);
        let phrase_start = |at: f64| music.grid.phrases().iter().any(|phrase| phrase.start as f64 == at);
        // The bar start within a count of a gradual turn is as near.
        let at_turn = |at: f64| {
            let near = |beat: Beat| (beat.0 - at).abs() <= 1.0;
            music.turns.iter().any(|turn| near(turn.start_beat) || near(turn.end_beat))
        };
        for (index, cue) in draft.cues.iter().enumerate() {
            let after_freeze = index > 0 && move_of(&draft, &draft.cues[index - 1]).step == StepKind::Freeze;
            let ending = index + 1 == draft.cues.len();
            let pickup = cue.at.0 == 0.0;
            let other_side = index > 0
                && draft.cues[index - 1].movement == cue.movement
                && draft.cues[index - 1].side != cue.side;
            prop_assert!(
                other_side || phrase_start(cue.at.0) || at_turn(cue.at.0) || after_freeze || ending || pickup,
                "cue at {} for no reason", cue.at.0
            );
        }
    }

    /// Beside the range by what is hardly noticed (3 % over six beats: Drake and Botte 1993), or for a few hurried counts.
    #[test]
    fn nobody_moves_outside_a_moves_tempo(music in any_piece(), profile in any_profile()) {
        prop_assume!(music.grid.len() >= 8);
        let draft = draft(&music, &MoveBook::built_in(), &profile).expect("a beat");
        for cue in &draft.cues {
            let entry = move_of(&draft, cue);
            let range = 0.97 * entry.tempo.slowest.0..=1.03 * entry.tempo.fastest.0;
            let tempi: Vec<f64> = (cue.at.index()..cue.end().index())
                .map(|beat| music.grid.tempo_at(Beat::from(beat)).0)
                .collect();
            let stray = tempi.iter().filter(|bpm| !range.contains(bpm)).count();
            prop_assert!(stray <= 3 && 2 * stray < tempi.len(), "{} at {:?}", entry.id.0, tempi);
        }
    }

    /// Common practice: 8 to 16 jumps, then at least as long something gentler.
    #[test]
    fn after_jumping_comes_as_long_a_rest(music in any_piece(), profile in any_profile()) {
        prop_assume!(music.grid.len() >= 8);
        let draft = draft(&music, &MoveBook::built_in(), &profile).expect("a beat");
        let mut owed = 0.0f64;
        for cue in &draft.cues {
            match move_of(&draft, cue).step {
                StepKind::Jump => {
                    prop_assert_eq!(owed, 0.0, "jumping again at {}", cue.at.0);
                    prop_assert!(cue.counts.0 <= LONGEST_JUMPING.0);
                    owed = cue.counts.0;
                }
                StepKind::Run => prop_assert_eq!(owed, 0.0, "running at {} instead of resting", cue.at.0),
                _ => owed = (owed - cue.counts.0).max(0.0),
            }
        }
    }

    #[test]
    fn the_same_music_gets_the_same_draft(music in any_piece(), profile in any_profile()) {
        prop_assume!(music.grid.len() >= 8);
        let book = MoveBook::built_in();
        prop_assert_eq!(draft(&music, &book, &profile), draft(&music.clone(), &book, &profile));
    }

    /// As long as no music goes on for more than 64 counts, after which another move takes over.
    #[test]
    fn at_a_steady_tempo_equal_letters_have_equal_moves(
        phrases in prop::collection::vec((0..3usize, 1..=3u8), 2..9),
        bpm in 70.0..150.0f64,
        age in 5..12u8,
    ) {
        prop_assume!(phrases.windows(5).all(|five| five.iter().any(|phrase| phrase.0 != five[0].0)));
        let phrases: Vec<Heard> =
            phrases.iter().map(|&(letter, energy)| phrase(["A", "B", "C"][letter], 16, bpm, energy)).collect();
        let music = heard(0, &phrases, &[]);
        let draft = draft(&music, &MoveBook::built_in(), &Profile { age, distance: 3.0 }).expect("a beat");
        let mut of_letter: BTreeMap<&str, &Cue> = BTreeMap::new();
        for (index, phrase) in music.grid.phrases().iter().enumerate() {
            let cue = draft.cues.iter().find(|cue| cue.at == Beat::from(phrase.start)).expect("one each");
            // Something to listen to may come first, when it does not return.
            if index > 0 || move_of(&draft, cue).id.0 != "listen" {
                let first = of_letter.entry(&phrase.letter).or_insert(cue);
                prop_assert_eq!(&first.movement, &cue.movement);
            }
        }
    }

    #[test]
    fn prompts_are_few_apart_and_inside(music in any_piece()) {
        prop_assume!(music.grid.len() >= 8);
        let draft = drafted(&music);
        prop_assert!(draft.prompts.len() <= 4);
        for pair in draft.prompts.windows(2) {
            prop_assert!(pair[1].at.0 - pair[0].at.0 >= 16.0);
        }
        for prompt in &draft.prompts {
            prop_assert!(prompt.at.0 >= 0.0 && prompt.at.0 < music.grid.end().0);
            prop_assert!(prompt.question.ends_with('?') && prompt.answer.ends_with('.'));
        }
    }

    #[test]
    fn a_drafted_dance_survives_its_file(music in any_piece()) {
        prop_assume!(music.grid.len() >= 8);
        let dance = new_dance("Piece", a_source(), Profile::default(), &music, drafted(&music));
        let opened = from_json(&to_json(&dance)).expect("valid");
        prop_assert_eq!(opened.notes.len(), 0);
        prop_assert_eq!(opened.dance.cues, dance.cues);
        prop_assert_eq!(opened.dance.moves, dance.moves);
    }
}
