//! A dance at a glance: what it teaches, how long and how lively it is, and whether it is ready for a class.

use crate::check::{Report, Severity, turn_name};
use crate::dance::{Dance, Move, MoveBook, Need, StepKind};
use crate::listening::{Articulation, Dynamic, Listening, TempoWord, TurnKind};
use crate::trail::Trail;
use crate::units::{Beat, Bpm, Seconds};
use serde::{Deserialize, Serialize};

/// How many heights a hillside at a glance has.
const HEIGHTS: usize = 48;

/// What can be said of a dance in a line or two.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Glance {
    /// What the teacher calls it.
    pub title: String,
    /// Of the recording, where they are known.
    pub performer: Option<String>,
    /// How long the recording lasts.
    pub length: Seconds,
    /// How many beats there are.
    pub counts: usize,
    /// The letters of its phrases: `A A' B`.
    pub form: String,
    /// The tempi of its slowest and of its fastest phrase; `None` without beats.
    pub tempo: Option<(Bpm, Bpm)>,
    /// Whether the recording was heard; what follows from its sound is empty otherwise.
    pub heard: bool,
    /// The kinds of turns that it can teach, in the order of the music.
    pub turns: Vec<TurnKind>,
    /// How many turns there are, and how many of them a cue meets.
    pub met: (usize, usize),
    /// Its softest and its loudest phrase.
    pub dynamics: Option<(Dynamic, Dynamic)>,
    /// How its notes are mostly joined.
    pub articulation: Option<Articulation>,
    /// The hillside from its beginning to its end, 0 to 8 each; empty when it was not heard.
    pub heights: Vec<u8>,
    /// What the moves ask of the body, one a phrase, 1 (still) to 5 (wild); 0 where nothing is danced.
    pub energy: Vec<u8>,
    /// The words of its moves, in the order in which they come.
    pub moves: Vec<String>,
    /// What its moves need besides children and floor.
    pub needs: Vec<Need>,
    /// The words of moves without a whole gentle version.
    pub not_gentle: Vec<String>,
    /// What to watch for, each said once, with the words of the first move that needs it.
    pub cautions: Vec<(String, String)>,
    /// How long is jumped.
    pub jumping: Seconds,
    /// The longest time jumped without as long a rest.
    pub longest_jumping: Seconds,
    /// What kinds of steps it begins and ends with, for what comes before and after it.
    pub ends: Option<(StepKind, StepKind)>,
    /// Problems, warnings and notes of the check.
    pub findings: (usize, usize, usize),
    /// The teacher's notes to herself.
    pub notes: String,
}

impl Glance {
    /// Looks at a dance, at what was heard in its recording if it was, and at what the check says.
    #[must_use]
    pub fn of(dance: &Dance, heard: Option<&Listening>, report: &Report, book: &MoveBook) -> Self {
        let grid = &dance.grid;
        let used = moves_used(dance);
        let letters: Vec<&str> = grid.phrases().iter().map(|phrase| phrase.letter.as_str()).collect();
        let mut tempi: Vec<Bpm> =
            grid.phrase_spans().map(|span| grid.tempo_at(Beat(0.5 * (span.start.0 + span.end.0)))).collect();
        if tempi.is_empty() && grid.len() > 1 {
            tempi.push(grid.tempo_at(Beat(0.5 * grid.end().0)));
        }
        tempi.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut turns: Vec<TurnKind> = Vec::new();
        for landing in &report.landings {
            if !turns.contains(&landing.kind) {
                turns.push(landing.kind);
            }
        }
        let marks: Vec<Dynamic> =
            heard.into_iter().flat_map(|heard| &heard.phrases).filter_map(|phrase| phrase.dynamic).collect();
        let gentle = |entry: &&&Move| {
            [&entry.seated, &entry.low_impact]
                .iter()
                .any(|gentle| gentle.words.trim().is_empty() || gentle.how.trim().is_empty())
        };
        let mut cautions: Vec<(String, String)> = Vec::new();
        for entry in &used {
            let caution = entry.caution.as_deref().map(str::trim).filter(|caution| !caution.is_empty());
            if let Some(caution) = caution
                && !cautions.iter().any(|(_, known)| known == caution)
            {
                cautions.push((entry.words.clone(), caution.to_owned()));
            }
        }
        let mut needs: Vec<Need> = Vec::new();
        for entry in book.entries().iter().filter(|entry| used.iter().any(|own| own.id == entry.movement.id))
        {
            needs
                .extend(entry.needs.iter().filter(|need| !needs.contains(need)).copied().collect::<Vec<_>>());
        }
        let (jumping, longest_jumping) = jumping(dance);
        let kinds: Vec<StepKind> =
            dance.cues.iter().filter_map(|cue| dance.move_of(cue)).map(|entry| entry.step).collect();
        let length = dance.recording.length();
        Self {
            title: dance.title.clone(),
            performer: dance.recording.performer.clone(),
            length: if length.0 > 0.0 { length } else { grid.seconds_at(grid.end()) },
            counts: grid.len(),
            form: letters.join(" "),
            tempo: tempi.first().copied().zip(tempi.last().copied()),
            heard: heard.is_some(),
            turns,
            met: (report.turns_met, report.turns),
            dynamics: marks.iter().min().copied().zip(marks.iter().max().copied()),
            articulation: heard.and_then(commonest),
            heights: heard.map(|heard| heights(dance, heard)).unwrap_or_default(),
            energy: energy(dance),
            moves: words(dance),
            needs,
            not_gentle: used.iter().filter(gentle).map(|entry| entry.words.clone()).collect(),
            cautions,
            jumping,
            longest_jumping,
            ends: kinds.first().copied().zip(kinds.last().copied()),
            findings: (
                report.count(Severity::Problem),
                report.count(Severity::Warning),
                report.count(Severity::Note),
            ),
            notes: dance.notes.clone(),
        }
    }

