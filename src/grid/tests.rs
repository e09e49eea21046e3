use super::*;
use proptest::prelude::*;

/// Four bars of three after a one-beat pickup, slowing from 0.5 s to 1 s a beat.
fn slowing() -> Grid {
    let mut at = 0.25;
    let beats = (0..13)
        .map(|i| {
            let here = Seconds(at);
            at += 0.5 + 0.5 * f64::from(i) / 12.0;
            here
        })
        .collect();
    let phrase = |start, letter: &str| Phrase { start, letter: letter.into() };
    Grid::new(beats, vec![1, 4, 7, 10], vec![phrase(1, "A"), phrase(7, "B")]).expect("valid by construction")
}

#[test]
fn positions_are_said_as_dancers_and_musicians_do() {
    let grid = slowing();
    let said = |beat| (grid.count_at(Beat(beat)).to_string(), grid.bar_at(Beat(beat)).to_string());
    assert_eq!(said(0.0), ("pickup, count 1".into(), "pickup, beat 1".into()));
    assert_eq!(said(1.0), ("phrase 1 (A), count 1".into(), "bar 1, beat 1".into()));
    assert_eq!(said(6.5), ("phrase 1 (A), count 6".into(), "bar 2, beat 3".into()));
    assert_eq!(said(12.0), ("phrase 2 (B), count 6".into(), "bar 4, beat 3".into()));
}

#[test]
fn an_empty_or_single_beat_grid_still_answers() {
    assert_eq!(Grid::default().seconds_at(Beat(4.0)), Seconds(2.0));
    assert_eq!(Grid::default().beat_at(Seconds(2.0)), Beat(4.0));
    let one = Grid::new(vec![Seconds(3.0)], vec![], vec![]).expect("valid");
    assert_eq!(one.seconds_at(Beat(2.0)), Seconds(4.0));
    assert_eq!(one.beat_at(Seconds(4.0)), Beat(2.0));
    assert_eq!(one.tempo_at(Beat(0.0)), Bpm(120.0));
}

#[test]
fn disorder_is_named() {
    let times = |t: &[f64]| t.iter().copied().map(Seconds).collect::<Vec<_>>();
    assert_eq!(Grid::new(times(&[0.0, 1.0, 1.0]), vec![], vec![]), Err(GridError::BeatOrder { index: 2 }));
    assert_eq!(Grid::new(times(&[0.0, f64::NAN]), vec![], vec![]), Err(GridError::NotATime { index: 1 }));
    assert_eq!(Grid::new(times(&[0.0, 1.0]), vec![0, 2], vec![]), Err(GridError::BarOrder { index: 1 }));
    let twice = vec![Phrase { start: 0, letter: "A".into() }; 2];
    assert_eq!(Grid::new(times(&[0.0, 1.0]), vec![], twice), Err(GridError::PhraseOrder { index: 1 }));
}

#[test]
fn a_grid_survives_json_to_a_tenth_of_a_millisecond() {
    let grid = slowing();
    let json = serde_json::to_string(&grid).expect("plain data");
    let back: Grid = serde_json::from_str(&json).expect("just written");
    for (a, b) in grid.beats().iter().zip(back.beats()) {
        assert!((a.0 - b.0).abs() <= 0.5e-4);
    }
    assert_eq!((grid.bars(), grid.phrases()), (back.bars(), back.phrases()));
    assert_eq!(grid.rounded(), back);
}

proptest! {
    #[test]
    fn seconds_and_beats_are_inverse(at in -4.0..20.0f64) {
        let grid = slowing();
        let there = grid.seconds_at(Beat(at));
        prop_assert!((grid.beat_at(there).0 - at).abs() < 1e-9);
    }

    #[test]
    fn later_beats_sound_later(a in -4.0..20.0f64, step in 1e-6..5.0f64) {
        let grid = slowing();
        prop_assert!(grid.seconds_at(Beat(a + step)) > grid.seconds_at(Beat(a)));
    }
}
