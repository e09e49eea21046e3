//! Mending a grid by hand: what each gesture comes to in anchors, and what it changed.
//!
//! Pure: nothing here hears anything. A gesture looks at the grid that is on the screen and at what was said before, and
//! gives everything that is said now; the decoder then hears the grid again with that. What she places by hand stays in
//! the list, so later gestures do not move it.

use super::{Anchor, Grid, LONGEST_HOLD, Level};
use crate::units::{Beat, Seconds};
use std::fmt;

/// Two beats are at least so far apart: 270 a minute, above any count a class can move to.
pub const CLOSEST: Seconds = Seconds(0.22);
/// One press of a nudging key moves a beat by so much: about the least that is heard in an even sequence of beats (Friberg
/// and Sundberg 1995: 6 ms in quick ones, 2.5 % of a beat in slower ones; from memory).
pub const NUDGE: Seconds = Seconds(0.01);
/// A beat that moved by less is said to be where it was.
const MOVED: f64 = 0.005;
/// An anchor this near to a beat speaks of it.
const SAME: f64 = 0.02;
/// A tap this near to a beat speaks of it.
const TAPPED: f64 = 0.12;
/// A count one this near to another (in beats) corrects it; a real phrase is longer.
const ONES_APART: usize = 4;

/// One gesture.
#[derive(Debug, Clone, PartialEq)]
pub enum Repair {
    /// She tapped along: all taps of this run, in heard time.
    Taps(Vec<Seconds>),
    /// From this beat on half as fast.
    Halve {
        /// From which beat.
        from: usize,
    },
    /// From this beat on twice as fast.
    Double {
        /// From which beat.
        from: usize,
    },
    /// From this beat on half a beat later.
    ShiftHalf {
        /// From which beat.
        from: usize,
    },
    /// This beat is the first count of a phrase.
    CountOne {
        /// Which beat.
        at: usize,
    },
    /// This beat is the first of a bar.
    BarStart {
        /// Which beat.
        at: usize,
    },
    /// From this beat on bars have so many beats.
    BarsOf {
        /// From which beat.
        from: usize,
        /// Beats in a bar, 1 to 16.
        beats: u8,
    },
    /// From this beat on phrases have so many counts.
    PhrasesOf {
        /// From which beat.
        from: usize,
        /// Counts in a phrase, 1 to 256.
        counts: u16,
    },
    /// This beat comes a little later, or with a negative time earlier.
    Nudge {
        /// Which beat.
        beat: usize,
        /// By how much.
        by: Seconds,
    },
    /// There is a beat in the middle between this one and the next.
    InsertBeat {
        /// The beat before it.
        after: usize,
    },
    /// This beat is none.
    RemoveBeat {
        /// Which beat.
        beat: usize,
    },
    /// This beat is held on over the next one.
    HoldLonger {
        /// Which beat.
        beat: usize,
    },
    /// This beat, which is held, is held for one beat less.
    HoldShorter {
        /// Which beat.
        beat: usize,
    },
    /// One thing that was said is not said any more.
    Forget {
        /// Its place in the list.
        anchor: usize,
    },
    /// Nothing is said any more: the grid as it is heard.
    AsHeard,
    /// The beats are those of a file.
    Take {
        /// What the file says, as an [`Anchor::Given`].
        given: Anchor,
        /// Whether what was said before goes on to hold, as words later than the file's; else it is said no more.
        keep: bool,
    },
}

/// Why a gesture cannot be done, with the way out.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum MendError {
    /// There is no such beat.
    #[error("there is no beat here: tap along with the music first")]
    NoBeat,
    /// Beats would come closer than anyone can count.
    #[error("two beats would come closer than a quarter of a second: halve the beat, or take one out")]
    TooClose,
    /// The first and the last beat have nothing around them.
    #[error("the first and the last beat cannot be taken out: leave them empty, or set count one further in")]
    AtTheEnd,
    /// It was said already.
    #[error("that is so already")]
    Already,
    /// Bars of no beats, or of too many.
    #[error("a bar has 1 to 16 beats, not {beats}")]
    Bar {
        /// What was asked.
        beats: u8,
    },
    /// Phrases of no counts, or of too many.
    #[error("a phrase has 1 to 256 counts, not {counts}")]
    Phrase {
        /// What was asked.
        counts: u16,
    },
    /// Longer than a minute.
    #[error("a beat cannot be held longer than a minute: tap along where the music goes on")]
    TooLong,
    /// The beat is not held.
    #[error("this beat is not held")]
    NotHeld,
    /// Nothing was said, or not that.
    #[error("nothing was corrected, so there is nothing to take back")]
    Nothing,
}

