//! The check from outside: no dance makes it panic, the move book passes it, and its page in the docs is in step.

#[path = "support/dances.rs"]
mod dances;
#[path = "support/heard.rs"]
mod music;

use dances::{any_dance, full};
use farandole::check::{Fix, RULES, Severity, check, rules_page};
use farandole::dance::{Cue, Dance, Move, MoveBook, Profile, Side, Source, StepKind, draft, new_dance};
use farandole::grid::Grid;
use farandole::listening::{
    Articulation, Contour, Dynamic, Dynamics, Listening, Loudness, PhraseCharacter, Pulse, Sureness, Turn,
    TurnKind,
};
use farandole::units::{Beat, Bpm, Counts, Decibels, Lufs, Seconds};
use music::{heard, phrase, turn};
use proptest::prelude::*;
use std::path::{Path, PathBuf};

/// Numbers that trouble arithmetic, beside ordinary ones.
fn odd() -> impl Strategy<Value = f64> {
    prop_oneof![
        4 => -8.0..80.0f64,
        1 => prop::sample::select(vec![
            f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 0.0, -0.0, 1e300, -1e300, 1e-300, f64::MAX, 1e17,
        ]),
    ]
}

fn a_kind() -> impl Strategy<Value = TurnKind> {
    prop::sample::select(vec![
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
    ])
}

prop_compose! {
    /// A listening to some other music than the dance's, its parts out of step with each other.
    fn any_listening()(
        dance in any_dance(),
        numbers in prop::collection::vec(odd(), 8),
        levels in prop::collection::vec(prop_oneof![-120.0..0.0f32, Just(f32::NAN)], 0..40),
        turns in prop::collection::vec((a_kind(), odd(), odd()), 0..6),
        sureness in prop::collection::vec(0.0..1.0f32, 0..12),
        phrases in 0..5usize,
        pulse in prop::sample::select(vec![Pulse::Clear, Pulse::Unsure, Pulse::None, Pulse::Silent, Pulse::TooShort]),
    ) -> Listening {
        let contour = Contour { step: Seconds(numbers[0]), values: levels };
        let character = PhraseCharacter {
            bpm: Bpm(numbers[1]),
            level: Lufs(numbers[2]),
            dynamic: Some(Dynamic::P),
            articulation: Articulation::Unclear,
            energy: 5,
        };
        let turn = |(kind, start, sure): (TurnKind, f64, f64)| Turn {
            kind,
            start: Seconds(start),
            end: Seconds(start),
            start_beat: Beat(start),
            end_beat: Beat(start),
            from: 0.0,
            to: 0.0,
            sureness: Sureness(sure as f32),
        };
        Listening {
            analyser: 0,
            length: Seconds(numbers[3]),
            pulse,
            grid: dance.grid,
            sureness: sureness.into_iter().map(Sureness).collect(),
            metres: vec![],
            tempo: vec![],
            loudness: Loudness {
                integrated: Some(Lufs(numbers[4])),
                range: None,
                peak: Decibels(numbers[5]),
                momentary: contour.clone(),
                short_term: contour,
            },
            dynamics: Dynamics { marks: vec![(Dynamic::P, Lufs(numbers[6])), (Dynamic::F, Lufs(numbers[7]))] },
            phrases: vec![character; phrases],
            turns: turns.into_iter().map(turn).collect(),
            summary: vec![],
        }
    }
}

/// Checks a dance and holds what is true of every report.
fn judge(dance: &Dance, heard: Option<&Listening>) -> Result<(), TestCaseError> {
    let report = check(dance, heard);
    prop_assert!(report.turns_met <= report.turns);
    for finding in &report.findings {
        prop_assert!(RULES.iter().any(|rule| rule.id == finding.rule && rule.severity == finding.severity));
        prop_assert!(finding.cue.is_none_or(|cue| cue < dance.cues.len()));
        prop_assert!(!finding.message.is_empty() && !finding.remedy.is_empty());
    }
    Ok(())
}

