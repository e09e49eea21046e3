//! Where moves may change: the piece cut at phrase starts, turns, rests and its ending.

use crate::dance::reading::SHORTEST_SHOWN;
use crate::grid::Grid;
use crate::listening::{Listening, Turn, TurnKind};
use crate::units::{Beat, Counts};

/// The fewest counts of a cue.
const FEWEST_COUNTS: usize = 4;

/// The fewest counts between a gradual turn and another change: a class needs time to settle.
const SETTLED: usize = 8;

/// Counts between changes where no phrases were found: four bars of four.
const WITHOUT_PHRASES: usize = 16;

/// Turns less sure than this do not change the move.
const SURE_ENOUGH: f32 = 0.4;

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
}

impl Span {
    /// How long it is.
    pub(super) fn counts(&self) -> Counts {
        Counts((self.end - self.start) as f64)
    }
}

/// The spans of a piece, in order, without overlaps; there may be a short gap (a pickup) before the first.
pub(super) fn spans(heard: &Listening) -> Vec<Span> {
    let grid = &heard.grid;
    let starts = phrase_starts(grid);
    let holds = holds(heard, &starts);
    let mut cuts = cuts(heard, &starts, &holds);
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
        let (sudden, gradual) = (sudden.copied(), gradual.copied());
        spans.push(Span { start, end, purpose, phrase, part, sudden, gradual });
    }
    end_in_a_pose(grid, &mut spans);
    spans
}

/// The fewest whole counts from a beat that are enough for a cue: four, and two seconds.
pub(super) fn enough(grid: &Grid, from: usize) -> usize {
    let start = grid.seconds_at(Beat::from(from));
    let lasts = |counts: usize| grid.seconds_at(Beat::from(from + counts)).since(start).0;
    (FEWEST_COUNTS..).find(|&counts| lasts(counts) >= SHORTEST_SHOWN.0 - 1e-6).unwrap_or(FEWEST_COUNTS)
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
fn holds(heard: &Listening, starts: &[usize]) -> Vec<Hold> {
    let grid = &heard.grid;
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
        let opening = start < first + enough(grid, first);
        if !long_enough || opening || start + enough(grid, start) > grid.len() {
            continue;
        }
        if let Some(last) = holds.last()
            && start < last.end + enough(grid, last.end)
        {
            continue;
        }
        let least = (start + enough(grid, start)).max(Beat(turn.end_beat.0.round()).index());
        let near = |marks: &[usize], reach: usize| {
            marks.iter().copied().find(|mark| (least..=least + reach).contains(mark))
        };
        let mut end = near(starts, 4).or_else(|| near(grid.bars(), 3)).unwrap_or(least).min(grid.len());
        if end + enough(grid, end) > grid.len() {
            end = grid.len();
        }
        holds.push(Hold { start, end, turn: *turn });
    }
    holds
}

/// Where spans begin, ascending: the strongest reasons first, each far enough from those before.
fn cuts(heard: &Listening, starts: &[usize], holds: &[Hold]) -> Vec<usize> {
    let grid = &heard.grid;
    let mut taken: Vec<usize> = holds.iter().flat_map(|hold| [hold.start, hold.end]).collect();
    taken.retain(|&cut| cut < grid.len());
    let sudden: Vec<usize> = sure_turns(heard)
        .filter(|turn| turn.kind.sudden())
        .map(|turn| snapped(turn.start_beat, starts))
        .collect();
    let gradual: Vec<usize> = sure_turns(heard)
        .filter(|turn| is_gradual(turn.kind))
        .flat_map(|turn| [snapped(turn.start_beat, starts), snapped(turn.end_beat, starts)])
        .collect();
    let first = starts.first().copied().unwrap_or(0);
    for (candidates, apart) in [(&[first][..], 0), (&sudden, 0), (starts, 0), (&gradual, SETTLED)] {
        for &cut in candidates {
            let free = cut >= first
                && !holds.iter().any(|hold| (hold.start..hold.end).contains(&cut))
                && taken.iter().copied().chain([grid.len()]).all(|other| {
                    let (from, to) = (cut.min(other), cut.max(other));
                    to - from >= enough(grid, from).max(apart)
                });
            if free {
                taken.push(cut);
            }
        }
    }
    // A piece of little more than a pickup is one span.
    if first >= enough(grid, 0) || taken.is_empty() {
        taken.push(0);
    }
    taken.sort_unstable();
    taken.dedup();
    taken
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

/// Gives the last counts to a pose: from a bar start where one is near, held to the last beat.
fn end_in_a_pose(grid: &Grid, spans: &mut Vec<Span>) {
    let Some(last) = spans.last_mut() else { return };
    let latest = (1..=grid.len()).rev().find(|&from| from + enough(grid, from) <= grid.len()).unwrap_or(0);
    let from = grid
        .bars()
        .iter()
        .rev()
        .copied()
        .find(|&bar| bar <= latest && bar + FEWEST_COUNTS >= latest)
        .unwrap_or(latest);
    if matches!(last.purpose, Purpose::Hold(_)) || from < last.start + enough(grid, last.start) {
        last.purpose = Purpose::Ending;
    } else {
        let pose = Span {
            start: from,
            purpose: Purpose::Ending,
            part: last.part + 1,
            sudden: None,
            gradual: None,
            ..last.clone()
        };
        last.end = from;
        spans.push(pose);
    }
}
