use super::*;
use crate::grid::Phrase;

/// 32 beats, 0.5 s each for the first 16 and 1 s after, in bars of 4 and phrases of 8.
fn grid() -> Grid {
    let beats = (0..32).map(|i| Seconds(if i < 16 { 0.5 * i as f64 } else { 8.0 + (i - 16) as f64 }));
    let phrases = (0..4).map(|i| Phrase { start: 8 * i, letter: "A".into() });
    Grid::new(beats.collect(), (0..8).map(|i| 4 * i).collect(), phrases.collect()).expect("ascending")
}

#[test]
fn a_stone_is_as_long_as_its_beat() {
    let trail = Trail::new(&grid(), None, Seconds(24.0));
    assert_eq!(trail.stones()[3].stride, Seconds(0.5));
    assert_eq!(trail.stones()[20].stride, Seconds(1.0));
    assert_eq!(trail.stones()[31].stride, Seconds(1.0));
}

#[test]
fn stones_never_lie_closer_than_asked() {
    let trail = Trail::new(&grid(), None, Seconds(24.0));
    // 24 s over 96 units: a 0.5 s beat is 2 units long, a bar 8, a phrase 16.
    for (least, stones) in [(2.0, 32), (2.1, 8), (8.1, 4), (16.1, 2), (50.0, 1)] {
        assert_eq!(trail.stones_apart(96.0, least).len(), stones, "{least} units apart");
    }
    assert!(Trail::new(&Grid::default(), None, Seconds(24.0)).stones_apart(80.0, 2.0).is_empty());
}

#[test]
fn height_does_not_depend_on_the_level_of_the_transfer() {
    let soft: Vec<f32> = (0..100).map(|i| -40.0 + 0.2 * i as f32).collect();
    let loud: Vec<f32> = soft.iter().map(|value| value + 12.0).collect();
    for (a, b) in heights(&soft).iter().zip(heights(&loud)) {
        assert!((a - b).abs() < 1e-4);
    }
    assert_eq!(heights(&soft)[99], 1.0);
    assert_eq!(heights(&soft)[0], 0.0);
}

#[test]
fn a_flat_recording_has_no_mountains() {
    let heights = heights(&[-20.0, -20.5, -21.0, -20.2]);
    assert!(heights.iter().all(|height| *height > 0.8), "1 LU of difference is a ripple: {heights:?}");
    assert_eq!(super::heights(&[-120.0; 8]), vec![0.0; 8], "silence lies in the valley");
    assert!(super::heights(&[]).is_empty());
}
