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

/// Room to write a word by hand: a child of seven writes a word of eight letters in about so many points, and so high.
/// Common practice, no source: exercise books for that age are ruled 8 mm apart.
const BY_HAND: (f64, f64) = (80.0, 22.0);

impl Signs {
    /// Height of a row of words, or of lines for them, in points.
    pub(super) fn level(self) -> f64 {
        match self {
            Self::Worded => LEVEL,
            Self::Blank => BY_HAND.1,
        }
    }
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
            let long = (long(stone) * COVER).clamp(1.2, 4.0 * thickest.max(6.0));
            let thick = thickest * (0.45 + 0.55 * self.trail.height(stone.at));
            let place =
                Path::rectangle(self.x(stone.at), self.y(stone.at) - 0.5 * thick, long, thick, 0.5 * thick);
            let fill = if stone.bar { Ink::BLACK } else { Ink::WHITE };
            drawing.shape("stone", place, fill, Pen::solid(Ink::BLACK, 0.7));
        }
    }

    /// The landmarks of the stretch: a post on the path, and above it the word (or room for it) with a line as long as the
    /// change takes. They need [`Hill::levels`] rows of [`Signs::level`] points above the hill.
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
        let edge = self.left + self.width;
        let posts: Vec<(f64, f64, f64)> = here
            .iter()
            .map(|mark| {
                let word = width(mark.word, SIGN, Weight::Regular);
                let room = if signs == Signs::Worded { word } else { word.max(BY_HAND.0) };
                (self.x(mark.at), room, self.x(mark.until).min(edge))
            })
            .collect();
        here.into_iter().zip(stacked(&posts, edge)).collect()
    }

    fn landmark(&self, drawing: &mut Drawing, mark: &Landmark, signs: Signs, place: Place) {
        let Place { post, x, room, line: end, level } = place;
        let base = self.top - 8.0 - level as f64 * signs.level();
        drawing.line(
            "post",
            (post, self.y(mark.at)),
            (post, base - signs.level() + LEVEL - SIGN),
            Pen::solid(Ink::BLACK, 0.8),
        );
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
    /// How far the line at its foot goes.
    pub(super) line: f64,
    /// In which row, 0 the one nearest to the foot of the posts.
    pub(super) level: usize,
}

impl Place {
    /// Where its word and its line are over.
    fn end(&self) -> f64 {
        (self.x + self.room).max(self.line)
    }
}

/// Rows for the words on posts (where each stands, how wide its word is, how far the line at its foot goes; from left to
/// right), so that no word or line lies over another, no post goes through a word, and no word passes `right`.
pub(super) fn stacked(posts: &[(f64, f64, f64)], right: f64) -> Vec<Place> {
    // At the edge of the sheet the word stands before its post; and so does one that would reach over such a post, since
    // each of the two would have to stand higher than the other.
    let mut before = vec![false; posts.len()];
    for index in (0..posts.len()).rev() {
        let (post, room, _) = posts[index];
        let end = post + 3.0 + room;
        let mut later = posts.iter().zip(&before).skip(index + 1);
        before[index] = end > right || later.any(|(&(other, ..), &turned)| turned && end + 2.0 > other);
    }
    let mut placed: Vec<Option<Place>> = vec![None; posts.len()];
    // A word after its post must stand higher than those whose posts it reaches over, so those come first; a word before
    // its post likewise, the other way round.
    let after_posts = (0..posts.len()).rev().filter(|&index| !before[index]);
    let before_posts = (0..posts.len()).filter(|&index| before[index]);
    for index in after_posts.chain(before_posts) {
        let (post, room, line) = posts[index];
        let x = if before[index] { post - 3.0 - room } else { post + 3.0 };
        let over = |x: f64, room: f64, post: f64| (x - 1.0..x + room + 1.0).contains(&post);
        let free = |level: usize| {
            placed.iter().flatten().all(|other| {
                let (from, to) = (x.min(post), (x + room).max(line));
                let apart = to + 2.0 <= other.x.min(other.post) || other.end() + 2.0 <= from;
                (level != other.level || apart)
                    && (level < other.level || !over(other.x, other.room, post))
                    && (other.level < level || !over(x, room, other.post))
            })
        };
        // There is always a row above all others that is free.
        let level = (0..=posts.len()).find(|&level| free(level)).unwrap_or(posts.len());
        placed[index] = Some(Place { post, x, room, line, level });
    }
    placed.into_iter().flatten().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Holds what is promised of words on posts.
    fn judge(posts: &[(f64, f64, f64)], right: f64) {
        let placed = stacked(posts, right);
        for (i, a) in placed.iter().enumerate() {
            assert!(a.x + a.room <= right, "{a:?} passes {right}");
            for (j, b) in placed.iter().enumerate().filter(|&(j, _)| j != i) {
                let apart = a.end() <= b.x.min(b.post) || b.end() <= a.x.min(a.post);
                assert!(apart || a.level != b.level, "{a:?} {b:?}");
                let through = b.post > a.x && b.post < a.x + a.room && b.level >= a.level;
                assert!(!through, "post {j} of {b:?} goes through {a:?} in {posts:?}");
            }
        }
    }

    #[test]
    fn no_word_lies_over_another_and_no_post_goes_through_one() {
        let plain =
            |posts: &[(f64, f64)]| posts.iter().map(|&(post, room)| (post, room, post)).collect::<Vec<_>>();
        judge(&plain(&[(0.0, 40.0), (10.0, 40.0), (12.0, 30.0), (60.0, 40.0), (95.0, 20.0)]), 110.0);
        // Two at the edge, and one before them that reaches over both.
        judge(&plain(&[(514.0, 28.0), (570.0, 30.0), (571.0, 68.0), (586.0, 72.0)]), 623.0);
        judge(&plain(&[(600.0, 60.0), (608.0, 30.0)]), 620.0);
        assert!(stacked(&[], 10.0).is_empty());
    }

    proptest::proptest! {
        #[test]
        fn words_on_any_posts_keep_apart(
            mut posts in proptest::collection::vec((0.0..300.0f64, 5.0..90.0f64, 0.0..200.0f64), 0..9),
        ) {
            posts.sort_by(|a, b| a.0.total_cmp(&b.0));
            posts.dedup_by(|a, b| (a.0 - b.0).abs() < 0.01);
            for (post, _, line) in &mut posts {
                *line = (*post + *line).min(303.0);
            }
            judge(&posts, 303.0);
        }
    }
}
