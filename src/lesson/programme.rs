//! A programme: a lesson as a running order, from a plain text that anyone can write, or from JSON.

use super::Glance;
use super::glance::energy_word;
use crate::dance::{Need, StepKind};
use crate::units::Seconds;
use serde::{Deserialize, Serialize};
use std::fmt;

/// Version of the JSON form.
const SCHEMA: u64 = 1;
/// The most items of a lesson; more is another kind of file.
const MOST: usize = 100;
/// The shortest and the longest item, in minutes.
const MINUTES: (f64, f64) = (0.25, 240.0);
/// How a dance's file name ends.
const DANCE: &str = ".dance.json";
/// From this energy on a dance should not begin or end a lesson.
const LIVELY: u8 = 4;
/// The longest piece of a line that is shown in a sentence.
const SHOWN: usize = 40;

/// A lesson as it was written down.
#[derive(Debug, Clone, PartialEq)]
pub struct Programme {
    /// What it is called; empty when it has no name.
    pub title: String,
    /// In order; at least one.
    pub items: Vec<Item>,
}

/// One thing that is done in a lesson.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Item {
    /// How long it takes, in minutes: 0.25 to 240.
    pub minutes: f64,
    /// The dance's file, from the programme's folder; `None` for whatever is done without one.
    #[serde(default)]
    pub dance: Option<String>,
    /// The teacher's note.
    #[serde(default)]
    pub note: String,
}

/// Why a text is no programme. The teacher can mend it at once.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ProgrammeError {
    /// Nothing is in it.
    #[error("it has no line with minutes; write one a line, as in '10 goats.dance.json dance it twice'")]
    Empty,
    /// A line that does not begin with minutes.
    #[error(
        "line {line} ('{text}') does not begin with minutes; write it as in '10 goats.dance.json dance it twice'"
    )]
    NoMinutes {
        /// Which, from 1.
        line: usize,
        /// What stands there.
        text: String,
    },
    /// Minutes that no lesson has.
    #[error("{place} takes {minutes} minutes; give 0.25 to 240")]
    Minutes {
        /// `line 3`, or `item 3` in JSON.
        place: String,
        /// What stands there.
        minutes: f64,
    },
    /// Quotation marks that are opened and not closed.
    #[error("line {line} opens quotation marks and does not close them; close them after the dance's name")]
    Quotes {
        /// Which, from 1.
        line: usize,
    },
    /// More than a lesson holds.
    #[error("it has {items} items, and a lesson has {MOST} at most; give one lesson a file")]
    TooMany {
        /// How many there are.
        items: usize,
    },
    /// JSON that is damaged or something else.
    #[error(
        "as JSON it goes wrong at line {line}: {what}; it needs 'schema': {SCHEMA}, 'title' and a list 'items'"
    )]
    Json {
        /// Which, from 1.
        line: usize,
        /// What is wrong there.
        what: String,
    },
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Raw {
    schema: u64,
    #[serde(default)]
    title: String,
    items: Vec<Item>,
}

impl Programme {
    /// Reads a programme: JSON if it begins like it, else one item a line: minutes, a dance's file if there is one, a note.
    /// Empty lines and what follows `#` at the beginning of a line are passed over; `title:` names the lesson.
    ///
    /// # Errors
    /// [`ProgrammeError`] says which line, and how it should be.
    pub fn read(text: &str) -> Result<Self, ProgrammeError> {
        let text = text.trim_start_matches('\u{feff}');
        let programme = if text.trim_start().starts_with('{') { json(text)? } else { lines(text)? };
        match programme.items.len() {
            0 => Err(ProgrammeError::Empty),
            items if items > MOST => Err(ProgrammeError::TooMany { items }),
            _ => Ok(programme),
        }
    }
}

fn json(text: &str) -> Result<Programme, ProgrammeError> {
    let wrong = |line, what: String| ProgrammeError::Json { line, what };
    let raw: Raw = serde_json::from_str(text).map_err(|error| {
        let what = error.to_string();
        let what = what.split(" at line ").next().unwrap_or_default().replace('`', "'");
        wrong(error.line().max(1), what)
    })?;
    if raw.schema != SCHEMA {
        return Err(wrong(1, format!("form {} is not known", raw.schema)));
    }
    for (index, item) in raw.items.iter().enumerate() {
        minutes(item.minutes, || format!("item {}", index + 1))?;
    }
    Ok(Programme { title: raw.title, items: raw.items })
}

fn minutes(minutes: f64, place: impl Fn() -> String) -> Result<f64, ProgrammeError> {
    if (MINUTES.0..=MINUTES.1).contains(&minutes) {
        Ok(minutes)
    } else {
        Err(ProgrammeError::Minutes { place: place(), minutes })
    }
}

