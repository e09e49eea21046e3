//! The first draft of any music: whatever is heard, cues can be danced, read and seen through.

#[path = "support/drafts.rs"]
mod drafts;
#[path = "support/heard.rs"]
mod support;

use drafts::*;
use farandole::dance::file::{from_json, to_json};
use farandole::dance::reading::{SHORTEST_SHOWN, count_words};
use farandole::dance::{Cue, LONGEST_JUMPING, MoveBook, Profile, StepKind, draft, new_dance};
use farandole::listening::{Articulation, Listening, TurnKind};
use farandole::units::{Beat, Seconds};
use proptest::prelude::*;
use std::collections::BTreeMap;
use support::{Heard, heard, phrase};

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
            // A last pose may be a bar of three: no call follows that would have to be read in it.
            let fewest = if cue.end() == music.grid.end() { 3.0 } else { 4.0 };
            prop_assert!(cue.at.is_whole() && cue.counts.0 >= fewest, "{:?}", cue);
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
