//! What stands on the floor at an instant: a pure function of the dance and the heard position.
//!
//! Nothing here counts ticks or remembers the last frame, so a jump, a pause or a slow terminal all come out right.

use crate::dance::{Cue, Dance, Prompt, Side, StepKind, free_lively, free_sign};
use crate::grid::{BarPosition, PhraseSpan};
use crate::listening::{Dynamic, Listening, TempoWord};
use crate::trail::Trail;
use crate::units::{Beat, Bpm, Counts, Lufs, Seconds};
use std::borrow::Cow;

/// Words stand at least so long. The check asks for far more; this only makes sure that no dance can make the screen
/// flash: changes of the large words stay under three a second.
const SHORTEST_WORDS: Seconds = Seconds(0.4);

/// A shorter gap between two moves is not shown.
const SHORTEST_GAP: Seconds = Seconds(1.0);

/// Stones are shown for moves that last so long: each stone changes its look three times while one is crossed.
const STONES_FOR: Seconds = Seconds(1.2);

/// So long after a phrase or turn began, going back goes to the one before it.
const JUST_BEGUN: Seconds = Seconds(1.5);

/// A turn is approached from so many counts before it.
const TURN_LEAD: Counts = Counts(4.0);

/// A question is written large where it has the room for so long at least: letters that shrink at once are read by nobody.
const SPACIOUS_FOR: Seconds = Seconds(2.5);

/// How long a question stays.
const PROMPT_COUNTS: Counts = Counts(16.0);

/// Leading begins so long before the first count, so that its number comes on the screen with its click, and not with the key
/// that began it: the sound needs a moment to reach the room.
const BREATH: Seconds = Seconds(0.3);

/// A position a hair before a beat is on it: the clock's rounding must not hold a call back by a frame.
const HAIR: f64 = 1e-6;

/// Everything that leading a dance needs to know, worked out once.
#[derive(Debug, Clone, PartialEq)]
pub struct Floor {
    dance: Dance,
    trail: Trail,
    listening: Option<Listening>,
    /// Indices of the cues whose words are shown: all but those that would follow too soon.
    shown: Vec<usize>,
    /// Indices of the prompts that are asked: all but those that would follow too soon.
    asked: Vec<usize>,
    /// A word for the tempo of each phrase.
    tempo_words: Vec<TempoWord>,
    count_in: usize,
    begin: Seconds,
    /// When the first count is, where nothing but [`BREATH`] is before it.
    breath_until: Option<Seconds>,
    length: Seconds,
    /// Whether its words say what the music does, and no moves.
    free: bool,
}

/// Which part of the lesson it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// The moment before the first count.
    Breath,
    /// The class is counted in; so many counts are left, the current one included.
    CountIn(usize),
    /// The dance runs.
    Dance,
    /// The music is over.
    Ended,
}

/// What stands on the floor.
#[derive(Debug, Clone, PartialEq)]
pub struct Stage<'a> {
    /// The heard position it was asked for.
    pub at: Seconds,
    /// The same in beats.
    pub beat: Beat,
    /// Which part of the lesson it is.
    pub part: Part,
    /// The move that is danced now.
    pub now: Option<Now<'a>>,
    /// The move after it.
    pub next: Option<Next<'a>>,
    /// The question that is asked now, with its index in the dance.
    pub prompt: Option<(usize, &'a Prompt)>,
    /// Whether no move is called while that question is asked, up to now and for a while from its beginning on: it has the
    /// place of the next move then. It gives that back for good when a move is called, so that it does not jump to and fro.
    pub spacious: bool,
    /// The phrase, once the first has begun.
    pub phrase: Option<PhraseSpan<'a>>,
    /// The count in the phrase, from 1; 0 before the first beat.
    pub count: usize,
    /// Bar and beat.
    pub bar: BarPosition,
    /// Tempo in a musician's word and in beats a minute; `None` without beats.
    pub tempo: Option<(TempoWord, Bpm)>,
    /// The dynamic mark; `None` when nothing was listened to or all is silent.
    pub dynamic: Option<Dynamic>,
    /// Loudness, 0 (softest) to 1 (loudest of this recording).
    pub level: f64,
    /// How far along the trail the leader is, 0 to 1.
    pub along: f64,
}

