//! Where moves may change: the piece cut at phrase starts, turns, rests and its ending.

use crate::dance::Profile;
use crate::dance::reading::{SHORTEST_SHOWN, time_needed};
use crate::grid::Grid;
use crate::listening::{Listening, Turn, TurnKind};
use crate::units::{Beat, Counts, Seconds};

/// The fewest counts of a cue.
const FEWEST_COUNTS: usize = 4;

/// The fewest counts of a last pose: a bar of three.
const POSE_COUNTS: usize = 3;

/// The fewest counts between a gradual turn and another change: a class needs time to settle.
pub(super) const SETTLED: usize = 8;

/// Counts between changes where no phrases were found: four bars of four.
const WITHOUT_PHRASES: usize = 16;

/// Turns less sure than this do not change the move.
const SURE_ENOUGH: f32 = 0.4;

/// Turns at least this sure change the move in the middle of a phrase too, and sudden ones rather than the phrase start
/// beside them: they are likelier there than not.
const SURE: f32 = 0.5;

/// The start of a gradual change is heard to a second, so a phrase or bar start within it is as near.
const GRADUAL: Seconds = Seconds(1.0);

/// How much of a span a gradual turn must fill to shape it.
const MOST: f64 = 0.6;

/// What a span is for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Purpose {
    /// Upbeats long enough to listen to.
    Pickup,
    /// Dancing.
    Dance,
    /// Freezing, because of a rest or a held beat.
    Hold(Turn),
    /// The last pose.
    Ending,
}

/// A stretch with one move.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Span {
    /// Its first beat.
    pub(super) start: usize,
    /// The beat after its last.
    pub(super) end: usize,
    /// What it is for.
    pub(super) purpose: Purpose,
    /// The phrase that fills most of it; `None` where the grid has no phrases.
    pub(super) phrase: Option<usize>,
    /// Which part of that phrase it is, from 0.
    pub(super) part: usize,
    /// The sudden turn at its start, if there is one.
    pub(super) sudden: Option<Turn>,
    /// The gradual turn that fills most of it, if there is one.
    pub(super) gradual: Option<Turn>,
    /// The gradual turn that begins with it, if there is one.
    pub(super) begins: Option<Turn>,
}

impl Span {
    /// How long it is.
    pub(super) fn counts(&self) -> Counts {
        Counts((self.end - self.start) as f64)
    }
}

/// The spans of a piece, in order, without overlaps; there may be a short gap (a pickup) before the first.
pub(super) fn spans(heard: &Listening, profile: Profile) -> Vec<Span> {
    let pace = Pace::of(&heard.grid, profile);
    let grid = pace.grid;
    let starts = phrase_starts(grid);
    let holds = holds(heard, &pace, &starts);
    let mut cuts = cuts(heard, &pace, &starts, &holds);
    // A turn may end after the last beat: the sound fades, and nobody counts any more.
    cuts.retain(|&cut| cut < grid.len());
    cuts.push(grid.len());
    let mut spans: Vec<Span> = Vec::new();
    for pair in cuts.windows(2) {
        let (start, end) = (pair[0], pair[1]);
        let hold = holds.iter().find(|hold| hold.start == start);
        let purpose = match hold {
            Some(hold) => Purpose::Hold(hold.turn),
            None if start < starts.first().copied().unwrap_or(0) => Purpose::Pickup,
            None => Purpose::Dance,
        };
        let phrase = main_phrase(grid, start, end);
        let part = spans
            .iter()
            .filter(|span| span.phrase == phrase && phrase.is_some() && span.purpose == Purpose::Dance)
            .count();
        let sudden =
            sure_turns(heard).find(|turn| turn.kind.sudden() && snapped(turn.start_beat, &starts) == start);
        let gradual = sure_turns(heard).find(|turn| fills(turn, start, end));
        let begins = sure_turns(heard)
            .find(|turn| is_gradual(turn.kind) && begun(grid, turn.start_beat, &starts) == start);
        let (sudden, gradual, begins) = (sudden.copied(), gradual.copied(), begins.copied());
        spans.push(Span { start, end, purpose, phrase, part, sudden, gradual, begins });
    }
    end_in_a_pose(&pace, &mut spans);
    spans
}

/// How long a cue must be for a class to read the next call while it does this one.
struct Pace<'a> {
    grid: &'a Grid,
    shortest: Seconds,
}

impl<'a> Pace<'a> {
    /// Two words must be read and answered in the shortest cue; longer calls follow longer cues.
    fn of(grid: &'a Grid, profile: Profile) -> Self {
        let two_words = time_needed("two words", profile.age);
        Self { grid, shortest: Seconds(two_words.0.max(SHORTEST_SHOWN.0)) }
    }

