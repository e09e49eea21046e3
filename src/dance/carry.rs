//! Carrying a dance across to another performance of the same piece.
//!
//! The old beats, laid over the new sound, are taps: the decoder puts a beat of the new recording near each of them and
//! hears the rest for itself, just as if the teacher had tapped through the piece. Cues then keep their counts. What
//! does not fit is told phrase by phrase and never patched over.

use super::edit::{Command, EditError, Follow, apply, plan};
use super::{Dance, MoveBook, Source};
use crate::grid::{Anchor, Grid, Phrase};
use crate::listening::{Alignment, HeardGrid, TAP_LEAD};
use crate::units::{Beat, Counts, Seconds};
use std::ops::RangeInclusive;

/// Beats closer than this, in seconds, are no beats to tap: 300 a minute.
const CLOSEST: f64 = 0.2;
/// A beat may come this much outside what the two have in common, in seconds.
const SLACK: f64 = 0.3;
/// How far from where it was laid a beat may be heard, as a share of the beat.
const NEAR: f64 = 0.35;
/// Beats are at least this far apart, in seconds.
const LEAST: f64 = 0.05;
/// A phrase this much more unlike than the middle one is told.
const UNLIKE: f64 = 0.12;
/// A phrase that is played this many times faster or slower than the middle one is told: a part is left out or
/// repeated there, or it is another piece.
const PACE: f64 = 1.8;
/// Over both of these, the whole is doubted; so it is when the second plays less than [`LITTLE`] of the first. Measured on
/// pianists and the demo: two performances of one piece came to .12 to .18 unlike and .04 to .22 unsteady, two pieces to
/// .18 to .32 and .54 to 2.6; a repeat left out is as unsteady, but not unlike.
const OTHER_UNLIKE: f64 = 0.16;
const OTHER_UNSTEADY: f64 = 0.4;
const LITTLE: f64 = 0.3;

/// A dance on its new recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Carried {
    /// The dance.
    pub dance: Dance,
    /// Cues that are not in it because the new recording does not play their music.
    pub left_out: usize,
    /// What to listen to before a class does, in the order of the music.
    pub doubts: Vec<Doubt>,
    /// By how many semitones the new recording sounds higher, -5 to 6.
    pub transposed: i32,
    /// How many times faster the new recording is, over the whole.
    pub speed: f64,
}

/// Something that does not fit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Doubt {
    /// Nothing much in the new recording sounds like the old one: most likely it is another piece.
    OtherPiece,
    /// The new recording begins after the phrase or ends before it.
    NotPlayed {
        /// Its index in the dance.
        phrase: usize,
    },
    /// The phrase sounds otherwise: another setting, or something was left out around it.
    Unlike {
        /// Its index in the dance.
        phrase: usize,
    },
    /// The phrase is far shorter or longer than the tempo of the rest explains: a repeat was left out or added.
    Parted {
        /// Its index in the dance.
        phrase: usize,
        /// How many times faster than the rest it would have to be.
        faster: f64,
    },
}

/// Why a dance was not carried across.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CarryError {
    /// The dance has no beats, so there is nothing to lay over the new recording: repair its grid first.
    #[error("it has no beats; repair its grid first")]
    NoBeats,
    /// The two have no stretch in common that is worth a dance.
    #[error("the two recordings have nothing in common; give another performance of the same piece")]
    NothingAlike,
    /// Nothing in the new recording can be counted.
    #[error("the new recording has no beats where the dance needs them")]
    Beatless,
    /// The dance did not fit the new grid; a defect of this program.
    #[error("its cues do not fit the new counts ({0}); please report this")]
    Misfit(#[from] EditError),
}

/// Carries `dance` to the recording `source`, given how the two run side by side and a way to hear the new one with
/// anchors.
///
/// # Errors
/// [`CarryError`]; the dance is not changed.
pub fn carry(
    dance: &Dance,
    source: Source,
    alignment: &Alignment,
    hear: &mut dyn FnMut(&[Anchor]) -> HeardGrid,
) -> Result<Carried, CarryError> {
    if dance.grid.len() < 2 {
        return Err(CarryError::NoBeats);
    }
    let played = played(&dance.grid, alignment).ok_or(CarryError::NothingAlike)?;
    let laid = laid_over(&dance.grid, alignment);
    let anchors = anchors(&laid, &played);
    let heard = hear(&anchors).grid;
    if heard.len() < 2 {
        return Err(CarryError::Beatless);
    }
    let grid = settled(&heard, &laid, &played).rounded();
    let doubts = doubts(&dance.grid, &played, alignment);
    let mut carried = dance.clone();
    // From here on the dance lies on the new recording's time, and follows the music to the new beats.
    carried.grid = laid;
    keep_what_is_played(&mut carried, &played);
    let left_out = dance.cues.len() - carried.cues.len();
    let command =
        Command::SetGrid { grid, anchors, follow: Follow::Music, label: "carry".into(), gesture: None };
    let change = plan(&carried, &MoveBook::built_in(), &command)?.edit;
    apply(&mut carried, change)?;
    carried.recording = source;
    let (from, to) =
        (dance.grid.seconds_at(crate::units::Beat(0.0)), dance.grid.seconds_at(dance.grid.end()));
    Ok(Carried {
        dance: carried,
        left_out,
        doubts,
        transposed: alignment.transposed(),
        speed: alignment.speed(from, to),
    })
}

