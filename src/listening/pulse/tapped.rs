//! What taps say about the beats that were heard without them: she counts each of them, every second or third, or more.
//!
//! Taps at another level than the one that was heard mean that level for the whole piece. How the tempo changes on the way
//! is what was heard without them; how the beats are counted is what she tapped. Where she counts two or three to a heard
//! beat, the heard beats are hers and the others lie between; where she counts every second, hers are among the heard ones.

use super::pins::{OTHER_LEVEL, Pin, runs};
use super::search::{STEPS_PER_SECOND, bin_of};
use std::ops::Range;

/// A run of taps says nothing unless it has so many gaps, of which this share are as many heard beats long as the others, give
/// or take this share of it.
const GAPS: usize = 3;
const AGREE: f64 = 0.75;
const ROOM: f64 = 0.25;
/// A few taps say as much if they are within this share of the heard beats that they count, or of the parts of one, and this
/// share of all heard beats is at their level.
const EXACT: f64 = 0.15;
const ALL: f64 = 0.95;
/// What may be counted of the heard beats; of equals the last.
const COUNTS: [Every; 5] = [Every::of(1, 3), Every::of(3, 1), Every::of(1, 2), Every::of(2, 1), AS_HEARD];
const AS_HEARD: Every = Every::of(1, 1);
/// The same where she counts two while three are heard, or three while two are, as where the thirds of her beats were taken for
/// halves of others. They are near to whole counts, so a run must have more gaps to tell, and closer ones.
const ACROSS: [Every; 2] = [Every::of(3, 2), Every::of(2, 3)];
const GAPS_ACROSS: usize = 5;
const ROOM_ACROSS: f64 = 0.15;
/// Taps say that the level is as it was heard where one of so many heard beats before or after is as long as theirs, give or
/// take this share of it: where she taps, the heard beats themselves are wrong.
const NEAR: usize = 4;
const ALIKE: f64 = 0.2;
/// Seconds of the shortest beat that is laid out.
const QUICKEST: f64 = 0.26;
/// Heard beats to either side over which their length is taken.
const AROUND: f64 = 2.0;

/// Which of the beats that were heard she counts: every so many of their parts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Every {
    /// Parts from one count to the next.
    pub(super) each: u8,
    /// Into how many parts a heard beat is divided for that.
    pub(super) parts: u8,
}

impl Every {
    const fn of(each: u8, parts: u8) -> Self {
        Self { each, parts }
    }

    /// Heard beats from one count to the next.
    fn beats(self) -> f64 {
        f64::from(self.each) / f64::from(self.parts)
    }
}

/// How a run of taps counts what was heard.
pub(super) struct Count {
    /// For how long it holds, seconds.
    stretch: Range<f64>,
    /// When it was tapped, seconds.
    taps: Range<f64>,
    every: Every,
    /// One of the parts that she counts, from the first of the first heard beat on.
    part: i64,
}

/// How a run counts, if it can be told. Without `slowing`, few taps do not tell.
fn count(run: &[Pin], heard: &[f64], slowing: Option<&[i16]>) -> Option<Every> {
    let places: Vec<f64> = run.iter().map(|pin| place(heard, pin.at)).collect();
    let gaps: Vec<f64> = places.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let agree = |every: Every, room: f64| {
        let beats = every.beats();
        gaps.iter().filter(|gap| (*gap - beats).abs() <= room * beats).count()
    };
    let enough = AGREE * gaps.len() as f64;
    let across = ACROSS.into_iter().find(|every| agree(*every, ROOM_ACROSS) as f64 >= enough);
    if gaps.len() >= GAPS_ACROSS && across.is_some() {
        return across;
    }
    let every = COUNTS.into_iter().max_by_key(|every| agree(*every, ROOM))?;
    let told = if gaps.len() >= GAPS {
        agree(every, ROOM) as f64 >= enough
    } else {
        // Those that are as far apart as the heard beats mend them: see `as_heard`.
        let alike = slowing.is_some_and(|slowing| all_alike(heard, slowing, run[0].at));
        every != AS_HEARD && !gaps.is_empty() && exactly(&places, every.beats()) && alike
    };
    told.then_some(every)
}

