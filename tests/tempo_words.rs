//! Tempo words against the published tables that disagree: the printed bands do not overlap and lie inside what any
//! of the tables accepts (table 2a of the project's reference values: a plate, a magazine guide, a device list, the
//! marks called Maelzel's, and a survey).

use farandole::listening::TempoWord;
use farandole::units::Bpm;
use proptest::prelude::*;

/// The union of the five published tables, copied here by hand so that a slip in the program shows.
const ACCEPTED: [(TempoWord, f64, f64); 9] = [
    (TempoWord::Grave, 20.0, 44.0),
    (TempoWord::Largo, 35.0, 60.0),
    (TempoWord::Adagio, 52.0, 76.0),
    (TempoWord::Andante, 72.0, 108.0),
    (TempoWord::Moderato, 86.0, 120.0),
    (TempoWord::Allegretto, 98.0, 128.0),
    (TempoWord::Allegro, 109.0, 168.0),
    (TempoWord::Vivace, 132.0, 176.0),
    (TempoWord::Presto, 168.0, 200.0),
];

#[test]
fn every_whole_tempo_has_exactly_one_word() {
    for bpm in 40..=208 {
        let bpm = Bpm(f64::from(bpm));
        let words: Vec<TempoWord> = TempoWord::all()
            .filter(|word| {
                let (from, to) = word.core();
                bpm.0 >= from.0 && bpm.0 < to.0
            })
            .collect();
        assert_eq!(words, [TempoWord::of(bpm)], "{bpm:?}");
    }
}

#[test]
fn every_printed_band_is_accepted() {
    for (word, from, to) in ACCEPTED {
        assert_eq!(word.accepted(), (Bpm(from), Bpm(to)), "{word}");
        let core = word.core();
        // The slowest word is printed for anything slower, too.
        assert!(core.0.0 >= from || word == TempoWord::Grave, "{word}");
        assert!(core.1.0 <= to, "{word}");
    }
    assert!(TempoWord::Prestissimo.accepted().0.0 <= TempoWord::Prestissimo.core().0.0);
}

#[test]
fn the_words_are_those_of_the_recommended_table() {
    for (bpm, word) in [
        (40.0, "Largo"),
        (60.0, "Adagio"),
        (76.0, "Andante"),
        (100.0, "Moderato"),
        (112.0, "Allegretto"),
        (120.0, "Allegro"),
        (152.0, "Vivace"),
        (168.0, "Presto"),
        (200.0, "Prestissimo"),
    ] {
        assert_eq!(TempoWord::of(Bpm(bpm)).to_string(), word);
        assert_ne!(TempoWord::of(Bpm(bpm - 0.01)).to_string(), word);
    }
}

proptest! {
    #[test]
    fn a_word_stays_within_three_beats_of_its_band(bpm in 20.0..260.0f64, drift in -3.0..3.0f64) {
        let word = TempoWord::of(Bpm(bpm));
        prop_assert_eq!(word.then(Bpm(bpm)), word);
        let (from, to) = word.core();
        let edge = if drift < 0.0 { from.0 } else { to.0 };
        if edge.is_finite() && edge > 0.0 {
            prop_assert_eq!(word.then(Bpm(edge + drift)), word);
            prop_assert_ne!(word.then(Bpm(edge + 3.01 * drift.signum())), word);
        }
    }

    #[test]
    fn any_number_has_a_word(bpm in prop::num::f64::ANY) {
        let _ = TempoWord::of(Bpm(bpm)).plain();
    }
}

#[test]
fn words_along_a_piece_do_not_flicker_at_an_edge() {
    // Moderato begins at 100: a piece of about 100 keeps the word it began with, and one that leaves changes once.
    let tempi = [100.2, 99.4, 98.7, 101.0, 130.0, 151.6, 152.6].map(Bpm);
    let words: Vec<TempoWord> = TempoWord::along(tempi).collect();
    use TempoWord::{Allegro, Moderato};
    assert_eq!(words, [Moderato, Moderato, Moderato, Moderato, Allegro, Allegro, Allegro]);
}