proptest! {
    #[test]
    fn no_dance_makes_the_check_panic(dance in any_dance(), heard in prop::option::of(any_listening())) {
        judge(&dance, heard.as_ref())?;
    }

    #[test]
    fn no_odd_number_makes_the_check_panic(
        mut dance in any_dance(),
        numbers in prop::collection::vec((odd(), odd(), odd()), 12),
        heard in prop::option::of(any_listening()),
        empty in any::<bool>(),
        age in any::<u8>(),
    ) {
        let id = dance.moves.first().map(|entry| entry.id.clone());
        for (cue, (at, counts, lead)) in dance.cues.iter_mut().zip(&numbers) {
            *cue = Cue { lead: Some(Counts(*lead)), ..Cue::new(Beat(*at), Counts(*counts), full().moves[0].id.clone()) };
            cue.movement.clone_from(&id);
        }
        let mut kinds = [StepKind::Jump, StepKind::Run, StepKind::Turn, StepKind::Freeze].into_iter().cycle();
        for (entry, (steps, slowest, fastest)) in dance.moves.iter_mut().zip(&numbers) {
            entry.steps_per_count = *steps;
            entry.step = kinds.next().expect("the kinds go round");
            entry.tempo.slowest = Bpm(*slowest);
            entry.tempo.fastest = Bpm(*fastest);
        }
        dance.profile.age = age;
        dance.profile.distance = numbers[0].0;
        if empty {
            dance.grid = Grid::default();
        }
        judge(&dance, heard.as_ref())?;
    }

    #[test]
    fn the_same_dance_gives_the_same_report(dance in any_dance(), heard in prop::option::of(any_listening())) {
        let (once, twice) = (check(&dance, heard.as_ref()), check(&dance, heard.as_ref()));
        prop_assert_eq!(format!("{once:?}"), format!("{twice:?}"));
    }
}

/// Every built-in move, danced at the middle of its own tempo range, passes the rules about moves.
#[test]
fn the_move_book_passes_its_own_check() {
    let about_moves = [
        "step-rate",
        "move-tempo",
        "too-many-words",
        "no-gentle-version",
        "no-caution",
        "unknown-move",
        "jump-bout",
    ];
    let mut objections = Vec::new();
    for entry in MoveBook::built_in().entries() {
        let movement = &entry.movement;
        for part in [0.0, 0.5, 1.0] {
            let bpm = movement.tempo.slowest.0 + part * (movement.tempo.fastest.0 - movement.tempo.slowest.0);
            let beats = (0..32).map(|beat| Seconds(f64::from(beat) * 60.0 / bpm)).collect();
            let dance = Dance {
                grid: Grid::new(beats, vec![], vec![]).expect("steady beats"),
                moves: vec![movement.clone()],
                cues: vec![Cue::new(Beat(0.0), movement.counts, movement.id.clone())],
                prompts: vec![],
                silenced: vec![],
                ..full()
            };
            let report = check(&dance, None);
            let found = report.findings.into_iter().filter(|finding| about_moves.contains(&finding.rule));
            objections
                .extend(found.map(|finding| format!("{} at {bpm:.0}: {}", movement.id.0, finding.message)));
        }
    }
    assert!(objections.is_empty(), "{objections:#?}");
}

/// A first draft of ordinary music is nothing to warn of, at any primary age, and meets every turn.
#[test]
fn a_draft_passes_the_check() {
    let rondo = [
        phrase("intro", 8, 112.0, 1),
        phrase("A", 16, 112.0, 3).joined(Articulation::Staccato),
        phrase("B", 16, 112.0, 2).joined(Articulation::Legato),
        phrase("A", 16, 112.0, 3).joined(Articulation::Staccato),
        phrase("C", 16, 112.0, 5).joined(Articulation::Staccato),
    ];
    let quickening = [
        phrase("A", 32, 108.0, 3),
        phrase("A", 32, 108.0, 3),
        phrase("B", 32, 108.0, 2),
        phrase("C", 32, 108.0, 3).speeding_to(150.0),
        phrase("C", 32, 150.0, 5),
    ];
    let pieces = [
        heard(0, &rondo, &[turn(TurnKind::Rest, 37.0, 39.5), turn(TurnKind::SubitoLoud, 56.0, 56.0)]),
        heard(
            2,
            &quickening,
            &[
                turn(TurnKind::SubitoSoft, 66.0, 66.0),
                turn(TurnKind::Crescendo, 90.0, 97.0),
                turn(TurnKind::Accelerando, 98.0, 130.0),
            ],
        ),
    ];
    for heard in &pieces {
        for age in 5..=11 {
            let profile = Profile { age, ..Profile::default() };
            let drafted = draft(heard, &MoveBook::built_in(), &profile).expect("a beat was heard");
            let mut recording: Source = full().recording;
            recording.identity.frames = (heard.length.0 * f64::from(recording.identity.rate)).round() as u64;
            let dance = new_dance("Draft", recording, profile, heard, drafted);
            let report = check(&dance, Some(heard));
            assert!(report.worst() <= Some(Severity::Note), "age {age}: {:#?}", report.findings);
            assert_eq!(report.turns_met, report.turns, "age {age}");
        }
    }
}