/// What one cue says.
#[derive(Debug, Clone, PartialEq)]
pub struct Call<'a> {
    /// Index of the cue.
    pub cue: usize,
    /// Its words, with the side where there is one.
    pub words: Cow<'a, str>,
    /// Its sign; empty for free words.
    pub sign: Cow<'a, str>,
    /// The words of the seated version.
    pub seated: Option<&'a str>,
    /// The words of the low-impact version.
    pub low_impact: Option<&'a str>,
    /// What the feet do.
    pub step: Option<StepKind>,
}

/// The move that is danced now.
#[derive(Debug, Clone, PartialEq)]
pub struct Now<'a> {
    /// What it says.
    pub call: Call<'a>,
    /// Counts danced.
    pub done: Counts,
    /// Counts still to dance.
    pub left: Counts,
}

/// The move that comes next.
#[derive(Debug, Clone, PartialEq)]
pub struct Next<'a> {
    /// What it says.
    pub call: Call<'a>,
    /// Whole counts until it begins, the current one included: 1 on the last count before it.
    pub to_go: usize,
    /// Whether it is called, so that the class should see it.
    pub called: bool,
    /// The stones from its call to its beginning, oldest first; none when it follows so soon that they would flicker.
    pub stones: Vec<Stepping>,
    /// Whether the class should get ready: it jumps, runs or asks much of the body.
    pub lively: bool,
}

/// One stone of the way to the next move.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stepping {
    /// How long it lasts.
    pub stride: Seconds,
    /// Whether it is behind.
    pub crossed: bool,
    /// Whether the leader stands on it.
    pub here: bool,
}

impl Floor {
    /// Prepares a dance; loudness comes from `listening`, and without it the hill is plain.
    #[must_use]
    pub fn new(dance: Dance, listening: Option<&Listening>, length: Seconds) -> Self {
        let trail = Trail::new(&dance.grid, listening, length);
        let times = |at: Beat| dance.grid.seconds_at(at);
        let shown = unhurried(dance.cues.iter().map(|cue| times(cue.at)));
        let asked = unhurried(dance.prompts.iter().map(|prompt| times(prompt.at)));
        let grid = &dance.grid;
        let bar = grid.bars().windows(2).map(|pair| pair[1] - pair[0]).next().unwrap_or(4);
        let count_in = match (grid.len(), bar) {
            (0 | 1, _) => 0,
            (_, 3) => 3,
            _ => 4,
        };
        let first = grid.seconds_at(Beat(-(count_in as f64)));
        let breath = if count_in > 0 { BREATH.0 } else { 0.0 };
        let begin = Seconds((first.0 - breath).min(0.0));
        // Where the music begins long before it is counted in, there is music to listen to.
        let breath_until = (count_in > 0 && first.since(begin).0 < 2.0 * BREATH.0).then_some(first);
        let middle = |span: PhraseSpan<'_>| Beat(0.5 * (span.start.0 + span.end.0));
        let tempo_words =
            TempoWord::along(grid.phrase_spans().map(|span| grid.tempo_at(middle(span)))).collect();
        let listening = listening.cloned();
        Self {
            dance,
            trail,
            listening,
            shown,
            asked,
            tempo_words,
            count_in,
            begin,
            breath_until,
            length,
            free: false,
        }
    }

    /// The same, as a free dance: its words get the signs of the music.
    #[must_use]
    pub fn freely(mut self) -> Self {
        self.free = true;
        self
    }

    /// Whether it is a free dance, without moves.
    #[must_use]
    pub fn is_free(&self) -> bool {
        self.free
    }

    /// The dance.
    #[must_use]
    pub fn dance(&self) -> &Dance {
        &self.dance
    }

    /// Its trail.
    #[must_use]
    pub fn trail(&self) -> &Trail {
        &self.trail
    }

