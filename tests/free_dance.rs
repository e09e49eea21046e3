//! The free dance: words that say what the music does, where the music changes, for as long as they need to be read.

#[path = "support/heard.rs"]
mod support;

use farandole::dance::reading::{SHORTEST_SHOWN, time_needed};
use farandole::dance::{Dance, Profile, Source, free_dance, free_sign};
use farandole::grid::Grid;
use farandole::identity::Identity;
use farandole::listening::{Articulation, Dynamic, Dynamics, Listening, TurnKind, listen};
use farandole::recording::decode;
use farandole::units::{Beat, Lufs, Seconds};
use proptest::prelude::*;
use std::ops::ControlFlow;
use std::path::Path;
use support::{Heard, heard, phrase, turn};

fn free(music: &Listening) -> Dance {
    aged(music, 7)
}

fn aged(music: &Listening, age: u8) -> Dance {
    let source = Source {
        path: "piece.flac".into(),
        identity: Identity { hash: "0".repeat(64), frames: 1_000, rate: 48_000 },
        title: None,
        performer: None,
        year: None,
        unknown: serde_json::Map::new(),
    };
    free_dance("Piece", source, Profile { age, distance: 3.0 }, music)
}

/// Each word with the beat at which it comes and its length in counts.
fn words(dance: &Dance) -> Vec<(&str, f64, f64)> {
    dance
        .cues
        .iter()
        .map(|cue| (cue.words.as_deref().expect("words alone"), cue.at.0, cue.counts.0))
        .collect()
}

/// Loudness by beat: p below -28 LUFS, mf to -22, f above.
fn as_loud_as(mut music: Listening, level: impl Fn(f64) -> f64) -> Listening {
    let contour = &mut music.loudness.short_term;
    for (index, value) in contour.values.iter_mut().enumerate() {
        *value = level(music.grid.beat_at(Seconds(index as f64 * contour.step.0)).0) as f32;
    }
    music.dynamics = Dynamics {
        marks: vec![(Dynamic::P, Lufs(-70.0)), (Dynamic::Mf, Lufs(-28.0)), (Dynamic::F, Lufs(-22.0))],
    };
    music
}

#[test]
fn phrases_get_the_words_of_what_they_are() {
    let music = heard(
        0,
        &[
            phrase("A", 16, 160.0, 4).joined(Articulation::Staccato),
            phrase("B", 16, 66.0, 2).joined(Articulation::Legato),
            phrase("C", 16, 104.0, 3),
        ],
        &[],
    );
    let music = as_loud_as(music, |beat| match beat {
        b if b < 16.0 => -15.0,
        b if b < 32.0 => -33.0,
        _ => -25.0,
    });
    // Three words hold in each of the first two; two are shown. The third has nothing that stands out.
    assert_eq!(words(&free(&music)), [("quick and loud", 0.0, 16.0), ("slow and soft", 16.0, 16.0)]);
}

#[test]
fn a_phrase_that_goes_on_in_the_same_way_shows_its_other_sides() {
    let slow = || phrase("A", 16, 66.0, 2).joined(Articulation::Legato);
    let music = as_loud_as(heard(0, &[slow(), slow(), slow(), slow()], &[]), |_| -33.0);
    let dance = free(&music);
    let shown: Vec<_> = words(&dance).iter().map(|word| word.0).collect();
    assert_eq!(shown, ["slow and soft", "soft and smooth", "smooth and slow", "slow and soft"]);
}

#[test]
fn what_stays_the_same_is_one_word_for_as_long() {
    let music = as_loud_as(
        heard(0, &[("A", 3), ("A", 3), ("B", 3)].map(|(l, e)| phrase(l, 16, 160.0, e)), &[]),
        |_| -25.0,
    );
    assert_eq!(words(&free(&music)), [("quick", 0.0, 48.0)]);
}

#[test]
fn turns_have_words_of_their_own() {
    let phrases = [phrase("A", 32, 100.0, 3), phrase("A", 32, 100.0, 3)];
    let plain = |turns: &[(TurnKind, f64, f64)]| as_loud_as(heard(0, &phrases, turns), |_| -25.0);
    let shown = |turns: &[(TurnKind, f64, f64)]| {
        let dance = free(&plain(turns));
        words(&dance).into_iter().map(|(word, at, counts)| (word.to_owned(), at, counts)).collect::<Vec<_>>()
    };
    let said = |word: &str, at: f64, counts: f64| vec![(word.to_owned(), at, counts)];
    assert_eq!(shown(&[turn(TurnKind::Crescendo, 8.0, 24.0)]), said("louder and louder", 8.0, 16.0));
    assert_eq!(shown(&[turn(TurnKind::Ritardando, 8.0, 24.0)]), said("slower and slower", 8.0, 16.0));
    assert_eq!(
        shown(&[turn(TurnKind::Accelerando, 8.0, 24.0), turn(TurnKind::Crescendo, 8.0, 24.0)]),
        said("faster and louder", 8.0, 16.0)
    );
    assert_eq!(shown(&[turn(TurnKind::SubitoLoud, 12.0, 12.0)]), said("suddenly loud", 12.0, 20.0));
    assert_eq!(shown(&[turn(TurnKind::Rest, 40.0, 48.0)]), said("still", 40.0, 8.0));
    assert_eq!(shown(&[turn(TurnKind::Rest, 40.0, 42.0)]), [], "1.2 s are too short to be read");
}

#[test]
fn nothing_that_stands_out_has_no_words() {
    assert_eq!(words(&free(&as_loud_as(heard(2, &[phrase("A", 32, 104.0, 3)], &[]), |_| -25.0))), []);
}

