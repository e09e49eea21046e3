//! Slower and faster at the same pitch: WSOLA (W. Verhelst and M. Roelands, "An overlap-add technique based on waveform
//! similarity (WSOLA) for high quality time-scale modification of speech", ICASSP 1993), with beginnings of notes kept whole.
//!
//! The output is made in blocks. In each block the sound that would go on by itself is cross-faded into sound
//! from near the place where the music should be by now, chosen so that the two look alike. Around the beginning of a note
//! nothing is cross-faded: the block before it leads up to it in such a way that it falls on its instant, and is heard once.
//!
//! The samples lie in memory, so that nothing is buffered, and nothing is allocated after [`Stretch::new`]: it runs inside the
//! audio callback. `docs/measurements.md` has the comparison with the crates that were tried.

use super::prepare::Prepared;

/// Length of a block, in seconds: the cross-fade.
const BLOCK: f64 = 0.020;
/// How far from its place sound may be taken, in seconds either way: a period of the lowest notes together (40 Hz).
const REACH: f64 = 0.0125;
/// After the beginning of a note so much of it is heard before anything is cross-faded, in seconds.
const GUARD: f64 = 0.008;
/// The search looks at every fourth frame first.
pub(super) const COARSE: usize = 4;

/// A span that is gone round, in frames.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Seam {
    /// Where it begins ...
    pub(super) from: f64,
    /// ... and where, instead of going on, the music returns to the beginning.
    pub(super) to: f64,
}

/// Plays prepared samples at any speed, block by block.
#[derive(Debug)]
pub(super) struct Stretch {
    prepared: Prepared,
    /// Frames in a block.
    frames: usize,
    reach: i64,
    guard: i64,
    /// How much of the new sound is heard, over a block.
    rise: Box<[f32]>,
    /// The block that is played, two channels interleaved.
    block: Box<[f32]>,
    /// Where the sound would go on by itself.
    natural: i64,
}

impl Stretch {
    pub(super) fn new(prepared: Prepared) -> Self {
        let frames_in = |seconds: f64| (seconds * f64::from(prepared.rate)) as usize;
        let frames = frames_in(BLOCK).max(COARSE) / COARSE * COARSE;
        let rise = |n: usize| {
            let part = (n as f64 + 0.5) / frames as f64;
            (0.5 - 0.5 * (std::f64::consts::PI * part).cos()) as f32
        };
        Self {
            frames,
            reach: frames_in(REACH) as i64,
            guard: frames_in(GUARD) as i64,
            rise: (0..frames).map(rise).collect(),
            block: vec![0.0; 2 * frames].into(),
            natural: 0,
            prepared,
        }
    }

    /// Frames in a block.
    pub(super) fn frames(&self) -> usize {
        self.frames
    }

    /// Frames a second.
    pub(super) fn rate(&self) -> u32 {
        self.prepared.rate
    }

    /// A frame of the block: left and right.
    pub(super) fn frame(&self, index: usize) -> (f32, f32) {
        (self.block[2 * index], self.block[2 * index + 1])
    }

    /// Goes on from a frame, without a bridge from what was before.
    pub(super) fn start(&mut self, at: i64) {
        self.natural = at;
    }

    /// Makes the block that leads from `from` to `to` (frames of the recording, possibly negative or past the end), a block at
    /// the speed's factor apart. `seam` is a span that is gone round.
    pub(super) fn make(&mut self, (from, to): (f64, f64), speed: f64, seam: Option<Seam>) {
        let old = self.natural;
        let new = match seam.and_then(|seam| self.over(seam, (from, to), speed)) {
            Some(place) => place,
            None if speed == 1.0 => to.round() as i64 - self.frames as i64,
            None => self.choose((from, to), speed),
        };
        for index in 0..self.frames {
            let offset = index as i64;
            let (left, right) = self.prepared.at(new + offset);
            let out = &mut self.block[2 * index..2 * index + 2];
            if new == old {
                (out[0], out[1]) = (left, right);
            } else {
                let (part, before) = (self.rise[index], self.prepared.at(old + offset));
                out[0] = before.0 + part * (left - before.0);
                out[1] = before.1 + part * (right - before.1);
            }
        }
        self.natural = new + self.frames as i64;
    }

