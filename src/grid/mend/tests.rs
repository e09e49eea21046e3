use super::*;
use crate::grid::Phrase;

/// Thirty-two beats of half a second from 1 s on, bars of four, phrases of eight.
fn grid() -> Grid {
    let beats = (0..32).map(|beat| Seconds(1.0 + 0.5 * f64::from(beat))).collect();
    let phrase = |start| Phrase { start, letter: "A".into() };
    let bars = (0..32).step_by(4).collect();
    Grid::new(beats, bars, (0..32).step_by(8).map(phrase).collect()).expect("ascending")
}

/// A grid with these beats (seconds).
fn of(beats: &[f64]) -> Grid {
    Grid::new(beats.iter().copied().map(Seconds).collect(), vec![], vec![]).expect("ascending")
}

fn said(repair: &Repair, before: &[Anchor]) -> Vec<Anchor> {
    repair.anchors(&grid(), before).expect("possible")
}

#[test]
fn half_after_double_is_neither_and_twice_half_a_beat_is_none() {
    let doubled = said(&Repair::Double { from: 4 }, &[]);
    assert_eq!(doubled, [Anchor::Level { from: Seconds(3.0), level: Level::Double }]);
    assert_eq!(said(&Repair::Halve { from: 4 }, &doubled), []);
    assert_eq!(said(&Repair::Double { from: 4 }, &doubled).len(), 2, "four times as fast");
    assert_eq!(said(&Repair::Halve { from: 6 }, &doubled).len(), 2, "only from there on");
    let shifted = said(&Repair::ShiftHalf { from: 0 }, &[]);
    assert_eq!(said(&Repair::ShiftHalf { from: 0 }, &shifted), []);
}

#[test]
fn a_nudged_beat_is_placed_by_hand_and_nudged_on_from_there() {
    let by = NUDGE;
    let once = said(&Repair::Nudge { beat: 2, by }, &[Anchor::Tap { at: Seconds(1.97) }]);
    assert_eq!(once, [Anchor::Beat { at: Seconds(2.01) }]);
    let mut beats: Vec<f64> = grid().beats().iter().map(|beat| beat.0).collect();
    beats[2] = 2.01;
    let twice = Repair::Nudge { beat: 2, by }.anchors(&of(&beats), &once).expect("possible");
    assert_eq!(twice, [Anchor::Beat { at: Seconds(2.01).plus(by) }]);
    let far = Repair::Nudge { beat: 2, by: Seconds(0.3) };
    assert_eq!(far.anchors(&grid(), &[]), Err(MendError::TooClose));
    assert_eq!(Repair::Nudge { beat: 99, by }.anchors(&grid(), &[]), Err(MendError::NoBeat));
}

#[test]
fn a_beat_taken_out_is_a_beat_held_and_holds_grow_together() {
    let out = said(&Repair::RemoveBeat { beat: 5 }, &[Anchor::Beat { at: Seconds(3.5) }]);
    assert_eq!(out, [Anchor::Hold { at: Seconds(3.0), until: Seconds(4.0) }]);
    let beats: Vec<f64> = grid().beats().iter().map(|beat| beat.0).filter(|at| *at != 3.5).collect();
    let longer = Repair::HoldLonger { beat: 4 }.anchors(&of(&beats), &out).expect("possible");
    let goes_on = |at| Anchor::Beat { at: Seconds(at) };
    assert_eq!(longer, [Anchor::Hold { at: Seconds(3.0), until: Seconds(4.5) }, goes_on(5.0)]);
    let tapped = [out[0].clone(), Anchor::Tap { at: Seconds(4.95) }];
    let with_tap = Repair::HoldLonger { beat: 4 }.anchors(&of(&beats), &tapped).expect("possible");
    assert_eq!(with_tap, [tapped[1].clone(), longer[0].clone()], "she has said how it goes on");
    let before = of(&beats);
    let beats: Vec<f64> = beats.into_iter().filter(|at| *at != 4.0).collect();
    let shorter = Repair::HoldShorter { beat: 4 }.anchors(&of(&beats), &longer).expect("possible");
    assert_eq!(shorter, [Anchor::Hold { at: Seconds(3.0), until: Seconds(4.0) }, goes_on(4.5)]);
    let none = Repair::HoldShorter { beat: 4 }.anchors(&before, &shorter).expect("possible");
    assert_eq!(none, []);
    assert_eq!(Repair::HoldShorter { beat: 4 }.anchors(&of(&beats), &none), Err(MendError::NotHeld));
    for end in [0, 31] {
        assert_eq!(Repair::RemoveBeat { beat: end }.anchors(&grid(), &[]), Err(MendError::AtTheEnd));
    }
}

