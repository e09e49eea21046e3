//! The words of a line of notes: pitches, drums, lengths, rests, bar lines, touches and accents.

/// How long a note sounds within its written length.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Touch {
    /// Short and light: under half of the written length.
    Staccato,
    /// Clearly separate: about three quarters.
    Detached,
    /// Almost to the next note.
    Tenuto,
    /// Into the next note.
    Legato,
}

impl Touch {
    /// The touch of that name, if there is one.
    pub fn named(word: &str) -> Option<Self> {
        [Self::Staccato, Self::Detached, Self::Tenuto, Self::Legato].into_iter().find(|t| t.word() == word)
    }

    /// The word that scores and truth files use.
    pub fn word(self) -> &'static str {
        match self {
            Self::Staccato => "staccato",
            Self::Detached => "detached",
            Self::Tenuto => "tenuto",
            Self::Legato => "legato",
        }
    }

    /// The share of the written length that sounds. The values are ours, chosen by ear of the result.
    pub fn share(self) -> f64 {
        match self {
            Self::Staccato => 0.42,
            Self::Detached => 0.72,
            Self::Tenuto => 0.92,
            Self::Legato => 1.02,
        }
    }
}

/// One key struck once.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Note {
    /// Beats from the start of the tune or piece it belongs to.
    pub at: f64,
    /// Written length in beats.
    pub length: f64,
    /// MIDI key number.
    pub key: u8,
    /// The touch written on the note itself, if any.
    pub touch: Option<Touch>,
    /// Written accent.
    pub accent: bool,
}

/// Notes of a tune, from its first beat.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Tune {
    /// Ascending in time.
    pub notes: Vec<Note>,
    /// Beats, rests included.
    pub length: f64,
    /// Where bar lines were written, in beats.
    pub bar_lines: Vec<f64>,
    /// The length that a note without one of its own takes.
    in_force: Option<f64>,
}

impl Tune {
    /// Adds one line of notes; a length stays in force until the next one, over line ends too.
    ///
    /// Errors with a sentence about the first word that cannot be read.
    pub fn push_line(&mut self, line: &str) -> Result<(), String> {
        for word in line.split_whitespace() {
            if word == "|" {
                self.bar_lines.push(self.length);
                continue;
            }
            if let Ok(beats) = word.parse::<f64>() {
                if !(beats > 0.0 && beats <= 64.0) {
                    return Err(format!("a note of {beats} beats is outside 0 to 64"));
                }
                self.in_force = Some(beats);
                continue;
            }
            let length = self.in_force.ok_or_else(|| format!("'{word}' comes before any length"))?;
            self.push_chord(word, length)?;
            self.length += length;
        }
        Ok(())
    }

    fn push_chord(&mut self, word: &str, length: f64) -> Result<(), String> {
        let mut body = word;
        let (mut touch, mut accent) = (None, false);
        while let Some(mark) = body.chars().last() {
            match mark {
                '\'' => touch = Some(Touch::Staccato),
                '_' => touch = Some(Touch::Tenuto),
                '~' => touch = Some(Touch::Legato),
                '>' => accent = true,
                _ => break,
            }
            body = &body[..body.len() - 1];
        }
        if body == "r" {
            return Ok(());
        }
        for name in body.split('+') {
            let key = key(name).ok_or_else(|| format!("'{name}' is not a pitch, a drum or a rest"))?;
            self.notes.push(Note { at: self.length, length, key, touch, accent });
        }
        Ok(())
    }
}

/// The MIDI key of a pitch such as `g4`, `f#3`, `bb4` (c4 is middle C, 60), or of a drum of the General MIDI kit.
fn key(name: &str) -> Option<u8> {
    drum(name).or_else(|| pitch(name))
}

fn drum(name: &str) -> Option<u8> {
    // General MIDI level 1 percussion key map.
    Some(match name {
        "kick" => 36,
        "snare" => 38,
        "tambourine" => 54,
        "crash" => 49,
        "triangle" => 81,
        "wood" => 76,
        "lowtom" => 41,
        _ => return None,
    })
}

fn pitch(name: &str) -> Option<u8> {
    let mut letters = name.chars();
    let step = match letters.next()? {
        'c' => 0,
        'd' => 2,
        'e' => 4,
        'f' => 5,
        'g' => 7,
        'a' => 9,
        'b' => 11,
        _ => return None,
    };
    let rest = letters.as_str();
    let (alteration, octave) = match rest.as_bytes().first()? {
        b'#' => (1, &rest[1..]),
        b'b' => (-1, &rest[1..]),
        _ => (0, rest),
    };
    let octave: i32 = octave.parse().ok().filter(|o| (0..=8).contains(o))?;
    u8::try_from(12 * (octave + 1) + step + alteration).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tune(line: &str) -> Result<Tune, String> {
        let mut tune = Tune::default();
        tune.push_line(line).map(|()| tune)
    }

    #[test]
    fn pitches_are_midi_keys() {
        // MIDI 1.0: middle C is key 60; A above it (440 Hz) is 69.
        for (name, key) in [("c4", 60), ("a4", 69), ("bb4", 70), ("b4", 71), ("f#3", 54), ("g2", 43)] {
            assert_eq!(pitch(name), Some(key), "{name}");
        }
        for name in ["h4", "c", "c9", "c-1", "4", "", "é4"] {
            assert_eq!(pitch(name), None, "{name}");
        }
    }

    #[test]
    fn lengths_stay_in_force_and_rests_take_time() {
        let tune = tune("1 g4 .5 r a4' | 2 g3+bb3>").unwrap();
        assert_eq!(tune.length, 4.0);
        assert_eq!(tune.bar_lines, [2.0]);
        let starts: Vec<(f64, u8)> = tune.notes.iter().map(|n| (n.at, n.key)).collect();
        assert_eq!(starts, [(0.0, 67), (1.5, 69), (2.0, 55), (2.0, 58)]);
        assert_eq!(tune.notes[1].touch, Some(Touch::Staccato));
        assert!(tune.notes[2].accent && tune.notes[3].accent && !tune.notes[0].accent);
    }

    #[test]
    fn unreadable_words_are_named() {
        assert_eq!(tune("1 g4 x9").unwrap_err(), "'x9' is not a pitch, a drum or a rest");
        assert_eq!(tune("g4").unwrap_err(), "'g4' comes before any length");
        assert_eq!(tune("0 g4").unwrap_err(), "a note of 0 beats is outside 0 to 64");
    }
}