/// The beats, first and last, that the new recording plays; `None` if it is fewer than two.
fn played(old: &Grid, alignment: &Alignment) -> Option<RangeInclusive<usize>> {
    let (from, to) = alignment.covered();
    let first = old.beats().partition_point(|beat| beat.0 < from.0 - SLACK);
    let after = old.beats().partition_point(|beat| beat.0 <= to.0 + SLACK);
    (first + 2 <= after).then(|| first..=after - 1)
}

/// Takes out cues and questions whose music is not played, and shortens the cue that reaches beyond it.
fn keep_what_is_played(dance: &mut Dance, played: &RangeInclusive<usize>) {
    let (first, end) = (*played.start() as f64, *played.end() as f64 + 1.0);
    let whole = first == 0.0 && end == dance.grid.end().0;
    if whole {
        return;
    }
    dance.cues.retain(|cue| cue.at.0 >= first && cue.at.0 < end);
    for cue in &mut dance.cues {
        cue.counts = Counts(cue.counts.0.min(end - cue.at.0));
    }
    dance.prompts.retain(|prompt| prompt.at.0 >= first && prompt.at.0 < end);
    dance.silenced.retain(|silenced| silenced.at.is_none_or(|at| at.0 >= first && at.0 < end));
    // Moves are kept even when no cue is left that names them: they do no harm, and she may want them back.
}

/// The old grid with every beat where the new recording plays it.
fn laid_over(old: &Grid, alignment: &Alignment) -> Grid {
    let mut last = f64::NEG_INFINITY;
    let beats = old.beats().iter().map(|&beat| {
        last = alignment.at(beat).0.max(last + 0.02);
        Seconds(last)
    });
    let beats = beats.collect();
    // Same order, same indices: what was a grid stays one.
    Grid::new(beats, old.bars().to_vec(), old.phrases().to_vec()).unwrap_or_else(|_| old.clone())
}

/// What the old grid says about the new recording, as if tapped.
fn anchors(laid: &Grid, played: &RangeInclusive<usize>) -> Vec<Anchor> {
    let at = |beat: usize| laid.beats()[beat];
    let mut anchors = Vec::new();
    let mut last = f64::NEG_INFINITY;
    for beat in &laid.beats()[played.clone()] {
        if beat.0 - last >= CLOSEST {
            anchors.push(Anchor::Tap { at: Seconds((beat.0 - TAP_LEAD.0).max(0.0)) });
            last = beat.0;
        }
    }
    let mut length = None;
    let bars: Vec<usize> = laid.bars().iter().copied().filter(|bar| played.contains(bar)).collect();
    for bar in bars.windows(2) {
        let beats = bar[1] - bar[0];
        if let (true, Ok(beats @ 1..=16)) = (length != Some(beats), u8::try_from(beats)) {
            anchors.push(Anchor::Metre { from: at(bar[0]), beats });
            length = Some(usize::from(beats));
        }
    }
    anchors.extend(bars.first().map(|&bar| Anchor::BarStart { at: at(bar) }));
    let phrases = laid.phrases().iter().filter(|phrase| played.contains(&phrase.start));
    anchors.extend(phrases.map(|phrase| Anchor::CountOne { at: at(phrase.start) }));
    anchors
}