#[test]
fn a_beat_put_in_holds_its_neighbours_and_ends_a_hold() {
    let hold = Anchor::Hold { at: Seconds(3.0), until: Seconds(4.0) };
    let beats: Vec<f64> = grid().beats().iter().map(|beat| beat.0).filter(|at| *at != 3.5).collect();
    let put = Repair::InsertBeat { after: 4 }.anchors(&of(&beats), &[hold]).expect("possible");
    assert_eq!(put, [3.0, 3.5, 4.0].map(|at| Anchor::Beat { at: Seconds(at) }));
    let quick = of(&[0.0, 0.3, 0.6]);
    assert_eq!(Repair::InsertBeat { after: 0 }.anchors(&quick, &[]), Err(MendError::TooClose));
}

#[test]
fn a_later_count_one_nearby_corrects_the_earlier_and_takes_lengths_along() {
    let first = said(&Repair::CountOne { at: 8 }, &[]);
    let with = said(&Repair::PhrasesOf { from: 8, counts: 16 }, &first);
    let moved = said(&Repair::CountOne { at: 9 }, &with);
    let at = Seconds(5.5);
    assert_eq!(moved, [Anchor::PhraseLength { from: at, counts: 16 }, Anchor::CountOne { at }]);
    assert_eq!(Repair::CountOne { at: 9 }.anchors(&grid(), &moved), Err(MendError::Already));
    assert_eq!(said(&Repair::CountOne { at: 17 }, &moved).len(), 3, "another phrase");
}

#[test]
fn bars_and_phrases_are_said_once_for_one_place() {
    let three = said(&Repair::BarsOf { from: 4, beats: 3 }, &[]);
    let at = Seconds(3.0);
    assert_eq!(three, [Anchor::BarStart { at }, Anchor::Metre { from: at, beats: 3 }]);
    let two = said(&Repair::BarsOf { from: 4, beats: 2 }, &three);
    assert_eq!(two, [Anchor::BarStart { at }, Anchor::Metre { from: at, beats: 2 }]);
    let refused = |repair: Repair| repair.anchors(&grid(), &[]).expect_err("impossible").to_string();
    assert_eq!(refused(Repair::BarsOf { from: 4, beats: 17 }), "a bar has 1 to 16 beats, not 17");
    assert_eq!(refused(Repair::PhrasesOf { from: 4, counts: 0 }), "a phrase has 1 to 256 counts, not 0");
}

#[test]
fn tapping_a_stretch_again_replaces_what_was_tapped_there() {
    let at = |times: &[f64]| Repair::Taps(times.iter().copied().map(Seconds).collect());
    let first = said(&at(&[1.0, 1.5, 2.0]), &[Anchor::Beat { at: Seconds(9.0) }]);
    assert_eq!(first.len(), 4);
    let again = said(&at(&[1.4, 1.9]), &first);
    let taps: Vec<f64> = again.iter().skip(1).map(|anchor| anchor.when().0).collect();
    assert_eq!(taps, [1.0, 1.4, 1.9]);
}

#[test]
fn what_was_said_can_be_taken_back_singly_and_at_once() {
    let all = [Anchor::Beat { at: Seconds(9.0) }, Anchor::Tap { at: Seconds(2.0) }];
    assert_eq!(said(&Repair::Forget { anchor: 0 }, &all), all[1..]);
    assert_eq!(said(&Repair::AsHeard, &all), []);
    assert_eq!(Repair::AsHeard.anchors(&grid(), &[]), Err(MendError::Nothing));
    assert_eq!(Repair::Forget { anchor: 2 }.anchors(&grid(), &all), Err(MendError::Nothing));
}

#[test]
fn a_comparison_tells_what_moved_what_is_new_and_what_is_gone() {
    let same = compare(&grid(), &grid());
    assert!(same.is_nothing());
    assert_eq!(same.to_string(), "nothing is different");
    let mut beats: Vec<f64> = grid().beats().iter().map(|beat| beat.0).collect();
    beats[3] += 0.04;
    beats.remove(10);
    beats.push(17.0);
    let found = compare(&grid(), &of(&beats));
    assert_eq!((found.moved, found.new, found.gone), (1, 1, 1));
    assert!((found.furthest.0 - 0.04).abs() < 1e-9);
    assert_eq!(
        found.to_string(),
        "1 beat moved by up to 40 ms, 1 is new, 1 is gone, from 0:02.5 to 0:17.0, bars and phrases begin elsewhere"
    );
    let doubled: Vec<f64> = (0..63).map(|n| 1.0 + 0.25 * f64::from(n)).collect();
    let found = compare(&of(&doubled), &grid());
    assert_eq!((found.moved, found.new, found.gone), (0, 0, 31));
    assert!(compare(&Grid::default(), &grid()).new == 32);
}
