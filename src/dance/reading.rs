//! How long a class needs to read a call and begin to move, and so how early a call must appear.
//!
//! One model for the floor, which shows calls, and the check, which judges them. It knows words and ages only,
//! not screens: size and contrast are judged elsewhere.

use super::Dance;
use crate::units::{Beat, Counts, Seconds};

/// The shortest time that any words stay on the screen: 2 s (DCMP Captioning Key, minimum a caption).
pub const SHORTEST_SHOWN: Seconds = Seconds(2.0);

/// The least lead of a new move (group exercise instruction: four-beat calls for new moves).
pub const NEW_MOVE_LEAD: Counts = Counts(4.0);

/// The least lead of a move that goes on (group exercise instruction: two-beat calls for known moves).
pub const SAME_MOVE_LEAD: Counts = Counts(2.0);

/// No call appears earlier than this; longer words must be shortened instead. Our decision.
pub const LONGEST_LEAD: Counts = Counts(32.0);

/// Words a minute that half of the children of an age read aloud at the end of the school year.
///
/// Median of the spring norms, grades 1 to 6 taken as ages 6 to 11: Hasbrouck and Tindal 2017. Children under 6
/// are given grade 1's rate, because their words are read to them beside the sign; over 11, 160, the
/// lower end of adult caption rates (BBC Subtitle Guidelines).
#[must_use]
pub fn words_per_minute(age: u8) -> f64 {
    match age {
        0..=6 => 60.0,
        7 => 100.0,
        8 => 112.0,
        9 => 133.0,
        10 | 11 => 146.0,
        _ => 160.0,
    }
}

/// From understanding a call to moving: 0.8 s up to 7 years, 0.6 s from 8.
///
/// Our allowance: simple auditory reaction takes 0.465 s at 5 years and 0.19 s at 15 (Developmental Medicine and
/// Child Neurology 26, 1984), choosing what to do about half as long again to twice as long.
#[must_use]
pub fn reaction(age: u8) -> Seconds {
    Seconds(if age <= 7 { 0.8 } else { 0.6 })
}

/// How many words there are to read; the parts of a hyphenated word count singly, signs not at all.
#[must_use]
pub fn count_words(words: &str) -> usize {
    words
        .split(|c: char| c.is_whitespace() || "-\u{2010}\u{2011}\u{2013}\u{2014}/".contains(c))
        .filter(|part| part.chars().any(char::is_alphanumeric))
        .count()
}

/// Time to read `words` and begin to move; the reaction alone when there are no words.
#[must_use]
pub fn time_needed(words: &str, age: u8) -> Seconds {
    Seconds(count_words(words) as f64 * 60.0 / words_per_minute(age)).plus(reaction(age))
}

impl Dance {
    /// How many counts before its start a cue's call appears: what the teacher set, else [`Dance::lead_needed`].
    ///
    /// `cue` is an index into the dance's cues; one that is out of range gives [`NEW_MOVE_LEAD`].
    #[must_use]
    pub fn lead_of(&self, cue: usize) -> Counts {
        self.cues.get(cue).and_then(|cue| cue.lead).unwrap_or_else(|| self.lead_needed(cue))
    }