    /// What it teaches, in the trade's words: `crescendo, rest`; empty when nothing turns or it was not heard.
    #[must_use]
    pub fn teaches(&self) -> String {
        self.turns.iter().map(|kind| turn_name(*kind)).collect::<Vec<_>>().join(", ")
    }

    /// Its pace in a word, or in two when it changes: `Andante to Allegro`.
    #[must_use]
    pub fn pace(&self) -> String {
        let Some((slowest, fastest)) = self.tempo else { return String::new() };
        let (slow, fast) = (TempoWord::of(slowest), TempoWord::of(fastest));
        // A tempo at the edge of a word is no change.
        if slow == fast || fastest.0 < 1.1 * slowest.0 {
            TempoWord::of(Bpm(0.5 * (slowest.0 + fastest.0))).to_string()
        } else {
            format!("{slow} to {fast}")
        }
    }

    /// How lively its moves are: `calm`, `calm to wild`; empty when nothing is danced.
    #[must_use]
    pub fn liveliness(&self) -> String {
        let danced = || self.energy.iter().copied().filter(|energy| *energy > 0);
        match (danced().min(), danced().max()) {
            (Some(least), Some(most)) if least == most => energy_word(least).to_owned(),
            (Some(least), Some(most)) => format!("{} to {}", energy_word(least), energy_word(most)),
            _ => String::new(),
        }
    }

    /// How the check stands: `ready`, `2 to mend`, `3 to look at`; a dance that was not heard was checked only in part.
    #[must_use]
    pub fn standing(&self) -> String {
        let (problems, warnings, _) = self.findings;
        match (problems, warnings) {
            _ if !self.heard => "not heard yet".into(),
            (0, 0) => "ready".into(),
            (0, look) => format!("{look} to look at"),
            (mend, _) => format!("{mend} to mend"),
        }
    }

    /// Whether every word of `wanted` begins a word of what is known of the dance, case aside.
    #[must_use]
    pub fn answers_to(&self, wanted: &str) -> bool {
        let known = self.words();
        let mut wanted = wanted.split_whitespace().map(str::to_lowercase);
        wanted.all(|word| known.iter().any(|own| own.starts_with(&word)))
    }

    /// Everything by which it can be found, in small letters.
    fn words(&self) -> Vec<String> {
        let mut text: Vec<String> = vec![
            self.title.clone(),
            self.performer.clone().unwrap_or_default(),
            self.pace(),
            self.liveliness(),
            self.notes.clone(),
            self.standing(),
        ];
        text.extend(self.moves.iter().cloned());
        text.extend(self.turns.iter().map(|kind| format!("{} {}", turn_name(*kind), plain(*kind))));
        if let Some((slowest, fastest)) = self.tempo {
            let between = TempoWord::all()
                .filter(|word| (TempoWord::of(slowest)..=TempoWord::of(fastest)).contains(word));
            text.extend(between.map(|word| format!("{word} {}", word.plain())));
        }
        if let Some((softest, loudest)) = self.dynamics {
            text.push(format!("{softest} {loudest}"));
            text.push(if softest <= Dynamic::P { "soft quiet" } else { "" }.into());
            text.push(if loudest >= Dynamic::F { "loud" } else { "" }.into());
        }
        text.push(
            match self.articulation {
                Some(Articulation::Staccato) => "staccato short",
                Some(Articulation::Detached) => "detached separate",
                Some(Articulation::Legato) => "legato smooth",
                Some(Articulation::Unclear) | None => "",
            }
            .into(),
        );
        text.extend(self.needs.iter().map(|need| match need {
            Need::Scarf => "scarf scarves".to_owned(),
            Need::Hands => "hands holding".to_owned(),
        }));
        text.push(if self.not_gentle.is_empty() { "gentle" } else { "" }.into());
        text.push(if self.jumping.0 > 0.0 { "jumping" } else { "" }.into());
        let parted = |sign: char| !(sign.is_alphanumeric() || sign == '\'');
        text.iter()
            .flat_map(|text| text.split(parted))
            .filter(|word| !word.is_empty())
            .map(str::to_lowercase)
            .collect()
    }
}