impl Repair {
    /// What it is called in "undo ...".
    #[must_use]
    pub fn label(&self) -> &'static str {
        match self {
            Self::Taps(_) => "tap along",
            Self::Halve { .. } => "halve the beat",
            Self::Double { .. } => "double the beat",
            Self::ShiftHalf { .. } => "shift by half a beat",
            Self::CountOne { .. } => "set count one",
            Self::BarStart { .. } => "begin a bar",
            Self::BarsOf { .. } => "change the bars",
            Self::PhrasesOf { .. } => "change the phrases",
            Self::Nudge { .. } => "nudge a beat",
            Self::InsertBeat { .. } => "put a beat in",
            Self::RemoveBeat { .. } => "take a beat out",
            Self::HoldLonger { .. } => "lengthen a fermata",
            Self::HoldShorter { .. } => "shorten a fermata",
            Self::Forget { .. } => "take a correction back",
            Self::AsHeard => "return to what was heard",
            Self::Take { .. } => "take the beats of a file",
        }
    }

    /// Everything that is said of the grid after this gesture. `grid` is what was on the screen and `anchors` what was
    /// said when the gesture began.
    ///
    /// # Errors
    /// [`MendError`] says why it cannot be done.
    pub fn anchors(&self, grid: &Grid, anchors: &[Anchor]) -> Result<Vec<Anchor>, MendError> {
        let mut said = anchors.to_vec();
        let time = |beat: usize| grid.beats().get(beat).copied().ok_or(MendError::NoBeat);
        match *self {
            Self::Taps(ref taps) => tap(&mut said, taps),
            Self::Halve { from } => change_level(&mut said, time(from)?, Level::Half),
            Self::Double { from } => change_level(&mut said, time(from)?, Level::Double),
            Self::ShiftHalf { from } => {
                let from = time(from)?;
                match said.last() {
                    // Twice is not at all.
                    Some(Anchor::ShiftHalf { from: before }) if near(*before, from, SAME) => drop(said.pop()),
                    _ => said.push(Anchor::ShiftHalf { from }),
                }
            }
            Self::CountOne { at } => set_count_one(&mut said, grid, at, time(at)?)?,
            Self::BarStart { at } => {
                let here = time(at)?;
                if said.iter().any(|anchor| starts_bar(anchor, here)) {
                    return Err(MendError::Already);
                }
                let bar = grid.bars().windows(2).find(|bar| bar[1] > at).map_or(4, |bar| bar[1] - bar[0]);
                said.retain(|anchor| match anchor {
                    Anchor::BarStart { at: other } => beats_apart(grid, *other, at) >= bar,
                    _ => true,
                });
                said.push(Anchor::BarStart { at: here });
            }
            Self::BarsOf { beats, .. } if !(1..=16).contains(&beats) => return Err(MendError::Bar { beats }),
            Self::BarsOf { from, beats } => {
                let from = time(from)?;
                said.retain(
                    |anchor| !matches!(anchor, Anchor::Metre { from: other, .. } if near(*other, from, SAME)),
                );
                if !said.iter().any(|anchor| starts_bar(anchor, from)) {
                    said.push(Anchor::BarStart { at: from });
                }
                said.push(Anchor::Metre { from, beats });
            }
            Self::PhrasesOf { counts, .. } if !(1..=256).contains(&counts) => {
                return Err(MendError::Phrase { counts });
            }
            Self::PhrasesOf { from, counts } => {
                let from = time(from)?;
                said.retain(|anchor| {
                    !matches!(anchor, Anchor::PhraseLength { from: other, .. } if near(*other, from, SAME))
                });
                said.push(Anchor::PhraseLength { from, counts });
            }
            Self::Nudge { beat, by } => nudge(&mut said, grid, beat, by)?,
            Self::InsertBeat { after } => insert(&mut said, grid, after)?,
            Self::RemoveBeat { beat } => remove(&mut said, grid, beat)?,
            Self::HoldLonger { beat } => hold_longer(&mut said, grid, beat)?,
            Self::HoldShorter { beat } => shorten(&mut said, grid, beat)?,
            Self::Forget { anchor } if anchor < said.len() => drop(said.remove(anchor)),
            Self::AsHeard if !said.is_empty() => said.clear(),
            Self::Take { ref given, keep } => {
                said.retain(|anchor| keep && !matches!(anchor, Anchor::Given { .. }));
                said.insert(0, given.clone());
            }
            Self::Forget { .. } | Self::AsHeard => return Err(MendError::Nothing),
        }
        Ok(said)
    }
}