    /// Where the block's new sound begins when the seam lies in this block or in the next: the block before
    /// the seam leads up to the span's beginning, so that this is heard whole. `None` away from the seam.
    fn over(&self, seam: Seam, (from, to): (f64, f64), speed: f64) -> Option<i64> {
        // The sound that, `until` the seam, becomes the beginning of the span.
        let leading = |until: f64| (seam.from - (seam.to - until) / speed).round() as i64;
        let frames = self.frames as i64;
        if from < seam.to && seam.to <= to {
            let prepared = (self.natural - leading(from)).abs() <= 1;
            // The span may have been asked for just now; then the cross-fade is on the seam itself.
            return Some(if prepared { self.natural } else { leading(from) });
        }
        (to < seam.to && seam.to <= to + speed * frames as f64).then(|| leading(to) - frames)
    }

    /// Where the block's new sound begins at another speed than the recording's own.
    fn choose(&self, (from, to): (f64, f64), speed: f64) -> i64 {
        let frames = self.frames as i64;
        let attacks = &self.prepared.attacks;
        let (here, there) = (from as i64, to as i64);
        let played = attacks.partition_point(|&attack| attack < there);
        if attacks.get(played.wrapping_sub(1)).is_some_and(|&attack| attack >= here) {
            // A note begins in this block: the one before has led up to it.
            return self.natural;
        }
        let next = attacks.get(played).copied();
        if let Some(next) = next.filter(|&next| (next as f64) < to + speed * frames as f64) {
            // A note begins in the next block: arrive so that it falls on its instant.
            return next - ((next as f64 - to) / speed).round() as i64 - frames;
        }
        // A block's new sound is in full at its end and gone at the end of the next: half-way it should be in its place.
        let middle = (from - frames as f64 * (1.0 - speed)).round() as i64;
        let least = played.checked_sub(1).map_or(i64::MIN, |last| attacks[last] + self.guard);
        let most = next.map_or(i64::MAX, |next| next - 2 * frames);
        if least > most {
            // Notes follow each other too closely for two cross-fades.
            return self.natural;
        }
        let (low, high) = ((middle - self.reach).max(least), (middle + self.reach).min(most));
        if low > high { middle.clamp(least, most) } else { self.most_alike(low, high) }
    }

    /// The place from `low` to `high` whose sound is most like that which would go on by itself: by normalised
    /// cross-correlation, first of the outline, then of the samples around the best.
    fn most_alike(&self, low: i64, high: i64) -> i64 {
        let coarse = COARSE as i64;
        let length = self.frames as i64 / coarse;
        let outline = |index: i64| self.prepared.outline_at(index);
        let target = self.natural.div_euclid(coarse);
        let beside = self.natural - target * coarse;
        let first = low.div_euclid(coarse);
        let mut energy: f32 = (0..length).map(|i| outline(first + i).powi(2)).sum();
        let mut best = (f32::NEG_INFINITY, first);
        for place in first..=high.div_euclid(coarse) {
            let product: f32 = (0..length).map(|i| outline(target + i) * outline(place + i)).sum();
            let score = product / energy.max(1e-9).sqrt();
            if score > best.0 {
                best = (score, place);
            }
            energy += outline(place + length).powi(2) - outline(place).powi(2);
        }
        let rough = best.1 * coarse + beside;
        let mut best = (f32::NEG_INFINITY, rough.clamp(low, high));
        for place in (rough - coarse).max(low)..=(rough + coarse).min(high) {
            let (mut product, mut energy) = (0.0, 1e-9);
            for offset in 0..self.frames as i64 {
                let there = self.prepared.mono_at(place + offset);
                product += self.prepared.mono_at(self.natural + offset) * there;
                energy += there * there;
            }
            let score = product / f32::sqrt(energy);
            if score > best.0 {
                best = (score, place);
            }
        }
        best.1
    }
}