/// The new grid: every played beat of the old one where it was heard, divided as the old one was; before and after it
/// what was heard there.
///
/// Beats that the decoder heard between two of hers are left out, and one that it did not hear stays where it was laid,
/// so that counts stay counts.
fn settled(heard: &Grid, laid: &Grid, played: &RangeInclusive<usize>) -> Grid {
    let hers = &laid.beats()[played.clone()];
    let (first, last) = (hers[0].0, hers[hers.len() - 1].0);
    let usual = |index: usize| {
        let gap = |a: Option<&Seconds>, b: Option<&Seconds>| Some((b?.0 - a?.0).abs());
        let before = gap(index.checked_sub(1).and_then(|before| hers.get(before)), hers.get(index));
        let after = gap(hers.get(index), hers.get(index + 1));
        before.unwrap_or(f64::INFINITY).min(after.unwrap_or(f64::INFINITY))
    };
    let mut beats: Vec<Seconds> = Vec::new();
    for (index, at) in hers.iter().enumerate() {
        let near = nearest(heard.beats(), *at);
        let before = beats.last().map_or(f64::NEG_INFINITY, |beat| beat.0);
        let found =
            near.filter(|found| (found.0 - at.0).abs() <= NEAR * usual(index) && found.0 > before + LEAST);
        beats.push(found.unwrap_or(Seconds(at.0.max(before + LEAST))));
    }
    let (from, to) = (beats[0].0, beats[beats.len() - 1].0);
    let earlier: Vec<Seconds> =
        heard.beats().iter().copied().filter(|beat| beat.0 < first.min(from) - CLOSEST).collect();
    let later: Vec<Seconds> =
        heard.beats().iter().copied().filter(|beat| beat.0 > last.max(to) + CLOSEST).collect();
    // Where an old beat of the dance, or a heard one outside of it, lies in the new grid.
    let new_of = |old: usize| old - played.start() + earlier.len();
    let skipped = heard.len() - later.len();
    let outside = |index: usize| match index {
        index if index < earlier.len() => Some(index),
        index if index >= skipped => Some(index - skipped + earlier.len() + beats.len()),
        _ => None,
    };
    let mut bars: Vec<usize> =
        laid.bars().iter().filter(|bar| played.contains(bar)).map(|&bar| new_of(bar)).collect();
    bars.extend(heard.bars().iter().filter_map(|&bar| outside(bar)));
    bars.sort_unstable();
    let hers = laid.phrases().iter().filter(|phrase| played.contains(&phrase.start));
    let mut phrases: Vec<Phrase> =
        hers.map(|phrase| Phrase { start: new_of(phrase.start), ..phrase.clone() }).collect();
    // A few beats of dying away are no phrase; an introduction or a coda as long as one of hers usually is, is one.
    let usual = middle(phrases.windows(2).map(|pair| (pair[1].start - pair[0].start) as f64));
    let others = heard.phrases().iter().filter_map(|phrase| {
        let start = outside(phrase.start)?;
        let room = if start < earlier.len() { earlier.len() - start } else { heard.len() - phrase.start };
        (room as f64 >= usual).then_some((start, phrase))
    });
    let others: Vec<_> = others.collect();
    phrases.extend(others.into_iter().map(|(start, phrase)| Phrase { start, ..phrase.clone() }));
    phrases.sort_by_key(|phrase| phrase.start);
    let whole = earlier.into_iter().chain(beats).chain(later).collect();
    Grid::new(whole, bars, phrases).unwrap_or_else(|_| heard.clone())
}

fn nearest(beats: &[Seconds], at: Seconds) -> Option<Seconds> {
    let after = beats.partition_point(|beat| beat.0 < at.0);
    let near = [after.checked_sub(1).and_then(|before| beats.get(before)), beats.get(after)];
    near.into_iter().flatten().copied().min_by(|a, b| (a.0 - at.0).abs().total_cmp(&(b.0 - at.0).abs()))
}

/// What should be listened to.
fn doubts(old: &Grid, played: &RangeInclusive<usize>, alignment: &Alignment) -> Vec<Doubt> {
    struct Measured {
        phrase: usize,
        unlike: f64,
        speed: f64,
        played: bool,
    }
    let measured: Vec<Measured> = old
        .phrase_spans()
        .map(|span| {
            let (from, to) = (old.seconds_at(span.start), old.seconds_at(span.end));
            Measured {
                phrase: span.index,
                unlike: alignment.unlike(from, to),
                speed: alignment.speed(from, to),
                played: played.contains(&Beat(0.5 * (span.start.0 + span.end.0)).index()),
            }
        })
        .collect();
    let usual_unlike = middle(measured.iter().filter(|phrase| phrase.played).map(|phrase| phrase.unlike));
    let usual_speed = middle(measured.iter().filter(|phrase| phrase.played).map(|phrase| phrase.speed));
    let share = played.clone().count() as f64 / old.len() as f64;
    let forced = usual_unlike > OTHER_UNLIKE && alignment.unsteadiness() > OTHER_UNSTEADY;
    if forced || share < LITTLE {
        return vec![Doubt::OtherPiece];
    }
    let doubts = measured.iter().filter_map(|phrase| {
        let faster = phrase.speed / usual_speed;
        if !phrase.played {
            Some(Doubt::NotPlayed { phrase: phrase.phrase })
        } else if !(1.0 / PACE..=PACE).contains(&faster) {
            Some(Doubt::Parted { phrase: phrase.phrase, faster })
        } else if phrase.unlike > usual_unlike + UNLIKE {
            Some(Doubt::Unlike { phrase: phrase.phrase })
        } else {
            None
        }
    });
    doubts.collect()
}

fn middle(values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}