    /// How many counts before its start a cue's call must appear to be read and answered in time, whatever the
    /// teacher set.
    ///
    /// A multiple of four counts that lasts at least [`time_needed`] at the tempo before the cue, so that calls
    /// fall where dancers expect them; when the cue before it says the same, a multiple of two that
    /// lasts the reaction. From [`NEW_MOVE_LEAD`] or [`SAME_MOVE_LEAD`] to [`LONGEST_LEAD`].
    #[must_use]
    pub fn lead_needed(&self, cue: usize) -> Counts {
        let Some(this) = self.cues.get(cue) else { return NEW_MOVE_LEAD };
        let words = self.words_of(this);
        let before = cue.checked_sub(1).and_then(|before| self.cues.get(before));
        let same = before.is_some_and(|before| {
            before.movement == this.movement && before.side == this.side && self.words_of(before) == words
        });
        let (step, needed) = if same {
            (SAME_MOVE_LEAD, reaction(self.profile.age))
        } else {
            (NEW_MOVE_LEAD, time_needed(words, self.profile.age))
        };
        let start = self.grid.seconds_at(this.at);
        let mut lead = step;
        // Written so that a time which is not a number ends the loop at once.
        while lead.0 < LONGEST_LEAD.0
            && start.since(self.grid.seconds_at(Beat(this.at.0 - lead.0))).0 < needed.0 - 1e-6
        {
            lead.0 += step.0;
        }
        lead
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dance::{Cue, MoveId, Profile, SCHEMA, Source};
    use crate::grid::Grid;
    use crate::identity::Identity;
    use crate::units::Bpm;

    /// A dance on a steady grid whose cues say `words`, eight counts apart from beat 16.
    fn dance(bpm: f64, age: u8, words: &[&str]) -> Dance {
        let beat = Bpm(bpm).beat_length().0;
        let beats = (0..64).map(|index| Seconds(1.0 + beat * f64::from(index))).collect();
        let cue = |(index, words): (usize, &&str)| Cue {
            words: Some((*words).into()),
            ..Cue::new(Beat::from(16 + 8 * index), Counts(8.0), MoveId("walk".into()))
        };
        Dance {
            schema: SCHEMA,
            title: "Test".into(),
            recording: Source {
                path: "test.wav".into(),
                identity: Identity { hash: String::new(), frames: 0, rate: 48_000 },
                title: None,
                performer: None,
                year: None,
                unknown: serde_json::Map::new(),
            },
            profile: Profile { age, distance: 3.0 }.into(),
            notes: String::new(),
            grid: Grid::new(beats, vec![], vec![]).expect("steady beats"),
            anchors: vec![],
            moves: vec![],
            cues: words.iter().enumerate().map(cue).collect(),
            prompts: vec![],
            silenced: vec![],
            unknown: serde_json::Map::new(),
        }
    }

    /// Hasbrouck and Tindal 2017, spring, 50th percentile, grades 1 to 6.
    #[test]
    fn reading_rates_are_the_published_medians() {
        let rates: Vec<f64> = (6..=11).map(words_per_minute).collect();
        assert_eq!(rates, [60.0, 100.0, 112.0, 133.0, 146.0, 146.0]);
    }

    /// Four words take 4.0, 2.4, 2.1 and 1.6 s at 60, 100, 112 and 146 words a minute.
    #[test]
    fn four_words_take_as_long_as_their_rate_says() {
        for (age, reading) in [(6, 4.0), (7, 2.4), (8, 2.143), (10, 1.644)] {
            let reading_alone = time_needed("turn around very slowly", age).0 - reaction(age).0;
            assert!((reading_alone - reading).abs() < 0.001, "age {age}: {reading_alone}");
        }
    }

    #[test]
    fn words_are_counted_as_they_are_read() {
        assert_eq!(count_words("step-touch and clap!"), 4);
        assert_eq!(count_words("  ↑ grow \u{2013} tall "), 2);
        assert_eq!(count_words(""), 0);
        assert_eq!(time_needed("", 9), reaction(9));
    }

    /// At 120 BPM four beats are 2.0 s, less than four words need in grade 2, so eight are needed.
    #[test]
    fn four_words_in_grade_two_at_120_need_eight_beats() {
        let dance = dance(120.0, 7, &["turn around very slowly", "jump", "march"]);
        assert_eq!(dance.lead_needed(0), Counts(8.0));
        assert_eq!(dance.lead_needed(1), Counts(4.0));
    }

    #[test]
    fn a_move_that_goes_on_needs_two_counts_and_time_to_react() {
        assert_eq!(dance(120.0, 7, &["march", "march"]).lead_needed(1), Counts(2.0));
        assert_eq!(dance(176.0, 7, &["march", "march"]).lead_needed(1), Counts(4.0));
    }

    #[test]
    fn the_teachers_lead_outranks_the_model() {
        let mut dance = dance(120.0, 7, &["march"]);
        dance.cues[0].lead = Some(Counts(1.0));
        assert_eq!(dance.lead_of(0), Counts(1.0));
        assert_eq!(dance.lead_needed(0), Counts(4.0));
        assert_eq!(dance.lead_of(7), NEW_MOVE_LEAD);
    }

    #[test]
    fn no_lead_is_shorter_than_needed_or_off_the_four_count_raster() {
        for age in 3..=12 {
            for bpm in (40..=220).step_by(5) {
                let dance = dance(f64::from(bpm), age, &["swing both arms wide"]);
                let lead = dance.lead_needed(0);
                let lasts = lead.0 * 60.0 / f64::from(bpm);
                assert!(lead.0 % 4.0 == 0.0 && lead.0 >= 4.0, "{lead:?}");
                assert!(lasts >= time_needed("swing both arms wide", age).0 - 1e-6, "age {age} at {bpm}");
                let shorter = (lead.0 - 4.0) * 60.0 / f64::from(bpm);
                assert!(lead.0 == 4.0 || shorter < time_needed("swing both arms wide", age).0);
            }
        }
    }
}
