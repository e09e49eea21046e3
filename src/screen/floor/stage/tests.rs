use super::*;
use crate::dance::{MoveBook, MoveId, Profile, SCHEMA, Source};
use crate::grid::{Grid, Phrase};
use crate::identity::Identity;

/// 64 beats of 0.5 s from 1.0 s, bars of 4, phrases of 16 (A B A B); moves by name with start, counts and side.
pub(in crate::screen) fn dance(cues: &[(&str, f64, f64)]) -> Dance {
    paced(cues, Bpm(120.0), 64)
}

/// The same at another tempo.
pub(in crate::screen) fn paced(cues: &[(&str, f64, f64)], tempo: Bpm, beats: usize) -> Dance {
    let beat = tempo.beat_length().0;
    let times = (0..beats).map(|i| Seconds(1.0 + beat * i as f64)).collect();
    let phrase = |i: usize| Phrase { start: 16 * i, letter: ["A", "B"][i % 2].into() };
    let grid = Grid::new(times, (0..beats).step_by(4).collect(), (0..beats / 16).map(phrase).collect());
    let mut dance = Dance {
        schema: SCHEMA,
        title: "Round the oak".into(),
        recording: Source {
            path: "oak.wav".into(),
            identity: Identity { hash: String::new(), frames: 0, rate: 48_000 },
            title: None,
            performer: None,
            year: None,
            unknown: serde_json::Map::new(),
        },
        profile: Profile::default().into(),
        notes: String::new(),
        grid: grid.expect("ascending"),
        anchors: Vec::new(),
        moves: Vec::new(),
        cues: Vec::new(),
        prompts: Vec::new(),
        silenced: Vec::new(),
        unknown: serde_json::Map::new(),
    };
    let book = MoveBook::built_in();
    for (name, at, counts) in cues {
        let id = MoveId((*name).into());
        let mut cue = Cue::new(Beat(*at), Counts(*counts), id.clone());
        match book.get(&id) {
            Some(entry) if !dance.moves.contains(entry) => dance.moves.push(entry.clone()),
            Some(_) => {}
            None => (cue.movement, cue.words) = (None, Some((*name).into())),
        }
        dance.cues.push(cue);
    }
    dance
}

fn floor(cues: &[(&str, f64, f64)]) -> Floor {
    Floor::new(dance(cues), None, Seconds(34.0))
}

/// The instant of a beat.
fn beat(beat: f64) -> Seconds {
    Seconds(1.0 + 0.5 * beat)
}

#[test]
fn a_move_is_now_from_its_first_beat_to_its_last() {
    let floor = floor(&[("march", 0.0, 8.0), ("freeze", 8.0, 4.0), ("walk", 16.0, 8.0)]);
    let words = |at: Seconds| floor.stage(at).now.map(|now| now.call.words.into_owned());
    assert_eq!(words(beat(-0.01)), None);
    assert_eq!(words(beat(0.0)).as_deref(), Some("march"));
    assert_eq!(words(Seconds(beat(8.0).0 - 1e-9)).as_deref(), Some("freeze"), "a hair early is on the beat");
    assert_eq!(words(beat(7.99)).as_deref(), Some("march"));
    assert_eq!(words(beat(11.99)).as_deref(), Some("freeze"));
    assert_eq!(words(beat(12.0)), None, "a gap of four counts is shown");
    assert_eq!(words(beat(16.0)).as_deref(), Some("walk"));
    assert_eq!(words(beat(60.0)), None);
}

#[test]
fn the_countdown_counts_the_counts_before_the_move() {
    let floor = floor(&[("march", 0.0, 16.0), ("clap", 16.0, 8.0)]);
    let to_go = |at: f64| floor.stage(beat(at)).next.map(|next| next.to_go);
    assert_eq!(to_go(8.0), Some(8), "on count 9 of 16 eight counts are left");
    assert_eq!(to_go(8.9), Some(8));
    assert_eq!(to_go(15.0), Some(1));
    assert_eq!(to_go(15.99), Some(1));
    assert_eq!(to_go(16.0), None, "nothing follows");
}

#[test]
fn a_call_comes_as_early_as_the_dance_says() {
    let mut dance = dance(&[("march", 0.0, 16.0), ("clap", 16.0, 8.0)]);
    dance.cues[1].lead = Some(Counts(6.0));
    let floor = Floor::new(dance, None, Seconds(34.0));
    let called = |at: f64| floor.stage(beat(at)).next.is_some_and(|next| next.called);
    assert!(!called(9.99));
    assert!(called(10.0));
    let stage = floor.stage(beat(12.5));
    let stones = stage.next.expect("called").stones;
    assert_eq!(stones.len(), 6);
    assert_eq!(stones.iter().filter(|stone| stone.crossed).count(), 2);
    assert_eq!(stones.iter().position(|stone| stone.here), Some(2));
    assert!(stones.iter().all(|stone| (stone.stride.0 - 0.5).abs() < 1e-9));
}

#[test]
fn a_call_stands_for_a_moment_however_short_its_lead() {
    let mut dance = dance(&[("march", 2.0, 14.0), ("clap", 16.0, 8.0)]);
    (dance.cues[0].lead, dance.cues[1].lead) = (Some(Counts(0.1)), Some(Counts(0.0)));
    let floor = Floor::new(dance, None, Seconds(34.0));
    let called = |at: f64| floor.stage(beat(at)).next.is_some_and(|next| next.called);
    assert_eq!([1.1, 1.3, 1.95].map(called), [false, true, true], "0.4 s are 0.8 counts");
    assert!(!called(15.9), "no lead is no call");
}

