//! Constraints: what a path of beats must obey, whatever it is worth.

use super::search::ANY_TEMPO;
use std::ops::Range;

/// What the path must obey, one entry a step.
#[derive(Debug, Clone)]
pub(crate) struct Constraints {
    /// Whether a beat may be here.
    pub(crate) allowed: Vec<bool>,
    /// The earliest step at which the beat before one here may be: none may leap over a place that needs a beat.
    pub(crate) earliest: Vec<u32>,
    /// Whether a path may begin here (nothing before it needs a beat), and end here.
    pub(crate) begin: Range<usize>,
    /// From where on a path may end.
    pub(crate) end_from: usize,
    /// Tempo bins allowed here, one bit each.
    pub(crate) bins: Vec<u128>,
    /// Whether the teacher has said which level it is: then little is left out to escape.
    pub(crate) told: bool,
    /// Tempo bins of the level that was tapped, one bit each; others cost.
    pub(crate) level: Vec<u128>,
    /// How many times the usual price others cost.
    pub(crate) level_price: Vec<f32>,
    /// The tempo bin in which the taps count what is heard without them; empty, or `None`, where they do not say.
    pub(crate) counted: Vec<Option<isize>>,
    /// Where taps say no more of the level than what is heard without them, seconds, ascending.
    pub(crate) as_heard: Vec<Range<f64>>,
    /// Whether any change of tempo may be bought here.
    pub(crate) loose: Vec<bool>,
    /// Beats that are held, however long: from which step until which, ascending.
    pub(crate) holds: Vec<(usize, usize)>,
}

impl Constraints {
    pub(crate) fn none(steps: usize) -> Self {
        Self {
            allowed: vec![true; steps],
            earliest: vec![0; steps],
            begin: 0..steps,
            end_from: 0,
            bins: vec![ANY_TEMPO; steps],
            told: false,
            level: vec![ANY_TEMPO; steps],
            level_price: vec![1.0; steps],
            counted: Vec::new(),
            as_heard: Vec::new(),
            loose: vec![false; steps],
            holds: Vec::new(),
        }
    }
}