fn near(a: Seconds, b: Seconds, within: f64) -> bool {
    (a.0 - b.0).abs() <= within
}

fn starts_bar(anchor: &Anchor, here: Seconds) -> bool {
    matches!(anchor, Anchor::BarStart { at } | Anchor::CountOne { at } if near(*at, here, SAME))
}

/// How many beats an instant is from a beat.
fn beats_apart(grid: &Grid, at: Seconds, beat: usize) -> usize {
    (grid.beat_at(at).0.round().max(0.0) as usize).abs_diff(beat)
}

/// Tapping along a stretch again takes the place of what was tapped there before.
fn tap(said: &mut Vec<Anchor>, taps: &[Seconds]) {
    let first = taps.iter().map(|tap| tap.0).fold(f64::INFINITY, f64::min);
    let last = taps.iter().map(|tap| tap.0).fold(f64::NEG_INFINITY, f64::max);
    said.retain(|anchor| {
        !matches!(anchor, Anchor::Tap { at } if (first - CLOSEST.0..=last + CLOSEST.0).contains(&at.0))
    });
    said.extend(taps.iter().map(|&at| Anchor::Tap { at }));
}

/// Half after double, from the same beat, is neither.
fn change_level(said: &mut Vec<Anchor>, from: Seconds, level: Level) {
    match said.last() {
        Some(Anchor::Level { from: before, level: other })
            if near(*before, from, SAME) && *other != level =>
        {
            said.pop();
        }
        _ => said.push(Anchor::Level { from, level }),
    }
}

fn set_count_one(said: &mut Vec<Anchor>, grid: &Grid, at: usize, here: Seconds) -> Result<(), MendError> {
    if said.iter().any(|anchor| matches!(anchor, Anchor::CountOne { at } if near(*at, here, SAME))) {
        return Err(MendError::Already);
    }
    said.retain(|anchor| match anchor {
        Anchor::CountOne { at: other } | Anchor::BarStart { at: other } => {
            beats_apart(grid, *other, at) >= ONES_APART
        }
        _ => true,
    });
    for anchor in said.iter_mut() {
        match anchor {
            Anchor::PhraseLength { from, .. } | Anchor::Metre { from, .. }
                if beats_apart(grid, *from, at) < ONES_APART =>
            {
                *from = here;
            }
            _ => {}
        }
    }
    said.push(Anchor::CountOne { at: here });
    Ok(())
}

/// Takes away what was said about a beat, but for holds.
fn silence(said: &mut Vec<Anchor>, here: Seconds) {
    said.retain(|anchor| match anchor {
        Anchor::Beat { at } => !near(*at, here, SAME),
        Anchor::Tap { at } => !near(*at, here, TAPPED),
        _ => true,
    });
}

fn nudge(said: &mut Vec<Anchor>, grid: &Grid, beat: usize, by: Seconds) -> Result<(), MendError> {
    let beats = grid.beats();
    let here = *beats.get(beat).ok_or(MendError::NoBeat)?;
    let there = here.plus(by);
    let before = beat.checked_sub(1).map_or(f64::NEG_INFINITY, |before| beats[before].0);
    let after = beats.get(beat + 1).map_or(f64::INFINITY, |after| after.0);
    if there.0 - before < CLOSEST.0 || after - there.0 < CLOSEST.0 || there.0 < 0.0 {
        return Err(MendError::TooClose);
    }
    silence(said, here);
    for anchor in said.iter_mut() {
        if let Anchor::Hold { at, until } = anchor {
            for end in [at, until] {
                if near(*end, here, SAME) {
                    *end = there;
                }
            }
        }
    }
    said.push(Anchor::Beat { at: there });
    Ok(())
}