    /// The fewest whole counts from a beat that are enough for a cue: four, and time to read the next call.
    fn enough(&self, from: usize) -> usize {
        enough(self.grid, from, self.shortest)
    }
}

/// The fewest whole counts from a beat that last at least `shortest`, and no fewer than four.
pub(super) fn enough(grid: &Grid, from: usize, shortest: Seconds) -> usize {
    let start = grid.seconds_at(Beat::from(from));
    let lasts = |counts: usize| grid.seconds_at(Beat::from(from + counts)).since(start).0;
    (FEWEST_COUNTS..).find(|&counts| lasts(counts) >= shortest.0 - 1e-6).unwrap_or(FEWEST_COUNTS)
}

/// Count ones, or a plain raster from the first bar where there are no phrases.
fn phrase_starts(grid: &Grid) -> Vec<usize> {
    if grid.phrases().is_empty() {
        let first = grid.bars().first().copied().unwrap_or(0);
        (first..grid.len()).step_by(WITHOUT_PHRASES).collect()
    } else {
        grid.phrases().iter().map(|phrase| phrase.start).collect()
    }
}

/// Turns worth dancing: sure enough, and begun before the last beat is over (sound may fade long after it).
fn sure_turns(heard: &Listening) -> impl Iterator<Item = &Turn> {
    let beats = heard.grid.len() as f64;
    heard.turns.iter().filter(move |turn| turn.sureness.0 >= SURE_ENOUGH && turn.start_beat.0.round() < beats)
}

/// The beat nearest to a turn; the phrase start when that is a count away, since composers turn on count one.
fn snapped(at: Beat, starts: &[usize]) -> usize {
    let nearest = Beat(at.0.round()).index();
    starts.iter().copied().find(|start| start.abs_diff(nearest) <= 1).unwrap_or(nearest)
}

/// A stretch to freeze in.
struct Hold {
    start: usize,
    end: usize,
    turn: Turn,
}

/// Rests of a beat or more and held beats, long enough to be read and done, and apart from each other.
///
/// A freeze goes on to the next phrase or bar start where one is near, so that the class sets off together.
fn holds(heard: &Listening, pace: &Pace<'_>, starts: &[usize]) -> Vec<Hold> {
    let grid = pace.grid;
    let mut holds: Vec<Hold> = Vec::new();
    for turn in sure_turns(heard) {
        let start = Beat(turn.start_beat.0.round()).index();
        let long_enough = match turn.kind {
            TurnKind::Fermata => true,
            TurnKind::Rest => {
                let beat = grid.seconds_at(Beat::from(start + 1)).since(grid.seconds_at(Beat::from(start)));
                turn.to >= 0.95 * beat.0
            }
            _ => false,
        };
        // An opening silence is waited for, not frozen in; a closing one belongs to the last pose.
        let first = starts.first().copied().unwrap_or(0);
        let opening = start < first + pace.enough(first);
        if !long_enough || opening || start + pace.enough(start) > grid.len() {
            continue;
        }
        if let Some(last) = holds.last()
            && start < last.end + pace.enough(last.end)
        {
            continue;
        }
        let least = (start + pace.enough(start)).max(Beat(turn.end_beat.0.round()).index());
        let near = |marks: &[usize], reach: usize| {
            marks.iter().copied().find(|mark| (least..=least + reach).contains(mark))
        };
        let mut end = near(starts, 4).or_else(|| near(grid.bars(), 3)).unwrap_or(least).min(grid.len());
        if end + pace.enough(end) > grid.len() {
            end = grid.len();
        }
        holds.push(Hold { start, end, turn: *turn });
    }
    holds
}