/// A word for what moves ask of the body, 1 to 5.
#[must_use]
pub fn energy_word(energy: u8) -> &'static str {
    match energy {
        0 | 1 => "still",
        2 => "calm",
        3 => "steady",
        4 => "lively",
        _ => "wild",
    }
}

/// A turn as children say it.
fn plain(kind: TurnKind) -> &'static str {
    match kind {
        TurnKind::Crescendo => "louder",
        TurnKind::Diminuendo => "softer",
        TurnKind::SubitoLoud => "suddenly loud louder",
        TurnKind::SubitoSoft => "suddenly soft softer",
        TurnKind::Accelerando => "faster",
        TurnKind::Ritardando => "slower",
        TurnKind::SuddenlyFaster => "suddenly fast faster",
        TurnKind::SuddenlySlower => "suddenly slow slower",
        TurnKind::ATempo => "back in tempo",
        TurnKind::Rest => "rest silence",
        TurnKind::Fermata => "long note held",
    }
}

/// The moves that cues use, in the order in which they come, each once.
fn moves_used(dance: &Dance) -> Vec<&Move> {
    let mut used: Vec<&Move> = Vec::new();
    for entry in dance.cues.iter().filter_map(|cue| dance.move_of(cue)) {
        if !used.iter().any(|known| known.id == entry.id) {
            used.push(entry);
        }
    }
    used
}

/// What cues say, each once.
fn words(dance: &Dance) -> Vec<String> {
    let mut said: Vec<String> = Vec::new();
    for words in dance.cues.iter().map(|cue| dance.words_of(cue)) {
        if !words.is_empty() && !said.iter().any(|known| known == words) {
            said.push(words.to_owned());
        }
    }
    said
}

/// The energy of the moves in each phrase, by the counts they last; of the whole where there are no phrases.
fn energy(dance: &Dance) -> Vec<u8> {
    let grid = &dance.grid;
    let mut spans: Vec<(f64, f64)> = grid.phrase_spans().map(|span| (span.start.0, span.end.0)).collect();
    if spans.is_empty() {
        spans.push((0.0, grid.end().0));
    }
    let asked = |(from, to): (f64, f64)| {
        let (mut counts, mut sum) = (0.0, 0.0);
        for cue in &dance.cues {
            let Some(entry) = dance.move_of(cue) else { continue };
            let here = cue.end().0.min(to) - cue.at.0.max(from);
            if here > 0.0 {
                counts += here;
                sum += here * f64::from(entry.energy.level());
            }
        }
        if counts > 0.0 { (sum / counts).round() as u8 } else { 0 }
    };
    spans.into_iter().map(asked).collect()
}

/// How long is jumped in all, and at most before as long a rest (running is none), as the check counts it.
fn jumping(dance: &Dance) -> (Seconds, Seconds) {
    let grid = &dance.grid;
    let (mut all, mut longest, mut bout, mut rested) = (0.0, 0.0f64, 0.0, 0.0);
    let mut until: Option<f64> = None;
    for cue in &dance.cues {
        let (from, to) = (grid.seconds_at(cue.at).0, grid.seconds_at(cue.end()).0);
        rested += until.map_or(0.0, |until| (from - until).max(0.0));
        match dance.move_of(cue).map(|entry| entry.step) {
            Some(StepKind::Jump) => {
                if rested >= bout {
                    bout = 0.0;
                }
                rested = 0.0;
                bout += to - from;
                all += to - from;
                longest = longest.max(bout);
            }
            Some(StepKind::Run) => {}
            _ => rested += to - from,
        }
        until = Some(to);
    }
    (Seconds(all), Seconds(longest))
}

/// The articulation of most phrases.
fn commonest(heard: &Listening) -> Option<Articulation> {
    let kinds = [Articulation::Staccato, Articulation::Detached, Articulation::Legato, Articulation::Unclear];
    let count =
        |kind: &Articulation| heard.phrases.iter().filter(|phrase| phrase.articulation == *kind).count();
    kinds.into_iter().max_by_key(count).filter(|kind| count(kind) > 0)
}

/// The trail as a hillside of few steps.
fn heights(dance: &Dance, heard: &Listening) -> Vec<u8> {
    let trail = Trail::new(&dance.grid, Some(heard), heard.length);
    let height = |n: usize| trail.height(trail.instant((n as f64 + 0.5) / HEIGHTS as f64));
    (0..HEIGHTS).map(|n| (8.0 * height(n)).round() as u8).collect()
}
