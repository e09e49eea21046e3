//! The trail on paper: the hillside, its stones and its landmarks, drawn into a strip of a sheet.
//!
//! The geometry is the trail's own; here it only gets a place, and room for words that must not lie over each other.

use super::drawing::{Drawing, Ink, Path, Pen, Setting, Weight, width};
use crate::grid::Grid;
use crate::trail::{Landmark, Stone, Trail};
use crate::units::{Beat, Seconds};

/// Points between two places where the path is drawn.
const STEP: f64 = 2.0;

/// How much of its beat a stone covers, so that neighbours stay apart.
const COVER: f64 = 0.78;

/// Stones whose beats are narrower than this are left out but for those of bars. Points; our decision.
const NARROWEST: f64 = 3.5;

/// What runs from left to right.
#[derive(Debug, Clone, Copy)]
pub(super) enum Across<'a> {
    /// Time: strides are long where the music is slow.
    Time,
    /// Counts, all of one width.
    Counts(&'a Grid),
}

/// A strip of a sheet with a stretch of the trail in it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Hill<'a> {
    /// The trail.
    pub(super) trail: &'a Trail,
    /// What runs across.
    pub(super) across: Across<'a>,
    /// Where the stretch begins.
    pub(super) from: Seconds,
    /// Where it ends.
    pub(super) until: Seconds,
    /// Left edge.
    pub(super) left: f64,
    /// Width.
    pub(super) width: f64,
    /// Where the highest place lies.
    pub(super) top: f64,
    /// The foot of the hill.
    pub(super) bottom: f64,
}

/// Size of the landmarks' words in points.
const SIGN: f64 = 10.0;

/// Height of a row of landmarks' words in points.
pub(super) const LEVEL: f64 = 14.0;

/// Whether the landmarks say their word.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Signs {
    /// The word is there.
    Worded,
    /// A line to write it on.
    Blank,
}

impl Hill<'_> {
    /// Where an instant lies from left to right. Outside the stretch, outside the strip.
    pub(super) fn x(&self, at: Seconds) -> f64 {
        let place = |at: Seconds| match self.across {
            Across::Time => at.0,
            Across::Counts(grid) => grid.beat_at(at).0,
        };
        let (from, until) = (place(self.from), place(self.until));
        let span = if until > from { until - from } else { 1.0 };
        self.left + (place(at) - from) / span * self.width
    }

    /// Where the path runs at an instant. Even the softest place is a little above the foot.
    pub(super) fn y(&self, at: Seconds) -> f64 {
        let span = self.bottom - self.top;
        self.bottom - span * (0.12 + 0.88 * self.trail.height(at))
    }

    /// The instant at a place from left to right.
    fn instant(&self, x: f64) -> Seconds {
        let share = ((x - self.left) / self.width).clamp(0.0, 1.0);
        match self.across {
            Across::Time => Seconds(self.from.0 + share * (self.until.0 - self.from.0)),
            Across::Counts(grid) => {
                let (from, until) = (grid.beat_at(self.from).0, grid.beat_at(self.until).0);
                grid.seconds_at(Beat(from + share * (until - from)))
            }
        }
    }

    /// The ground between two instants, filled, and the path along its top.
    pub(super) fn ground(&self, drawing: &mut Drawing, from: Seconds, until: Seconds, ink: Ink) {
        let (left, right) = (self.x(from).max(self.left), self.x(until).min(self.left + self.width));
        if right <= left {
            return;
        }
        let pieces = ((right - left) / STEP).ceil().max(1.0) as usize;
        let along: Vec<(f64, f64)> = (0..=pieces)
            .map(|piece| {
                let x = left + (right - left) * piece as f64 / pieces as f64;
                (x, self.y(self.instant(x)))
            })
            .collect();
        let feet = [(right, self.bottom), (left, self.bottom)];
        drawing.fill("ground", Path::through(along.iter().copied().chain(feet)).closed(), ink);
        drawing.stroke("path", Path::through(along), Pen::solid(Ink::GREY, 0.8));
    }

    /// The stones of the stretch: as long as their beat, thicker where the music is louder, dark where a bar begins.
    pub(super) fn stones(&self, drawing: &mut Drawing, thickest: f64) {
        let here: Vec<&Stone> = self
            .trail
            .stones()
            .iter()
            .filter(|stone| stone.at.0 >= self.from.0 - 1e-6 && stone.at.0 < self.until.0 - 1e-6)
            .collect();
        let long = |stone: &Stone| self.x(stone.at.plus(stone.stride)) - self.x(stone.at);
        let crowded = here.iter().any(|stone| long(stone) < NARROWEST);
        for stone in here.into_iter().filter(|stone| !crowded || stone.bar) {
            let long = (long(stone) * COVER).clamp(1.2, 3.0 * thickest.max(6.0));
            let thick = thickest * (0.45 + 0.55 * self.trail.height(stone.at));
            let place =
                Path::rectangle(self.x(stone.at), self.y(stone.at) - 0.5 * thick, long, thick, 0.5 * thick);
            let fill = if stone.bar { Ink::BLACK } else { Ink::WHITE };
            drawing.shape("stone", place, fill, Pen::solid(Ink::BLACK, 0.7));
        }
    }

    /// The landmarks of the stretch: a post on the path, and above it the word (or room for it) with a line as long as the
    /// change takes. They need [`Hill::levels`] rows of [`LEVEL`] points above the hill.
    pub(super) fn landmarks(&self, drawing: &mut Drawing, signs: Signs) {
        for (mark, place) in self.placed(signs) {
            self.landmark(drawing, mark, signs, place);
        }
    }

    /// How many rows of words the landmarks need, 0 without any.
    pub(super) fn levels(&self, signs: Signs) -> usize {
        self.placed(signs).iter().map(|(_, place)| place.level + 1).max().unwrap_or(0)
    }

    /// Where each landmark's word goes.
    fn placed(&self, signs: Signs) -> Vec<(&Landmark, Place)> {
        let here = self.trail.landmarks().iter();
        let here: Vec<&Landmark> =
            here.filter(|mark| mark.at.0 >= self.from.0 && mark.at.0 < self.until.0).collect();
        let posts: Vec<(f64, f64)> = here
            .iter()
            .map(|mark| {
                let word = width(mark.word, SIGN, Weight::Regular);
                (self.x(mark.at), if signs == Signs::Worded { word } else { word.max(40.0) })
            })
            .collect();
        here.into_iter().zip(stacked(&posts, self.left + self.width)).collect()
    }

    fn landmark(&self, drawing: &mut Drawing, mark: &Landmark, signs: Signs, place: Place) {
        let Place { post, x, room, level } = place;
        let base = self.top - 8.0 - level as f64 * LEVEL;
        let end = self.x(mark.until).min(self.left + self.width);
        drawing.line("post", (post, self.y(mark.at)), (post, base - SIGN), Pen::solid(Ink::BLACK, 0.8));
        if end > post + 4.0 {
            // How long the change takes.
            drawing.line("change", (post, base + 2.5), (end, base + 2.5), Pen::solid(Ink::BLACK, 0.8));
            drawing.line("change", (end, base + 0.5), (end, base + 4.5), Pen::solid(Ink::BLACK, 0.8));
        }
        match signs {
            Signs::Worded => drawing.words("turn", (x, base), Setting::plain(SIGN), mark.word),
            Signs::Blank => {
                drawing.line("blank", (x, base), (x + room, base), Pen::dashed(Ink::GREY, 0.7, 1.5, 1.5));
            }
        }
    }
}

