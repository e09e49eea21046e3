//! Likeness: what each bar sounds like, and how much two bars sound alike.

use crate::listening::evidence::{Evidence, Passage};
use crate::units::Seconds;

/// Parts that a bar is heard in: a tune is told by what sounds when, not by what sounds somewhere in the bar.
pub(super) const SLOTS: usize = 8;
const NOTES: usize = 12 * SLOTS;

/// What one bar sounds like.
#[derive(Debug, Clone)]
pub(super) struct Bar {
    /// Pitch classes slot by slot, less what is usual in the piece, every slot of the same length.
    notes: [f32; NOTES],
    /// Level by octave and, last, the whole level; natural logarithm.
    pub(super) sound: Vec<f32>,
    /// Whole level of each slot, natural logarithm.
    pub(super) level: [f32; SLOTS],
    /// Attacks in each slot.
    pub(super) attacks: [f32; SLOTS],
}

impl Bar {
    /// Every bar of a piece. The last one is no longer than the one before it: what follows is silence or applause.
    pub(super) fn all(evidence: &Evidence, beats: &[Seconds], bars: &[usize]) -> Vec<Self> {
        let mut edges: Vec<f64> = bars.iter().map(|&bar| beats[bar].0).chain([evidence.length.0]).collect();
        if let [.., before, last, end] = &mut edges[..] {
            *end = end.min(2.0 * *last - *before);
        }
        let mut out: Vec<Self> = edges
            .windows(2)
            .map(|edge| {
                let at = |slot: usize| edge[0] + (edge[1] - edge[0]) * slot as f64 / SLOTS as f64;
                Self::of(&std::array::from_fn(|slot| evidence.texture.passage(at(slot), at(slot + 1))))
            })
            .collect();
        less_the_usual(&mut out);
        out
    }

    fn of(slots: &[Passage; SLOTS]) -> Self {
        let mut notes = [0.0; NOTES];
        for (to, slot) in notes.chunks_exact_mut(12).zip(slots) {
            to.copy_from_slice(&slot.chroma);
            to_length(to, 1.0);
        }
        let mean = |pick: &dyn Fn(&Passage) -> f32| slots.iter().map(pick).sum::<f32>() / SLOTS as f32;
        let octaves = slots[0].colour.len();
        let sound = (0..octaves).map(|octave| mean(&|slot| slot.colour[octave])).chain([mean(&|s| s.level)]);
        Self {
            notes,
            sound: sound.collect(),
            level: std::array::from_fn(|n| slots[n].level),
            attacks: std::array::from_fn(|n| slots[n].density),
        }
    }

    /// How much two bars sound alike by their notes, whatever plays them: 1 the same, around 0 as any two bars.
    pub(super) fn alike(&self, other: &Self) -> f32 {
        self.notes.iter().zip(&other.notes).map(|(a, b)| a * b).sum()
    }

    /// Mean difference of level and colour, natural logarithm; beyond 2 (17 dB) it is no larger.
    pub(super) fn difference(&self, other: &Self) -> f32 {
        let apart = self.sound.iter().zip(&other.sound).map(|(a, b)| (a - b).abs().min(2.0));
        apart.sum::<f32>() / self.sound.len().max(1) as f32
    }
}

/// Takes the piece's own mean from every slot: that two bars share the key says nothing.
fn less_the_usual(bars: &mut [Bar]) {
    let mut usual = [0.0f32; 12];
    for slot in bars.iter().flat_map(|bar| bar.notes.chunks_exact(12)) {
        usual.iter_mut().zip(slot).for_each(|(sum, note)| *sum += note);
    }
    let count = (bars.len() * SLOTS).max(1) as f32;
    for slot in bars.iter_mut().flat_map(|bar| bar.notes.chunks_exact_mut(12)) {
        slot.iter_mut().zip(&usual).for_each(|(note, sum)| *note -= sum / count);
        // All slots together are of length one.
        to_length(slot, (SLOTS as f32).sqrt().recip());
    }
}

/// Scales to a length; nothing stays nothing.
fn to_length(x: &mut [f32], length: f32) {
    let now = x.iter().map(|v| v * v).sum::<f32>().sqrt();
    if now > 1e-9 {
        x.iter_mut().for_each(|v| *v *= length / now);
    }
}