/// One of the parts of the heard beats that a run of taps counts, if it counts `every` so many.
fn counted_part(run: &[Pin], heard: &[f64], every: Every) -> i64 {
    let places: Vec<f64> = run.iter().map(|pin| place(heard, pin.at)).collect();
    let counts = places.windows(2).scan(0.0, |counted, pair| {
        *counted += ((pair[1] - pair[0]) / every.beats()).round();
        Some(*counted)
    });
    let counts = std::iter::once(0.0).chain(counts);
    let mut first: Vec<f64> =
        places.iter().zip(counts).map(|(place, counted)| place - counted * every.beats()).collect();
    first.sort_by(f64::total_cmp);
    (first[first.len() / 2] * f64::from(every.parts)).round() as i64
}

/// Whether all `places` are those of heard beats `each` apart, or of such parts of one, one of them a beat's own.
fn exactly(places: &[f64], each: f64) -> bool {
    let parts = each.recip().max(1.0);
    let off = |place: f64| (place - place.round()).abs();
    let apart = |pair: &[f64]| ((pair[1] - pair[0]) / each - 1.0).abs() <= EXACT;
    places.iter().all(|place| off(place * parts) <= EXACT)
        && places.iter().any(|place| off(*place) <= EXACT)
        && places.windows(2).all(apart)
}

/// Whether nearly all the `heard` beats (seconds, ascending) differ from those around an instant only as the pace of the music does,
/// so that what is said of these is true of all. `slowing`: by how many tempo bins the music has slowed down, step by step.
fn all_alike(heard: &[f64], slowing: &[i16], instant: f64) -> bool {
    let per_second = f64::from(STEPS_PER_SECOND);
    let level = |at: f64| {
        let slower = slowing.get((at * per_second).max(0.0) as usize).or(slowing.last()).copied();
        bin_of((length_at(heard, at) * per_second) as f32) as isize - isize::from(slower.unwrap_or(0))
    };
    let here = level(instant);
    let alike = heard.iter().filter(|beat| level(**beat).abs_diff(here) <= OTHER_LEVEL).count();
    alike as f64 >= ALL * heard.len() as f64
}

/// How the runs of taps count that can be told; each holds until half way to the next. None where too few beats (seconds,
/// ascending) were heard. Where all of those are alike but for the music's `slowing`, few taps are enough to tell, unless others say
/// that the level is as it was heard.
pub(super) fn counts(heard: &[f64], pins: &[Pin], slowing: &[i16]) -> Vec<Count> {
    if heard.len() < 4 {
        return Vec::new();
    }
    let slowing = as_heard(heard, pins).is_empty().then_some(slowing);
    let told = |run: &[Pin]| {
        let every = count(run, heard, slowing)?;
        Some((run.first()?.at..run.last()?.at, every, counted_part(run, heard, every)))
    };
    let told: Vec<(Range<f64>, Every, i64)> = runs(pins).filter_map(told).collect();
    let half_ways = told.windows(2).map(|pair| 0.5 * (pair[0].0.end + pair[1].0.start));
    let bounds: Vec<f64> = std::iter::once(0.0).chain(half_ways).chain([f64::INFINITY]).collect();
    let stretches = bounds.windows(2).map(|pair| pair[0]..pair[1]);
    stretches.zip(told).map(|(stretch, (taps, every, part))| Count { stretch, taps, every, part }).collect()
}

/// What is counted where every run of taps that says anything counts every second or third of the beats that were heard, or
/// across them, and all runs alike.
pub(super) fn every(counts: &[Count]) -> Option<Every> {
    let every = counts.first()?.every;
    (counts.iter().all(|count| count.every == every) && every.each > 1).then_some(every)
}