#[test]
fn a_class_is_counted_in_before_the_first_beat() {
    let floor = floor(&[("march", 0.0, 8.0)]);
    assert_eq!(floor.begin(), Seconds(-1.3), "a breath, and four counts of 0.5 s before 1.0 s");
    assert_eq!(floor.count_in(), [-1.0, -0.5, 0.0, 0.5].map(Seconds));
    let part = |at: f64| floor.stage(Seconds(at)).part;
    assert_eq!(part(-1.3), Part::Breath);
    assert_eq!(part(-1.01), Part::Breath);
    assert_eq!(part(-1.0), Part::CountIn(4));
    assert_eq!(part(-0.51), Part::CountIn(4));
    assert_eq!(part(-0.5), Part::CountIn(3));
    assert_eq!(part(0.99), Part::CountIn(1));
    assert_eq!(part(1.0), Part::Dance);
    assert_eq!(part(33.99), Part::Dance);
    assert_eq!(part(34.0), Part::Ended);
}

#[test]
fn music_before_the_count_in_is_listened_to() {
    let mut dance = dance(&[("march", 0.0, 8.0)]);
    let times = dance.grid.beats().iter().map(|beat| Seconds(beat.0 + 9.0)).collect();
    dance.grid =
        Grid::new(times, dance.grid.bars().to_vec(), dance.grid.phrases().to_vec()).expect("ascending");
    let floor = Floor::new(dance, None, Seconds(43.0));
    assert_eq!(floor.begin(), Seconds(0.0));
    assert_eq!(
        [0.0, 7.99, 8.0].map(|at| floor.stage(Seconds(at)).part),
        [Part::Dance, Part::Dance, Part::CountIn(4)]
    );
}

#[test]
fn phrases_are_reached_from_anywhere() {
    let floor = floor(&[]);
    assert_eq!(floor.phrase_from(beat(3.0), false), Some(beat(16.0)));
    assert_eq!(floor.phrase_from(beat(16.0), false), Some(beat(32.0)));
    assert_eq!(floor.phrase_from(beat(50.0), false), None);
    assert_eq!(floor.phrase_from(beat(24.0), true), Some(beat(16.0)));
    assert_eq!(floor.phrase_from(beat(17.0), true), Some(beat(0.0)), "a second press goes further back");
    assert_eq!(floor.phrase_from(beat(1.0), true), Some(floor.begin()));
    assert_eq!(floor.phrase_span(beat(20.0)), Some((beat(16.0), beat(32.0))));
    assert_eq!(floor.phrase_span(beat(63.0)), Some((beat(48.0), Seconds(33.0))));
    assert_eq!(floor.phrase_span(Seconds(0.2)), None);
}

#[test]
fn words_that_would_follow_at_once_are_left_out() {
    let floor = floor(&[("march", 0.0, 1.0), ("hop", 0.5, 0.5), ("clap", 1.0, 8.0)]);
    let shown: Vec<usize> =
        (0..20).filter_map(|i| floor.stage(beat(f64::from(i) / 8.0)).now).map(|now| now.call.cue).collect();
    assert!(shown.contains(&0) && shown.contains(&2) && !shown.contains(&1), "{shown:?}");
}

#[test]
fn a_dance_without_beats_cues_or_length_still_has_a_stage() {
    let mut empty = dance(&[]);
    empty.grid = Grid::default();
    let floor = Floor::new(empty, None, Seconds(0.0));
    for at in [-5.0, 0.0, 3.0, 1e9, f64::NAN] {
        let stage = floor.stage(Seconds(at));
        assert!(stage.now.is_none() && stage.next.is_none() && stage.tempo.is_none());
    }
    assert!(floor.until_change(Seconds(0.3)).0 >= 0.0);
    assert_eq!(floor.begin(), Seconds(0.0));
}

#[test]
fn a_side_is_said_once() {
    let mut dance = dance(&[("sway", 0.0, 8.0), ("step left", 8.0, 8.0)]);
    dance.cues[0].side = Some(Side::Right);
    dance.cues[1].side = Some(Side::Left);
    let floor = Floor::new(dance, None, Seconds(34.0));
    let words: Vec<String> = floor.calls().map(|call| call.words.into_owned()).collect();
    assert!(words[0].ends_with(" right"), "{words:?}");
    assert_eq!(words[1], "step left");
}

#[test]
fn the_class_gets_ready_for_quick_music_too() {
    let lively = |floor: &Floor, before: f64| floor.stage(beat(before)).next.expect("a next move").lively;
    let cues = [
        ("slow and soft", 0.0, 16.0),
        ("quick and loud", 16.0, 16.0),
        ("suddenly soft", 32.0, 16.0),
        ("suddenly loud", 48.0, 16.0),
    ];
    let free = floor(&cues).freely();
    assert_eq!([lively(&free, 8.0), lively(&free, 24.0), lively(&free, 40.0)], [true, false, true]);
    // A teacher's own words are moves, and say nothing of the music.
    assert!(!lively(&floor(&cues), 8.0));
    let moves = floor(&[("walk", 0.0, 16.0), ("jump", 16.0, 16.0)]);
    assert!(lively(&moves, 8.0));
}