fn insert(said: &mut Vec<Anchor>, grid: &Grid, after: usize) -> Result<(), MendError> {
    let beats = grid.beats();
    let here = *beats.get(after).ok_or(MendError::NoBeat)?;
    let next = beats.get(after + 1).copied();
    let there = match next {
        Some(next) => Seconds(0.5 * (here.0 + next.0)),
        None => grid.seconds_at(Beat::from(after + 1)),
    };
    if there.0 - here.0 < CLOSEST.0 {
        return Err(MendError::TooClose);
    }
    for beat in [Some(here), Some(there), next].into_iter().flatten() {
        silence(said, beat);
        if near(beat, there, 0.0) {
            // A beat in a hold ends it.
            said.retain(
                |anchor| !matches!(anchor, Anchor::Hold { at, until } if at.0 < there.0 && there.0 < until.0),
            );
        }
        said.push(Anchor::Beat { at: beat });
    }
    Ok(())
}

/// Takes a beat out: the one before is held until the one after.
fn remove(said: &mut Vec<Anchor>, grid: &Grid, beat: usize) -> Result<(), MendError> {
    let beats = grid.beats();
    let here = *beats.get(beat).ok_or(MendError::AtTheEnd)?;
    let (Some(before), Some(after)) = (beat.checked_sub(1), beats.get(beat + 1)) else {
        return Err(MendError::AtTheEnd);
    };
    let (before, after) = (beats[before], *after);
    if after.0 - before.0 > LONGEST_HOLD.0 {
        return Err(MendError::TooLong);
    }
    silence(said, here);
    // What was held until here, or from here on, is part of the longer beat.
    said.retain(|anchor| match anchor {
        Anchor::Hold { at, until } => !(at.0 >= before.0 - SAME && until.0 <= after.0 + SAME),
        _ => true,
    });
    said.push(Anchor::Hold { at: before, until: after });
    Ok(())
}

/// Holds a beat over the next one. What comes behind goes on as it did: the beat after the hold and the one after that tell
/// how fast, where the sound of a held note does not.
fn hold_longer(said: &mut Vec<Anchor>, grid: &Grid, beat: usize) -> Result<(), MendError> {
    remove(said, grid, beat + 1)?;
    if let Some(&goes_on) = grid.beats().get(beat + 3) {
        goes_on_at(said, goes_on);
    }
    Ok(())
}

/// The beat at `there` is one, unless she has said so herself.
fn goes_on_at(said: &mut Vec<Anchor>, there: Seconds) {
    let spoken_of = said.iter().any(|anchor| match anchor {
        Anchor::Beat { at } => near(*at, there, SAME),
        Anchor::Tap { at } => near(*at, there, TAPPED),
        _ => false,
    });
    if !spoken_of {
        said.push(Anchor::Beat { at: there });
    }
}

fn shorten(said: &mut Vec<Anchor>, grid: &Grid, beat: usize) -> Result<(), MendError> {
    let here = *grid.beats().get(beat).ok_or(MendError::NoBeat)?;
    // The pace before the hold, or else after it.
    let pace = match beat {
        0 => grid.tempo_at(Beat::from(2)),
        _ => grid.tempo_at(Beat::from(beat.saturating_sub(2))),
    };
    let length = pace.beat_length().0;
    let found =
        said.iter().position(|anchor| matches!(anchor, Anchor::Hold { at, .. } if near(*at, here, SAME)));
    let found = found.ok_or(MendError::NotHeld)?;
    let Anchor::Hold { at, until } = said.remove(found) else { return Err(MendError::NotHeld) };
    if let Some(&behind) = grid.beats().get(beat + 2) {
        said.retain(|anchor| !matches!(anchor, Anchor::Beat { at } if near(*at, behind, SAME)));
    }
    let shorter = Seconds(until.0 - length);
    if shorter.0 - at.0 > 1.5 * length {
        said.push(Anchor::Hold { at, until: shorter });
        goes_on_at(said, until);
    }
    Ok(())
}

/// What became of a grid. Shown as a sentence: `12 beats moved by up to 45 ms, 1 is new, from 0:12.3 to 0:40.1`.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Comparison {
    /// How many beats are in another place.
    pub moved: usize,
    /// How far the one that moved most has moved, either way.
    pub furthest: Seconds,
    /// How many beats are new.
    pub new: usize,
    /// How many beats are gone.
    pub gone: usize,
    /// Whether bars begin on other beats.
    pub bars: bool,
    /// Whether phrases begin on other beats.
    pub phrases: bool,
    /// The first and the last instant at which a beat changed.
    pub span: Option<(Seconds, Seconds)>,
}