/// Where spans begin, ascending: the strongest reasons first, each far enough from those before.
///
/// Rests, then sure sudden turns, phrase starts, where sure gradual changes begin; what is heard less surely, and where
/// gradual changes end, only with time to settle on either side.
fn cuts(heard: &Listening, pace: &Pace<'_>, starts: &[usize], holds: &[Hold]) -> Vec<usize> {
    let grid = pace.grid;
    let mut taken: Vec<usize> = holds.iter().flat_map(|hold| [hold.start, hold.end]).collect();
    taken.retain(|&cut| cut < grid.len());
    let first = starts.first().copied().unwrap_or(0);
    let placed = |wanted: &dyn Fn(&Turn) -> bool| -> Vec<usize> {
        let mut turns: Vec<&Turn> = sure_turns(heard).filter(|turn| wanted(turn)).collect();
        // The surest first; the earlier of equals, since a stable sort keeps their order.
        turns.sort_by(|a, b| b.sureness.0.total_cmp(&a.sureness.0));
        turns.into_iter().map(|turn| snapped(turn.start_beat, starts)).collect()
    };
    let at_once = |turn: &Turn| turn.kind.sudden() || turn.kind == TurnKind::ATempo;
    let sudden = placed(&|turn| at_once(turn) && turn.sureness.0 >= SURE);
    let doubtful = placed(&at_once);
    let gradual = |turn: &&Turn| is_gradual(turn.kind);
    let begins: Vec<usize> = sure_turns(heard)
        .filter(|turn| turn.sureness.0 >= SURE)
        .filter(gradual)
        .map(|turn| begun(grid, turn.start_beat, starts))
        .collect();
    let rest: Vec<usize> = sure_turns(heard)
        .filter(gradual)
        .flat_map(|turn| [begun(grid, turn.start_beat, starts), begun(grid, turn.end_beat, starts)])
        .collect();
    let by_weight =
        [(&[first][..], 0), (&sudden, 0), (starts, 0), (&begins, 0), (&doubtful, SETTLED), (&rest, SETTLED)];
    for (candidates, apart) in by_weight {
        for &cut in candidates {
            let free = cut >= first
                && !holds.iter().any(|hold| (hold.start..hold.end).contains(&cut))
                && taken.iter().copied().chain([grid.len()]).all(|other| {
                    let (from, to) = (cut.min(other), cut.max(other));
                    to - from >= pace.enough(from).max(apart)
                });
            if free {
                taken.push(cut);
            }
        }
    }
    // A piece of little more than a pickup is one span.
    if first >= pace.enough(0) || taken.is_empty() {
        taken.push(0);
    }
    taken.sort_unstable();
    taken.dedup();
    taken
}

/// Where a class begins to show a gradual change: at the phrase start within a second, else at the bar start within a
/// count, else at the nearest beat.
fn begun(grid: &Grid, at: Beat, starts: &[usize]) -> usize {
    let near = |marks: &[usize], reach: f64| {
        let off = |mark: usize| (mark as f64 - at.0).abs();
        marks.iter().copied().filter(|&mark| off(mark) <= reach).min_by(|&a, &b| off(a).total_cmp(&off(b)))
    };
    let second = GRADUAL.0 * grid.tempo_at(at).0 / 60.0;
    near(starts, second.max(1.0)).or_else(|| near(grid.bars(), 1.0)).unwrap_or(Beat(at.0.round()).index())
}

fn is_gradual(kind: TurnKind) -> bool {
    matches!(kind, TurnKind::Crescendo | TurnKind::Diminuendo | TurnKind::Accelerando | TurnKind::Ritardando)
}

/// Whether a gradual turn fills most of a span.
fn fills(turn: &Turn, start: usize, end: usize) -> bool {
    let shared = turn.end_beat.0.min(end as f64) - turn.start_beat.0.max(start as f64);
    is_gradual(turn.kind) && shared >= MOST * (end - start) as f64
}

/// The phrase that fills most of a span.
fn main_phrase(grid: &Grid, start: usize, end: usize) -> Option<usize> {
    let shared = |span: &crate::grid::PhraseSpan<'_>| {
        span.end.index().min(end).saturating_sub(span.start.index().max(start))
    };
    // The first of equals: `max_by_key` would give the last.
    grid.phrase_spans().rev().max_by_key(shared).filter(|span| shared(span) > 0).map(|span| span.index)
}

/// Gives the last counts to a pose: from the last bar start that leaves enough of them, held to the last beat.
///
/// The move before it goes on until then, unless that would be too short for a cue.
fn end_in_a_pose(pace: &Pace<'_>, spans: &mut Vec<Span>) {
    let grid = pace.grid;
    let Some(last) = spans.last_mut() else { return };
    let latest = (1..=grid.len()).rev().find(|&from| from + pace.enough(from) <= grid.len()).unwrap_or(0);
    let earliest = last.start + pace.enough(last.start);
    let bar = grid.bars().iter().rev().copied().find(|&bar| bar <= latest && bar + FEWEST_COUNTS >= latest);
    // No call follows a last pose, so the last bar may do for it where the one before would leave the move too short.
    let last_bar = grid.bars().last().copied().filter(|&bar| {
        bar + POSE_COUNTS <= grid.len()
            && grid.seconds_at(grid.end()).since(grid.seconds_at(Beat::from(bar))).0 >= SHORTEST_SHOWN.0
    });
    let from = [bar, last_bar, Some(latest)].into_iter().flatten().find(|&from| from >= earliest);
    match from.filter(|_| !matches!(last.purpose, Purpose::Hold(_))) {
        None => last.purpose = Purpose::Ending,
        Some(from) => {
            let pose = Span {
                start: from,
                purpose: Purpose::Ending,
                part: last.part + 1,
                sudden: None,
                gradual: None,
                begins: None,
                ..last.clone()
            };
            last.end = from;
            spans.push(pose);
        }
    }
}