/// Moves that can be pinned anywhere, those that fit and those that do not.
fn any_move() -> impl Strategy<Value = Move> {
    let moves: Vec<Move> = MoveBook::built_in().moves().cloned().collect();
    prop::sample::select(moves)
}

/// Turns that some rule asks for.
const TURNS: [TurnKind; 6] = [
    TurnKind::Crescendo,
    TurnKind::Diminuendo,
    TurnKind::SubitoLoud,
    TurnKind::SubitoSoft,
    TurnKind::Rest,
    TurnKind::Fermata,
];

prop_compose! {
    /// A dance of any moves of the book, and music of any character at any tempo under it.
    fn ill_fitting()(
        phrases in prop::collection::vec((45.0..215.0f64, 1..=5u8, 0..4usize), 1..4),
        moves in prop::collection::vec((any_move(), prop::option::of(any::<bool>())), 6),
        age in 4..12u8,
        soft in any::<bool>(),
        turned in prop::collection::vec((0..TURNS.len(), 0..12u8, 0..5u8), 0..3),
        gap in prop::option::of(0..6usize),
    ) -> (Dance, Listening) {
        use Articulation::{Detached, Legato, Staccato, Unclear};
        let phrases: Vec<_> = phrases
            .into_iter()
            .map(|(bpm, energy, notes)| {
                phrase("A", 16, bpm, energy).joined([Staccato, Detached, Legato, Unclear][notes])
            })
            .collect();
        let mut turns: Vec<_> = turned
            .into_iter()
            .map(|(kind, at, lasts)| turn(TURNS[kind], 4.0 * f64::from(at), 4.0 * f64::from(at) + f64::from(lasts)))
            .filter(|turn| turn.2 < 16.0 * phrases.len() as f64)
            .collect();
        turns.sort_by(|a, b| a.1.total_cmp(&b.1));
        let mut listening = heard(0, &phrases, &turns);
        if soft {
            listening.loudness.short_term.values.fill(-39.0);
        }
        let mut cues = Vec::new();
        let mut copies: Vec<Move> = Vec::new();
        // Without up to three cues, so that turns and long gaps are there to be filled.
        let there = |index: usize| gap.is_none_or(|gap| !(gap..gap + 3).contains(&index));
        for (index, (entry, left)) in
            moves.iter().enumerate().take(2 * phrases.len()).filter(|(index, _)| there(*index))
        {
            let side = left.filter(|_| entry.one_sided).map(|left| if left { Side::Left } else { Side::Right });
            let at = Beat(8.0 * index as f64);
            cues.push(Cue { side, ..Cue::new(at, Counts(8.0), entry.id.clone()) });
            if !copies.iter().any(|copy| copy.id == entry.id) {
                copies.push(entry.clone());
            }
        }
        copies.sort_by(|a, b| a.id.cmp(&b.id));
        let profile = Profile { age, ..Profile::default() }.into();
        let dance = Dance {
            grid: listening.grid.clone(), anchors: vec![], moves: copies, cues, profile, prompts: vec![],
            silenced: vec![], ..full()
        };
        (dance, listening)
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    /// A move that is offered in another's place is one that the editor can put there in one step that can be undone, and
    /// that the rule has nothing to say about; nor has any other that was silent before.
    #[test]
    fn a_move_that_is_offered_fits((dance, listening) in ill_fitting()) {
        let book = MoveBook::built_in();
        let report = check(&dance, Some(&listening));
        for finding in &report.findings {
            if let Some(fix @ Fix::Pin { at, .. }) = &finding.fix {
                let mut changed = dance.clone();
                let plan = farandole::dance::edit::plan(&dance, &book, &fix.command()).expect("the editor can");
                farandole::dance::edit::apply(&mut changed, plan.edit).expect("planned for this dance");
                prop_assert!(changed.cues.iter().any(|cue| cue.at == *at));
                let after = check(&changed, Some(&listening)).findings;
                let same = |a: &farandole::check::Finding, b: &farandole::check::Finding| {
                    a.rule == b.rule && a.at == b.at
                };
                prop_assert!(!after.iter().any(|other| same(other, finding)), "{:?}", finding);
                for other in &after {
                    let count = |list: &[farandole::check::Finding]| {
                        list.iter().filter(|one| same(one, other)).count()
                    };
                    prop_assert!(count(&after) <= count(&report.findings), "new: {:?} by {:?}", other, finding);
                }
                continue;
            }
            let Some(fix @ Fix::ReplaceMove { cue, to }) = &finding.fix else { continue };
            let rules = ["step-rate", "move-tempo", "energy", "articulation", "turn-contradicted", "jump-bout",
                "same-move-long", "long-turning"];
            prop_assert!(rules.contains(&finding.rule));
            let old = dance.cues[*cue].movement.clone().expect("a move was found at fault");
            prop_assert!(old != *to && finding.cue.is_some());
            let plan = farandole::dance::edit::plan(&dance, &book, &fix.command()).expect("the editor can");
            let mut changed = dance.clone();
            let back = farandole::dance::edit::apply(&mut changed, plan.edit).expect("planned for this dance");
            prop_assert_eq!(changed.cues[*cue].movement.as_ref(), Some(to));
            let after = check(&changed, Some(&listening));
            prop_assert!(
                !after.findings.iter().any(|other| other.rule == finding.rule && other.cue == finding.cue),
                "'{}' for '{}': {:?}", to.0, old.0, finding
            );
            for other in &after.findings {
                let same = |known: &&farandole::check::Finding| {
                    known.rule == other.rule && known.at == other.at && known.cue == other.cue
                };
                let count = |list: &[farandole::check::Finding]| list.iter().filter(same).count();
                prop_assert!(count(&after.findings) <= count(&report.findings), "new: {:?}", other);
            }
            farandole::dance::edit::apply(&mut changed, back).expect("an edit can be undone");
            prop_assert_eq!(&changed, &dance);
        }
    }
}

/// Every rule that offers a move, another one or one where none was, does so: a remedy that is never found would pass the property above.
#[test]
fn every_rule_about_a_moves_fit_offers_another() {
    use proptest::strategy::ValueTree;
    use proptest::test_runner::TestRunner;
    let mut runner = TestRunner::deterministic();
    let (mut found, mut offered) = (std::collections::BTreeMap::new(), std::collections::BTreeMap::new());
    for _ in 0..300 {
        let (dance, listening) = ill_fitting().new_tree(&mut runner).expect("a dance").current();
        for finding in check(&dance, Some(&listening)).findings {
            *found.entry(finding.rule).or_insert(0) += 1;
            if let Some(Fix::ReplaceMove { .. } | Fix::Pin { .. }) = finding.fix {
                *offered.entry(finding.rule).or_insert(0) += 1;
            }
        }
    }
    for rule in ["step-rate", "move-tempo", "energy", "articulation"] {
        let (found, offered) =
            (found.get(rule).copied().unwrap_or(0), offered.get(rule).copied().unwrap_or(0));
        assert!(found >= 10 && 2 * offered >= found, "{rule}: {offered} of {found}");
    }
    // Few moves show a turn, and a rest in the middle of ill-fitting moves often leaves another fault.
    for rule in ["turn-missed", "turn-contradicted", "rest-danced-through", "gap"] {
        let (found, offered) =
            (found.get(rule).copied().unwrap_or(0), offered.get(rule).copied().unwrap_or(0));
        assert!(found >= 4 && 6 * offered >= found, "{rule}: {offered} of {found}");
    }
}

fn page() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/rules.md")
}

/// With `FARANDOLE_WRITE_DOCS` set, the page is written anew first.
#[test]
fn the_page_of_rules_is_in_step_with_the_table() {
    if std::env::var_os("FARANDOLE_WRITE_DOCS").is_some() {
        std::fs::write(page(), rules_page()).expect("docs can be written");
    }
    let written = std::fs::read_to_string(page()).expect("docs/rules.md").replace("\r\n", "\n");
    assert!(
        written == rules_page(),
        "docs/rules.md differs from the table of rules; write it anew with 'FARANDOLE_WRITE_DOCS=1 cargo test --test check'"
    );
}