/// Compares two grids of one recording. Beats nearer than half a beat to each other are the same beat.
#[must_use]
pub fn compare(before: &Grid, after: &Grid) -> Comparison {
    let (old, new) = (before.beats(), after.beats());
    let mut found = Comparison::default();
    let see = |at: Seconds, span: &mut Option<(Seconds, Seconds)>| {
        *span =
            Some(span.map_or((at, at), |(from, to)| (Seconds(from.0.min(at.0)), Seconds(to.0.max(at.0)))));
    };
    let partner = |from: &[Seconds], index: usize, to: &[Seconds]| -> Option<usize> {
        let at = from[index].0;
        let gap = |n: usize| Some((from.get(n + 1)?.0 - from.get(n)?.0).abs());
        let beat =
            [index.checked_sub(1).and_then(gap), gap(index)].into_iter().flatten().fold(f64::MAX, f64::min);
        let next = to.partition_point(|beat| beat.0 < at);
        let best = [next.checked_sub(1), (next < to.len()).then_some(next)]
            .into_iter()
            .flatten()
            .min_by(|a, b| (to[*a].0 - at).abs().total_cmp(&(to[*b].0 - at).abs()))?;
        ((to[best].0 - at).abs() < 0.5 * beat.min(2.0)).then_some(best)
    };
    let mut pairs = Vec::new();
    for (n, beat) in old.iter().enumerate() {
        match partner(old, n, new).filter(|there| partner(new, *there, old) == Some(n)) {
            Some(there) => {
                let by = (new[there].0 - beat.0).abs();
                if by >= MOVED {
                    found.moved += 1;
                    found.furthest = Seconds(found.furthest.0.max(by));
                    see(*beat, &mut found.span);
                }
                pairs.push((n, there));
            }
            None => {
                found.gone += 1;
                see(*beat, &mut found.span);
            }
        }
    }
    let known: Vec<usize> = pairs.iter().map(|pair| pair.1).collect();
    for (n, beat) in new.iter().enumerate() {
        if known.binary_search(&n).is_err() {
            found.new += 1;
            see(*beat, &mut found.span);
        }
    }
    let differ = |old: &[usize], new: &[usize]| {
        pairs.iter().any(|(a, b)| old.binary_search(a).is_ok() != new.binary_search(b).is_ok())
    };
    let starts = |grid: &Grid| -> Vec<usize> { grid.phrases().iter().map(|phrase| phrase.start).collect() };
    found.bars = differ(before.bars(), after.bars());
    found.phrases = differ(&starts(before), &starts(after));
    found
}

impl Comparison {
    /// Whether nothing is different.
    #[must_use]
    pub fn is_nothing(&self) -> bool {
        self.span.is_none() && !self.bars && !self.phrases
    }
}

impl fmt::Display for Comparison {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let beats = |count: usize| if count == 1 { "1 beat".to_owned() } else { format!("{count} beats") };
        let is = |count: usize| if count == 1 { "1 is".to_owned() } else { format!("{count} are") };
        let mut parts = Vec::new();
        if self.moved > 0 {
            parts.push(format!("{} moved by up to {:.0} ms", beats(self.moved), self.furthest.0 * 1e3));
        }
        if self.new > 0 {
            parts.push(format!("{} new", is(self.new)));
        }
        if self.gone > 0 {
            parts.push(format!("{} gone", is(self.gone)));
        }
        if let Some((from, to)) = self.span.filter(|(from, to)| to.0 - from.0 > 0.1) {
            parts.push(format!("from {from} to {to}"));
        } else if let Some((at, _)) = self.span {
            parts.push(format!("at {at}"));
        }
        match (self.bars, self.phrases) {
            (true, true) => parts.push("bars and phrases begin elsewhere".into()),
            (true, false) => parts.push("bars begin elsewhere".into()),
            (false, true) => parts.push("phrases begin elsewhere".into()),
            (false, false) => {}
        }
        if parts.is_empty() {
            return f.write_str("nothing is different");
        }
        f.write_str(&parts.join(", "))
    }
}

#[cfg(test)]
mod tests;