/// Where the word on a post goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Place {
    /// Where the post stands.
    pub(super) post: f64,
    /// Where the word begins.
    pub(super) x: f64,
    /// How wide the word is.
    pub(super) room: f64,
    /// In which row, 0 the one nearest to the foot of the posts.
    pub(super) level: usize,
}

/// Rows for the words on posts (where each stands, how wide its word is; from left to right), so that no word lies over
/// another, no post goes through a word, and no word passes `right`.
pub(super) fn stacked(posts: &[(f64, f64)], right: f64) -> Vec<Place> {
    let mut placed: Vec<Place> = Vec::with_capacity(posts.len());
    // From the right, since the post of a later word must not go through an earlier one under it.
    for &(post, room) in posts.iter().rev() {
        // At the edge of the sheet the word stands before its post.
        let x = if post + 3.0 + room <= right { post + 3.0 } else { post - 3.0 - room };
        let free = |level: usize| {
            placed.iter().all(|other| {
                if other.level >= level {
                    x + room + 2.0 <= other.x.min(other.post)
                } else {
                    !(other.x - 1.0..other.x + other.room + 1.0).contains(&post)
                }
            })
        };
        // A new row is free of words, though the post may still have to pass one.
        let level = (0..=placed.len()).find(|&level| free(level)).unwrap_or(placed.len());
        placed.push(Place { post, x, room, level });
    }
    placed.reverse();
    placed
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_word_lies_over_another_and_no_post_goes_through_one() {
        let posts = [(0.0, 40.0), (10.0, 40.0), (12.0, 30.0), (60.0, 40.0), (95.0, 20.0)];
        let placed = stacked(&posts, 110.0);
        for (i, a) in placed.iter().enumerate() {
            assert!(a.x + a.room <= 110.0);
            for b in &placed[i + 1..] {
                let apart = a.x + a.room <= b.x || b.x + b.room <= a.x;
                assert!(apart || a.level != b.level, "{a:?} {b:?}");
                let through = b.post > a.x && b.post < a.x + a.room && b.level >= a.level;
                assert!(!through, "the post of {b:?} goes through {a:?}");
            }
        }
        assert!(stacked(&[], 10.0).is_empty());
    }
}