#[test]
fn without_beats_words_still_follow_the_loudness() {
    let mut music =
        as_loud_as(heard(0, &[phrase("A", 64, 120.0, 3)], &[turn(TurnKind::SubitoLoud, 32.0, 32.0)]), |b| {
            if b < 32.0 { -33.0 } else { -15.0 }
        });
    (music.grid, music.tempo, music.phrases) = (Grid::default(), vec![], vec![]);
    let dance = free(&music);
    let said: Vec<&str> = words(&dance).iter().map(|word| word.0).collect();
    assert_eq!(said, ["soft", "suddenly loud"]);
    assert!((dance.grid.seconds_at(dance.cues[1].at).0 - music.turns[0].start.0).abs() <= 0.25);
}

#[test]
fn every_word_has_a_sign() {
    for word in [
        "quick",
        "slow and soft",
        "loud",
        "soft",
        "short",
        "smooth and slow",
        "still",
        "suddenly loud",
        "louder and louder",
        "softer and softer",
        "faster and louder",
        "slower and slower",
    ] {
        let sign = free_sign(word);
        assert!((1..=2).contains(&sign.chars().count()), "'{word}': '{sign}'");
    }
    assert_eq!(free_sign("walk"), "");
}

/// What must hold of any free dance.
fn is_sound(music: &Listening, dance: &Dance) {
    let grid = &dance.grid;
    let at = |beat: Beat| grid.seconds_at(beat).0;
    let end = if grid.is_empty() { music.length.0 } else { at(grid.end()) };
    for (index, cue) in dance.cues.iter().enumerate() {
        let words = cue.words.as_deref().expect("words alone");
        let next = dance.cues.get(index + 1).map_or(end, |next| at(next.at));
        let needed = time_needed(words, dance.profile.age).0.max(SHORTEST_SHOWN.0);
        assert!(dance.cues.len() == 1 || next - at(cue.at) >= needed - 0.01, "'{words}' at {:?}", cue.at);
        assert!(!free_sign(words).is_empty(), "'{words}'");
        let musical = cue.at == Beat(0.0)
            || grid.phrases().iter().any(|phrase| Beat::from(phrase.start) == cue.at)
            || music.turns.iter().any(|turn| {
                let near = |t: f64| (grid.beat_at(Seconds(t)).0 - cue.at.0).abs() <= 0.51;
                near(turn.start.0) || near(turn.end.0) || near(turn.start.0 + turn.to)
            });
        assert!(musical, "'{words}' at {:?} is at no phrase and no turn", cue.at);
        if let Some(before) = index.checked_sub(1).map(|before| &dance.cues[before]) {
            assert!(
                before.end().0 <= cue.at.0 + 1e-9 && (before.words != cue.words || before.end().0 < cue.at.0)
            );
        }
    }
}

proptest! {
    #[test]
    fn any_music_gives_words_that_can_be_read_at_musical_points(
        phrases in prop::collection::vec((2usize..20, 40.0f64..240.0, 1u8..=5, 0usize..4), 1..12),
        turns in prop::collection::vec((0usize..11, 0.0f64..1.0, 0.0f64..0.3), 0..8),
        levels in prop::collection::vec(-40.0f64..-10.0, 1..30), age in 5u8..12, pickup in 0usize..4,
    ) {
        let kinds = [
            TurnKind::Crescendo, TurnKind::Diminuendo, TurnKind::SubitoLoud, TurnKind::SubitoSoft, TurnKind::Accelerando,
            TurnKind::Ritardando, TurnKind::SuddenlyFaster, TurnKind::SuddenlySlower, TurnKind::ATempo, TurnKind::Rest,
            TurnKind::Fermata,
        ];
        let joined = [Articulation::Staccato, Articulation::Detached, Articulation::Legato, Articulation::Unclear];
        let phrases: Vec<Heard> =
            phrases.iter().map(|&(n, bpm, energy, how)| phrase("A", n, bpm, energy).joined(joined[how])).collect();
        let beats: usize = pickup + phrases.iter().map(|phrase| phrase.counts).sum::<usize>();
        let turns: Vec<_> = turns.iter().map(|&(kind, at, long)| {
            let start = at * beats as f64;
            turn(kinds[kind], start, (start + long * beats as f64).min(beats as f64))
        }).collect();
        let many = levels.len() as f64;
        let music = as_loud_as(heard(pickup, &phrases, &turns), |beat| {
            levels[((beat / beats as f64).clamp(0.0, 0.999) * many) as usize]
        });
        let dance = aged(&music, age);
        is_sound(&music, &dance);
        prop_assert_eq!(aged(&music, age), dance);
    }
}

#[test]
fn the_demo_recordings_get_words_that_fit_them() {
    let words_of = |name: &str| {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("assets/demo").join(name);
        let recording = decode(&path, &mut |_| ()).expect("a demo recording");
        let on = &mut |_| ControlFlow::Continue(());
        let music = listen(&recording.samples, recording.channels, recording.rate, &[], on).expect("heard");
        let dance = free(&music);
        is_sound(&music, &dance);
        words(&dance).iter().map(|word| word.0.to_owned()).collect::<Vec<_>>()
    };
    let march = words_of("march-and-farandole.ogg");
    // As its note list has it: loud from the fifth second, a rest of two seconds, then tiptoe-quiet, growing faster and
    // louder to the end.
    for word in ["suddenly loud", "loud", "still", "faster and louder"] {
        assert!(march.iter().any(|said| said == word), "'{word}' in {march:?}");
    }
    assert!(march.iter().any(|said| said.contains("soft")), "{march:?}");
    assert!(words_of("goats-on-the-wall.ogg").iter().all(|said| said.contains("quick")));
    let boat = words_of("evening-boat.ogg");
    assert!(
        boat.iter().any(|said| said.contains("slow")) && boat.iter().all(|said| !said.contains("quick")),
        "{boat:?}"
    );
}