/// Where taps are as far apart as the `heard` beats are (seconds, ascending), be they few or many: she mends what is around them,
/// and the level elsewhere is as it was.
pub(super) fn as_heard(heard: &[f64], pins: &[Pin]) -> Vec<Range<f64>> {
    if heard.len() < 4 {
        return Vec::new();
    }
    let lengths_near = |at: f64| {
        let beat = place(heard, at).max(0.0) as usize;
        let near = beat.saturating_sub(NEAR)..(beat + NEAR + 1).min(heard.len() - 1);
        near.map(|beat| heard[beat + 1] - heard[beat])
    };
    let alike = |pair: &[Pin]| {
        lengths_near(pair[0].at).any(|length| ((pair[1].at - pair[0].at) / length - 1.0).abs() <= ALIKE)
    };
    let as_heard = |run: &[Pin]| run.len() >= 2 && run.windows(2).all(alike);
    let range = |run: &[Pin]| run[0].at..run[run.len() - 1].at;
    runs(pins).filter(|run| as_heard(run)).map(range).collect()
}

/// The tempo bin of the beats that she counts, step by step: the heard beat's, as many times as she counts it. `None` where her
/// taps cannot be read so, or where she counts what was heard.
///
/// `heard` are beats in seconds, ascending.
pub(super) fn counted(heard: &[f64], counts: &[Count], steps: usize) -> Vec<Option<isize>> {
    let mut bins = vec![None; steps];
    let per_second = f64::from(STEPS_PER_SECOND);
    let step = |at: f64| ((at * per_second).max(0.0) as usize).min(steps);
    for Count { stretch, every, .. } in counts.iter().filter(|count| count.every != AS_HEARD) {
        let (from, until) = (step(stretch.start), step(stretch.end));
        for (t, bin) in bins.iter_mut().enumerate().take(until).skip(from) {
            let length = every.beats() * length_at(heard, t as f64 / per_second);
            *bin = Some(bin_of((length * per_second) as f32) as isize);
        }
    }
    bins
}

/// Beats that taps divide others into.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Divided {
    /// Over which seconds.
    pub(super) stretch: Range<f64>,
    /// In seconds, ascending.
    pub(super) beats: Vec<f64>,
}

/// The beats that runs of taps count where each counts two or three to one that was heard, or across them: they lie on those and
/// between, so there is no doubt which they are. A run holds as long as anybody could follow.
///
/// `heard` are beats in seconds, ascending.
pub(super) fn divided(heard: &[f64], counts: &[Count]) -> Vec<Divided> {
    let divide = |count: &Count| {
        let too_quick =
            || heard.windows(2).filter(|pair| (pair[1] - pair[0]) * count.every.beats() < QUICKEST);
        let before = too_quick().map(|pair| pair[1]).filter(|at| *at <= count.taps.start);
        let after = too_quick().map(|pair| pair[0]).filter(|at| *at >= count.taps.end);
        let stretch = before.fold(count.stretch.start, f64::max)..after.fold(count.stretch.end, f64::min);
        let Every { each, parts } = count.every;
        // The last heard beat is nobody's: nothing was heard after it to count towards.
        let within = parts_of(heard, parts);
        let counted =
            within.iter().take(within.len() - 1).skip(count.part.rem_euclid(i64::from(each)) as usize);
        let beats =
            counted.step_by(usize::from(each)).copied().filter(|beat| stretch.contains(beat)).collect();
        Divided { stretch, beats }
    };
    counts.iter().filter(|count| count.every.parts > 1).map(divide).collect()
}

/// The parts of the heard beats, and the last of those; all in seconds, ascending.
pub(super) fn parts_of(heard: &[f64], parts: u8) -> Vec<f64> {
    let part = |pair: &[f64], k: u8| pair[0] + (pair[1] - pair[0]) * f64::from(k) / f64::from(parts);
    let within = heard.windows(2).flat_map(|pair| (0..parts).map(move |k| part(pair, k)));
    within.chain(heard.last().copied()).collect()
}

/// How long the heard beats are around an instant, seconds.
fn length_at(heard: &[f64], instant: f64) -> f64 {
    let last = (heard.len() - 1) as f64;
    let here = place(heard, instant).clamp(0.0, last);
    let (low, high) = ((here - AROUND).max(0.0), (here + AROUND).min(last));
    (at(heard, high) - at(heard, low)) / (high - low)
}