    /// Where leading begins: the start of the recording, or before it when the count-in needs room.
    #[must_use]
    pub fn begin(&self) -> Seconds {
        self.begin
    }

    /// The recording's length.
    #[must_use]
    pub fn length(&self) -> Seconds {
        self.length
    }

    /// When each count of the count-in is, oldest first; empty without beats.
    #[must_use]
    pub fn count_in(&self) -> Vec<Seconds> {
        (1..=self.count_in).rev().map(|back| self.dance.grid.seconds_at(Beat(-(back as f64)))).collect()
    }

    /// What every cue says, in order.
    pub fn calls(&self) -> impl Iterator<Item = Call<'_>> {
        (0..self.dance.cues.len()).map(|cue| self.call(cue))
    }

    /// What stands on the floor at an instant.
    #[must_use]
    pub fn stage(&self, at: Seconds) -> Stage<'_> {
        let grid = &self.dance.grid;
        let beat = Beat(grid.beat_at(at).0 + HAIR);
        let part = if at.0 >= self.length.0 - HAIR {
            Part::Ended
        } else if self.count_in > 0 && beat.0 < 0.0 && beat.0 >= -(self.count_in as f64) {
            Part::CountIn((-beat.0).ceil() as usize)
        } else if beat.0 < 0.0 && self.breath_until.is_some_and(|first| at.0 < first.0) {
            Part::Breath
        } else {
            Part::Dance
        };
        let position = grid.count_at(beat);
        let next_shown = self.shown.partition_point(|&cue| self.dance.cues[cue].at.0 <= beat.0);
        let now = next_shown
            .checked_sub(1)
            .filter(|&last| at.0 + HAIR < self.words_end(last).0 && part == Part::Dance)
            .map(|last| self.now(self.shown[last], beat));
        let next =
            self.shown.get(next_shown).filter(|_| part != Part::Ended).map(|_| self.next(next_shown, beat));
        let level = self.trail.height(at);
        let prompt = self.prompt(beat).filter(|_| part == Part::Dance);
        Stage {
            at,
            beat,
            part,
            now,
            next,
            prompt,
            spacious: prompt.is_some_and(|(_, prompt)| self.spacious(prompt, beat)),
            phrase: position.phrase,
            count: if beat.0 < 0.0 { 0 } else { position.count },
            bar: grid.bar_at(beat),
            tempo: (grid.len() > 1).then(|| {
                let bpm = grid.tempo_at(beat);
                // The phrase's word is kept while the tempo wavers: the same at every visit, unlike what came before.
                let phrase = position.phrase.and_then(|span| self.tempo_words.get(span.index));
                (phrase.copied().unwrap_or_else(|| TempoWord::of(bpm)).then(bpm), bpm)
            }),
            dynamic: self.dynamic(at),
            level,
            along: self.trail.along(at),
        }
    }

    /// Time until the picture changes at a beat: until the next beat (or half beat) of the grid, never negative.
    #[must_use]
    pub fn until_change(&self, at: Seconds) -> Seconds {
        let grid = &self.dance.grid;
        let beat = grid.beat_at(at).0 + HAIR;
        let next = grid.seconds_at(Beat((2.0 * beat).floor() / 2.0 + 0.5));
        Seconds(next.since(at).0.max(0.0))
    }

    /// The phrase to go to from `at`: the next, or `back` to this one's beginning, or to the one before when this one
    /// has only just begun. `None` past the last; before the first, the very beginning.
    #[must_use]
    pub fn phrase_from(&self, at: Seconds, back: bool) -> Option<Seconds> {
        let grid = &self.dance.grid;
        let starts = grid.phrases().iter().map(|phrase| grid.seconds_at(Beat::from(phrase.start)));
        if back {
            let just_begun = Seconds(at.0 - JUST_BEGUN.0);
            Some(starts.take_while(|start| start.0 <= just_begun.0).last().unwrap_or(self.begin))
        } else {
            starts.into_iter().find(|start| start.0 > at.0 + HAIR)
        }
    }

    /// The phrase of a number, from 1, and where it begins.
    #[must_use]
    pub fn phrase_start(&self, number: u8) -> Option<Seconds> {
        let phrase = self.dance.grid.phrases().get(usize::from(number).checked_sub(1)?)?;
        Some(self.dance.grid.seconds_at(Beat::from(phrase.start)))
    }

    /// Four counts before the turn to go to from `at`: the next, or `back` to the one behind. `None` where there is none.
    #[must_use]
    pub fn turn_from(&self, at: Seconds, back: bool) -> Option<Seconds> {
        let grid = &self.dance.grid;
        let mut places = self.trail.landmarks().iter().map(|landmark| {
            let beat = Beat(grid.beat_at(landmark.at).0 - TURN_LEAD.0);
            Seconds(grid.seconds_at(beat).0.max(self.begin.0))
        });
        if back {
            // As with phrases: one that has only just begun is left for the one before.
            places.take_while(|place| place.0 <= at.0 - JUST_BEGUN.0).last()
        } else {
            places.find(|place| place.0 > at.0 + HAIR)
        }
    }

    /// The beat nearest to an instant, not before the first.
    #[must_use]
    pub fn nearest_beat(&self, at: Seconds) -> Seconds {
        let grid = &self.dance.grid;
        grid.seconds_at(Beat(grid.beat_at(at).0.round().max(0.0)))
    }

    /// The span of the phrase at an instant and its letter, for repeating it.
    #[must_use]
    pub fn phrase_span(&self, at: Seconds) -> Option<(Seconds, Seconds)> {
        let grid = &self.dance.grid;
        let phrase = grid.phrase_at(Beat(grid.beat_at(at).0 + HAIR))?;
        Some((grid.seconds_at(phrase.start), Seconds(grid.seconds_at(phrase.end).0.min(self.length.0))))
    }

    fn dynamic(&self, at: Seconds) -> Option<Dynamic> {
        let listening = self.listening.as_ref()?;
        let level = listening.loudness.short_term.at(at)?;
        listening.dynamics.mark(Lufs(f64::from(level)))
    }

    fn call(&self, cue: usize) -> Call<'_> {
        let entry: &Cue = &self.dance.cues[cue];
        let movement = self.dance.move_of(entry);
        let words = self.dance.words_of(entry);
        let words = match entry.side {
            Some(side) if !words.contains(side_word(side)) => {
                Cow::Owned(format!("{words} {}", side_word(side)))
            }
            _ => Cow::Borrowed(words),
        };
        Call {
            cue,
            words,
            sign: match movement {
                Some(movement) => Cow::Borrowed(&*movement.sign),
                None if self.free => Cow::Owned(free_sign(self.dance.words_of(entry))),
                None => Cow::Borrowed(""),
            },
            seated: movement.map(|movement| movement.seated.words.as_str()),
            low_impact: movement.map(|movement| movement.low_impact.words.as_str()),
            step: movement.map(|movement| movement.step),
        }
    }

    /// When the words of a shown cue go: at its end, or with the next words when those follow within a second, so that
    /// a short gap does not flicker.
    fn words_end(&self, shown: usize) -> Seconds {
        let cue = &self.dance.cues[self.shown[shown]];
        let grid = &self.dance.grid;
        let end = grid.seconds_at(cue.end()).0.max(grid.seconds_at(cue.at).0 + SHORTEST_WORDS.0);
        match self.shown.get(shown + 1).map(|&next| grid.seconds_at(self.dance.cues[next].at)) {
            Some(next) if next.0 < end + SHORTEST_GAP.0 => next,
            _ => Seconds(end),
        }
    }

    fn now(&self, cue: usize, beat: Beat) -> Now<'_> {
        let entry = &self.dance.cues[cue];
        Now {
            call: self.call(cue),
            done: beat.since(entry.at),
            left: Counts(entry.end().since(beat).0.max(0.0)),
        }
    }

    fn next(&self, shown: usize, beat: Beat) -> Next<'_> {
        let cue = self.shown[shown];
        let entry = &self.dance.cues[cue];
        let grid = &self.dance.grid;
        let lead = self.dance.lead_of(cue).0.max(0.0);
        let movement = self.dance.move_of(entry);
        let unhurried = self.unhurried(shown);
        let stones = (1..=lead.ceil() as usize)
            .rev()
            .filter(|_| unhurried)
            .map(|back| {
                let from = Beat(entry.at.0 - back as f64);
                let to = Beat(from.0 + 1.0);
                Stepping {
                    stride: grid.seconds_at(to).since(grid.seconds_at(from)),
                    crossed: to.0 <= beat.0,
                    here: from.0 <= beat.0 && beat.0 < to.0,
                }
            })
            .collect();
        Next {
            call: self.call(cue),
            to_go: (entry.at.since(beat).0 - 2.0 * HAIR).ceil().max(1.0) as usize,
            called: self.called(shown, beat),
            stones,
            lively: match movement {
                Some(movement) => {
                    matches!(movement.step, StepKind::Jump | StepKind::Run) || movement.energy.level() >= 4
                }
                None => self.free && free_lively(self.dance.words_of(entry)),
            },
        }
    }

    /// Whether a shown cue comes so long after the one before it that its call need not stand all the time.
    fn unhurried(&self, shown: usize) -> bool {
        let time = |shown: usize| self.dance.grid.seconds_at(self.dance.cues[self.shown[shown]].at);
        shown.checked_sub(1).is_none_or(|before| time(shown).since(time(before)).0 >= STONES_FOR.0)
    }

    /// Whether a shown cue is called at a beat before it, when it is the next.
    fn called(&self, shown: usize, beat: Beat) -> bool {
        let (grid, at) = (&self.dance.grid, self.dance.cues[self.shown[shown]].at);
        let lead = self.dance.lead_of(self.shown[shown]).0.max(0.0);
        let left = grid.seconds_at(at).since(grid.seconds_at(beat));
        // Where moves hurry, words that came and went between two of them would flicker; and those that came just
        // before the first of them, too.
        !self.unhurried(shown) || beat.0 >= at.0 - lead || (lead > 0.0 && left.0 <= SHORTEST_WORDS.0)
    }

    /// Whether no move has been called since a question was asked, nor will be before it has stood for a while.
    fn spacious(&self, prompt: &Prompt, beat: Beat) -> bool {
        let grid = &self.dance.grid;
        let first = self.shown.partition_point(|&cue| self.dance.cues[cue].at.0 <= prompt.at.0);
        let stood = Seconds(grid.seconds_at(prompt.at).0 + SPACIOUS_FOR.0);
        let until = beat.0.max(grid.beat_at(stood).0);
        first == self.shown.len() || !self.called(first, Beat(until))
    }

    fn prompt(&self, beat: Beat) -> Option<(usize, &Prompt)> {
        let prompts = &self.dance.prompts;
        let begun = prompts.partition_point(|prompt| prompt.at.0 <= beat.0);
        let index = self.asked[..self.asked.partition_point(|&index| index < begun)].last().copied()?;
        let prompt = &prompts[index];
        (beat.since(prompt.at).0 < PROMPT_COUNTS.0).then_some((index, prompt))
    }
}

/// Which of what begins at `times`, ascending, is shown: what would follow the one before too soon is left out.
fn unhurried(times: impl Iterator<Item = Seconds>) -> Vec<usize> {
    let mut last = f64::NEG_INFINITY;
    let kept = times.enumerate().filter(|(_, at)| {
        let kept = at.0 - last >= SHORTEST_WORDS.0;
        last = if kept { at.0 } else { last };
        kept
    });
    kept.map(|(index, _)| index).collect()
}

fn side_word(side: Side) -> &'static str {
    match side {
        Side::Left => "left",
        Side::Right => "right",
    }
}

#[cfg(test)]
pub(in crate::screen) mod tests;
