//! Tempo and dynamics in words.

use crate::listening::Dynamic;
use crate::units::Bpm;

/// The musician's words for tempo with the slowest tempo of each: non-overlapping bands, each inside what published tables
/// allow (no standard exists and tables disagree, so the beats a minute are always shown beside the word).
const TEMPI: [(&str, f64); 9] = [
    ("Largo", 0.0),
    ("Adagio", 60.0),
    ("Andante", 76.0),
    ("Moderato", 100.0),
    ("Allegretto", 112.0),
    ("Allegro", 120.0),
    ("Vivace", 152.0),
    ("Presto", 168.0),
    ("Prestissimo", 200.0),
];

/// How far a tempo may stray out of a band before its word changes.
const STRAY: f64 = 3.0;

fn band(bpm: Bpm) -> usize {
    TEMPI.partition_point(|(_, from)| *from <= bpm.0).saturating_sub(1)
}

/// The word for a tempo inside music whose `usual` tempo has a word already, which is kept while the tempo strays
/// less than 3 beats a minute out of its band.
pub(super) fn tempo_word(bpm: Bpm, usual: Bpm) -> &'static str {
    let kept = band(usual);
    let low = TEMPI[kept].1 - STRAY;
    let high = TEMPI.get(kept + 1).map_or(f64::INFINITY, |(_, from)| from + STRAY);
    let band = if (low..high).contains(&bpm.0) { kept } else { band(bpm) };
    TEMPI[band].0
}

/// A dynamic mark for those who do not read music yet, and the mark.
pub(super) fn dynamic_words(dynamic: Dynamic) -> (&'static str, &'static str) {
    match dynamic {
        Dynamic::Pp => ("very soft", "pp"),
        Dynamic::P => ("soft", "p"),
        Dynamic::Mp => ("rather soft", "mp"),
        Dynamic::Mf => ("rather loud", "mf"),
        Dynamic::F => ("loud", "f"),
        Dynamic::Ff => ("very loud", "ff"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_word_holds_while_the_tempo_wavers() {
        assert_eq!(tempo_word(Bpm(111.4), Bpm(112.5)), "Allegretto");
        assert_eq!(tempo_word(Bpm(122.9), Bpm(112.5)), "Allegretto");
        assert_eq!(tempo_word(Bpm(123.0), Bpm(112.5)), "Allegro");
        assert_eq!(tempo_word(Bpm(108.9), Bpm(112.5)), "Moderato");
    }

    #[test]
    fn every_tempo_word_lies_inside_the_range_that_published_tables_give_it() {
        // Union of five published tables; see the table of tempo words in docs. Largo takes in Lento and Grave.
        let accepted = [
            ("Largo", 20.0, 68.0),
            ("Adagio", 52.0, 76.0),
            ("Andante", 72.0, 108.0),
            ("Moderato", 86.0, 120.0),
            ("Allegretto", 98.0, 128.0),
            ("Allegro", 109.0, 168.0),
            ("Vivace", 132.0, 176.0),
            ("Presto", 168.0, 200.0),
            ("Prestissimo", 178.0, 300.0),
        ];
        for bpm in 40..=208 {
            let bpm = f64::from(bpm);
            let word = tempo_word(Bpm(bpm), Bpm(bpm));
            let (_, low, high) = accepted.iter().find(|(name, ..)| *name == word).expect("listed");
            // Adagio's lower edge takes in Larghetto (60-66), which the tables give another word.
            assert!((*low..=*high).contains(&bpm), "{bpm} is not {word}");
        }
    }
}