fn lines(text: &str) -> Result<Programme, ProgrammeError> {
    let mut programme = Programme { title: String::new(), items: Vec::new() };
    for (index, line) in text.lines().enumerate() {
        let (line, number) = (line.trim(), index + 1);
        if line.is_empty() || line.starts_with('#') {
            continue;
        }
        let head = line.get(..6).filter(|head| head.eq_ignore_ascii_case("title:"));
        if head.is_some() && programme.items.is_empty() {
            programme.title = line[6..].trim().to_owned();
            continue;
        }
        programme.items.push(item(line, number)?);
    }
    Ok(programme)
}

/// `10 goats.dance.json twice`, `2.5 min "my goats.dance.json"`, `3 water`.
fn item(line: &str, number: usize) -> Result<Item, ProgrammeError> {
    let (first, rest) = line.split_once(char::is_whitespace).unwrap_or((line, ""));
    let figure = first.trim_end_matches(['\'', '\u{2032}', ':', ',']).replace(',', ".");
    let Ok(count) = figure.parse::<f64>() else {
        let shown: String = line.chars().take(SHOWN).collect();
        let more = if line.chars().count() > SHOWN { "..." } else { "" };
        return Err(ProgrammeError::NoMinutes { line: number, text: format!("{shown}{more}") });
    };
    let minutes = minutes(count, || format!("line {number}"))?;
    let mut rest = rest.trim();
    for unit in ["minutes", "minute", "min.", "min"] {
        let after = rest
            .strip_prefix(unit)
            .filter(|after| after.is_empty() || after.starts_with(char::is_whitespace));
        if let Some(after) = after {
            rest = after.trim();
            break;
        }
    }
    if let Some(quoted) = rest.strip_prefix('"') {
        let (name, note) = quoted.split_once('"').ok_or(ProgrammeError::Quotes { line: number })?;
        return Ok(Item { minutes, dance: Some(name.to_owned()), note: note.trim().to_owned() });
    }
    // A name may have blanks in it: it goes as far as its ending.
    let (dance, note) = match rest.find(DANCE) {
        Some(at) => {
            let (name, note) = rest.split_at(at + DANCE.len());
            (Some(name.to_owned()), note)
        }
        None => (None, rest),
    };
    let note = note.trim().trim_start_matches(['-', '\u{2013}', ':']).trim().to_owned();
    Ok(Item { minutes, dance, note })
}

/// An item with what is known of its dance.
#[derive(Debug, Clone, Copy)]
pub struct Part<'a> {
    /// The item.
    pub item: &'a Item,
    /// Its dance at a glance.
    pub glance: Option<&'a Glance>,
}

/// A lesson added up.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sum {
    /// How long it takes.
    pub minutes: f64,
    /// How many of its items are dances.
    pub dances: usize,
    /// How long the music of all of them lasts, each once.
    pub music: Seconds,
    /// How long is jumped in them.
    pub jumping: Seconds,
    /// What must be at hand.
    pub needs: Vec<Need>,
    /// What to watch for: the move's words and the caution, each said once.
    pub cautions: Vec<(String, String)>,
    /// What a teacher should look at.
    pub remarks: Vec<Remark>,
}

/// Something a teacher should look at before the lesson. Shown as a sentence.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "kind")]
pub enum Remark {
    /// The music lasts longer than the time that it is given. Our decision.
    Longer {
        /// Which item, from 0.
        item: usize,
        /// The dance's title.
        title: String,
        /// How long the music lasts.
        music: Seconds,
        /// How long it is given.
        minutes: f64,
    },
    /// One dance ends jumping or running, and the next begins so, with nothing between. Common practice, no source: as much
    /// rest as jumping.
    NoRest {
        /// The second of the two, from 0.
        item: usize,
        /// The titles of both.
        titles: (String, String),
    },
    /// The first dance begins lively. Common practice, no source: bodies are warmed up first.
    ColdStart {
        /// Which item, from 0.
        item: usize,
        /// The dance's title.
        title: String,
    },
    /// The last dance ends lively. Common practice, no source: a class calms down before it leaves.
    LivelyEnd {
        /// Which item, from 0.
        item: usize,
        /// The dance's title.
        title: String,
    },
    /// Moves without a whole gentle version.
    NotGentle {
        /// Which item, from 0.
        item: usize,
        /// The dance's title.
        title: String,
        /// The moves' words.
        moves: Vec<String>,
    },
    /// The check found problems.
    ToMend {
        /// Which item, from 0.
        item: usize,
        /// The dance's title.
        title: String,
        /// How many.
        problems: usize,
    },
    /// Its recording was not found.
    NotHeard {
        /// Which item, from 0.
        item: usize,
        /// The dance's title.
        title: String,
    },
}