/// Where among the heard beats an instant is, counted from the first; before it and after the last the beats go on.
fn place(heard: &[f64], instant: f64) -> f64 {
    let before = heard.partition_point(|beat| *beat <= instant).saturating_sub(1).min(heard.len() - 2);
    before as f64 + (instant - heard[before]) / (heard[before + 1] - heard[before])
}

/// When the heard beats are at a place among them, seconds.
fn at(heard: &[f64], place: f64) -> f64 {
    let before = (place as usize).min(heard.len() - 2);
    heard[before] + (place - before as f64) * (heard[before + 1] - heard[before])
}

#[cfg(test)]
mod tests {
    use super::super::pins::pins;
    use super::*;
    use crate::grid::Anchor;
    use crate::units::Seconds;

    /// Beats that were heard half a second apart, and .8 s from the fortieth on.
    fn heard() -> Vec<f64> {
        (0..80)
            .scan(1.0, |at, n| {
                let here = *at;
                *at += if n < 40 { 0.5 } else { 0.8 };
                Some(here)
            })
            .collect()
    }

    /// Seconds of a counted beat at an instant, when `taps` were given.
    fn beat_at(taps: &[f64], instant: f64) -> Option<f64> {
        let anchors: Vec<Anchor> = taps.iter().map(|&at| Anchor::Tap { at: Seconds(at - 0.03) }).collect();
        let bins = counted(&heard(), &counts(&heard(), &pins(&anchors, 3_000), &[]), 3_000);
        bins[(instant * 50.0) as usize]
            .map(|bin| f64::from(super::super::search::period(bin as usize)) / 50.0)
    }

    #[test]
    fn every_second_beat_stays_every_second_where_the_music_slows_down() {
        let taps = [1.02, 1.98, 3.0, 4.03, 5.0];
        assert!((beat_at(&taps, 10.0).expect("half") - 1.0).abs() < 0.03);
        assert!((beat_at(&taps, 40.0).expect("half") - 1.6).abs() < 0.05);
    }

    #[test]
    fn a_later_run_counts_from_half_way_on() {
        let taps = [1.0, 2.0, 3.0, 4.0, 15.0, 15.25, 15.5, 15.75, 16.0];
        assert!((beat_at(&taps, 9.0).expect("half") - 1.0).abs() < 0.03);
        assert!((beat_at(&taps, 10.0).expect("double") - 0.25).abs() < 0.01);
    }

    #[test]
    fn taps_between_heard_beats_divide_them_as_far_as_anybody_could_follow() {
        let laid_out = |taps: &[f64]| {
            let anchors: Vec<Anchor> =
                taps.iter().map(|&at| Anchor::Tap { at: Seconds(at - 0.03) }).collect();
            divided(&heard(), &counts(&heard(), &pins(&anchors, 3_000), &[]))
        };
        // Halves of .8 s can be followed, those of .5 s before the fortieth beat, at 21 s, cannot.
        let [halves] = &laid_out(&[25.02, 25.38, 25.8, 26.23, 26.6])[..] else { panic!("one run") };
        assert!((halves.stretch.start - 21.0).abs() < 1e-6 && halves.stretch.end.is_infinite());
        assert!((halves.beats[0] - 21.0).abs() < 1e-6);
        assert!(halves.beats.windows(2).all(|pair| (pair[1] - pair[0] - 0.4).abs() < 1e-6));
        let [thirds] = &laid_out(&[25.0, 25.27, 25.53, 25.8, 26.07, 26.33])[..] else { panic!("one run") };
        assert!(thirds.beats.windows(2).all(|pair| (pair[1] - pair[0] - 0.8 / 3.0).abs() < 1e-6));
        assert!(laid_out(&[25.0, 25.8, 26.6, 27.4]).is_empty() && laid_out(&[2.0, 3.0, 4.0, 5.0]).is_empty());
    }