impl fmt::Display for Remark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Longer { title, music, minutes, .. } => write!(
                f,
                "'{title}' lasts {}, longer than its {minutes} min: give it more time, or dance a part of it",
                music.minutes()
            ),
            Self::NoRest { titles: (before, after), .. } => write!(
                f,
                "'{before}' ends jumping or running and '{after}' begins so: put a rest, a talk or a calm dance between"
            ),
            Self::ColdStart { title, .. } => {
                write!(
                    f,
                    "the lesson begins lively, with '{title}': warm up first, or begin with a calmer dance"
                )
            }
            Self::LivelyEnd { title, .. } => {
                write!(f, "the lesson ends lively, with '{title}': add something calm at the end")
            }
            Self::NotGentle { title, moves, .. } => {
                let named = moves.iter().map(|words| format!("'{words}'")).collect::<Vec<_>>().join(", ");
                write!(
                    f,
                    "'{title}' has no whole gentle version of {named}: say how to do it sitting and without jumping"
                )
            }
            Self::ToMend { title, problems, .. } => {
                let what = if *problems == 1 { "a problem".into() } else { format!("{problems} problems") };
                write!(f, "the check finds {what} in '{title}': run farandole check")
            }
            Self::NotHeard { title, .. } => write!(
                f,
                "the recording of '{title}' was not found, so what it teaches is not known: put it beside the dance"
            ),
        }
    }
}

impl Sum {
    /// Adds up a lesson.
    #[must_use]
    pub fn of(parts: &[Part<'_>]) -> Self {
        let danced: Vec<(usize, &Glance)> =
            parts.iter().enumerate().filter_map(|(item, part)| Some((item, part.glance?))).collect();
        let mut sum = Self {
            minutes: parts.iter().map(|part| part.item.minutes).sum(),
            dances: danced.len(),
            music: Seconds(danced.iter().map(|(_, glance)| glance.length.0).sum()),
            jumping: Seconds(danced.iter().map(|(_, glance)| glance.jumping.0).sum()),
            needs: Vec::new(),
            cautions: Vec::new(),
            remarks: Vec::new(),
        };
        let lively = |energy: Option<&u8>| energy.is_some_and(|energy| *energy >= LIVELY);
        let moved = |glance: &Glance, last: bool| {
            let mut energies = glance.energy.iter().filter(|energy| **energy > 0);
            lively(if last { energies.next_back() } else { energies.next() })
        };
        // A talk or a game before the first dance may be the warming up, and one after the last the calming down.
        if let Some((item, first)) = danced.first().filter(|(item, first)| *item == 0 && moved(first, false))
        {
            sum.remarks.push(Remark::ColdStart { item: *item, title: first.title.clone() });
        }
        for (index, &(item, glance)) in danced.iter().enumerate() {
            let title = || glance.title.clone();
            let minutes = parts[item].item.minutes;
            if glance.length.0 > 60.0 * minutes {
                sum.remarks.push(Remark::Longer { item, title: title(), music: glance.length, minutes });
            }
            if let Some(&(before_item, before)) = index.checked_sub(1).and_then(|before| danced.get(before))
                && before_item + 1 == item
                && hard(before.ends.map(|ends| ends.1))
                && hard(glance.ends.map(|ends| ends.0))
            {
                sum.remarks.push(Remark::NoRest { item, titles: (before.title.clone(), title()) });
            }
            // What is true of a dance is said once, however often it is danced.
            if danced[..index].iter().any(|(_, other)| *other == glance) {
                continue;
            }
            if !glance.heard {
                sum.remarks.push(Remark::NotHeard { item, title: title() });
            }
            if glance.findings.0 > 0 {
                sum.remarks.push(Remark::ToMend { item, title: title(), problems: glance.findings.0 });
            }
            if !glance.not_gentle.is_empty() {
                let moves = glance.not_gentle.clone();
                sum.remarks.push(Remark::NotGentle { item, title: title(), moves });
            }
            let needs = glance.needs.iter().filter(|need| !sum.needs.contains(need));
            sum.needs.extend(needs.copied().collect::<Vec<_>>());
            for caution in &glance.cautions {
                if !sum.cautions.iter().any(|known| known.1 == caution.1) {
                    sum.cautions.push(caution.clone());
                }
            }
        }
        if let Some((item, last)) =
            danced.last().filter(|(item, last)| *item + 1 == parts.len() && moved(last, true))
        {
            sum.remarks.push(Remark::LivelyEnd { item: *item, title: last.title.clone() });
        }
        sum
    }

    /// The energy of the lesson from its beginning to its end: of each dance how it begins, its height, how it ends.
    #[must_use]
    pub fn arc(parts: &[Part<'_>]) -> Vec<String> {
        let danced = parts.iter().filter_map(|part| part.glance);
        danced
            .map(|glance| {
                let danced: Vec<u8> = glance.energy.iter().copied().filter(|energy| *energy > 0).collect();
                let (Some(&first), Some(&last)) = (danced.first(), danced.last()) else {
                    return "no moves yet".to_owned();
                };
                let highest = danced.iter().copied().max().unwrap_or(first);
                let mut words = vec![energy_word(first), energy_word(highest), energy_word(last)];
                words.dedup();
                words.join(", ")
            })
            .collect()
    }
}

fn hard(step: Option<StepKind>) -> bool {
    matches!(step, Some(StepKind::Jump | StepKind::Run))
}