    #[test]
    fn taps_as_far_apart_as_heard_beats_near_by_leave_the_level_as_it_was() {
        let said = |taps: &[f64]| {
            let anchors: Vec<Anchor> =
                taps.iter().map(|&at| Anchor::Tap { at: Seconds(at - 0.03) }).collect();
            as_heard(&heard(), &pins(&anchors, 3_000)).len()
        };
        // On the off-beat, and across the change of tempo at 21 s; every second beat is another matter.
        assert_eq!((said(&[5.25, 5.75]), said(&[20.5, 21.3]), said(&[5.0, 5.5, 20.5, 21.3])), (1, 1, 2));
        assert_eq!((said(&[5.0, 6.0]), said(&[5.0, 5.5, 6.0, 6.5]), said(&[5.0])), (0, 1, 0));
    }

    #[test]
    fn a_few_exact_taps_count_all_that_is_alike() {
        let said = |taps: &[f64], slowing: &[i16]| -> Vec<f64> {
            let anchors: Vec<Anchor> =
                taps.iter().map(|&at| Anchor::Tap { at: Seconds(at - 0.03) }).collect();
            let counts = counts(&heard(), &pins(&anchors, 3_000), slowing);
            counts.iter().map(|count| count.every.beats()).collect()
        };
        // The music is heard to slow down by as much as the beats do at 21 s; or it is not, so that they have changed their level.
        let slower = (f64::log2(0.8 / 0.5) * 36.0) as i16;
        let slowing: Vec<i16> = (0..3_000).map(|step| if step < 1_050 { 0 } else { slower }).collect();
        let steady = vec![0; 3_000];
        for (taps, each) in
            [(&[5.05, 6.0][..], 2.0), (&[25.0, 25.42], 0.5), (&[5.0, 6.5], 3.0), (&[2.0, 3.0, 4.0], 2.0)]
        {
            assert_eq!(said(taps, &slowing), vec![each], "{taps:?}");
            assert!(said(taps, &steady).is_empty(), "{taps:?}");
        }
        // Beside the heard beats, or as far apart as they are, they mean something else, and so they do beside such that are.
        for taps in [&[5.2, 6.2][..], &[5.0, 5.85], &[5.0, 5.5], &[5.0], &[5.0, 6.0, 15.0, 15.5]] {
            assert!(said(taps, &slowing).is_empty(), "{taps:?}");
        }
    }

    #[test]
    fn taps_across_the_heard_beats_count_their_halves_or_thirds() {
        let said = |taps: &[f64]| {
            let anchors: Vec<Anchor> =
                taps.iter().map(|&at| Anchor::Tap { at: Seconds(at - 0.03) }).collect();
            let counts = counts(&heard(), &pins(&anchors, 3_000), &[]);
            let first = divided(&heard(), &counts).first().map(|laid_out| laid_out.beats[..3].to_vec());
            (every(&counts), first)
        };
        let (two, laid_out) = said(&[5.27, 6.0, 6.72, 7.5, 8.27, 9.0]);
        assert_eq!(two, Some(Every { each: 3, parts: 2 }));
        assert_eq!(laid_out, Some(vec![1.5, 2.25, 3.0]));
        let (three, laid_out) = said(&[25.0, 25.55, 26.07, 26.6, 27.1, 27.67, 28.2]);
        assert_eq!(three, Some(Every { each: 2, parts: 3 }));
        // Two thirds of half a second can be followed too.
        assert!(laid_out.is_some_and(|beats| (beats[1] - beats[0] - 1.0 / 3.0).abs() < 1e-9));
        // Fewer taps, or looser ones, are no such thing.
        assert_eq!(said(&[5.25, 6.0, 6.75, 7.5, 8.25]).0, Some(Every { each: 2, parts: 1 }));
        assert_eq!(said(&[5.0, 6.0, 6.9, 7.8, 8.9, 9.8]).0, Some(Every { each: 2, parts: 1 }));
    }

    #[test]
    fn taps_on_what_was_heard_or_at_random_say_nothing() {
        assert_eq!(beat_at(&[1.0, 1.5, 2.0, 2.5], 10.0), None);
        assert_eq!(beat_at(&[1.0, 1.7, 2.9, 3.3, 4.5], 10.0), None);
        assert_eq!(beat_at(&[1.0, 2.0, 3.0], 10.0), None);
    }
}
