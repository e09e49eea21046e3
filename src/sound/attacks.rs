//! Where notes begin, so that a stretched recording neither repeats nor blurs a beginning.
//!
//! This is not the beat finder: it may miss soft notes, which then are stretched like any other sound, and it knows nothing of
//! beats.

/// Time between looks at the level, in seconds.
const STEP: f64 = 0.002;
/// The level before a beginning is the highest of so many steps, after a gap of one ...
const BEFORE: usize = 6;
/// ... and must be exceeded by so many decibels. Our decision: a note of equal loudness over the tail of the last.
const RISE: f64 = 5.0;
/// Beginnings further below the loudest one than this are left to chance.
const RANGE: f64 = 45.0;
/// Two beginnings are at least so far apart, in seconds: what is closer is heard as one.
const APART: f64 = 0.05;

/// The first frames of notes that stand out, ascending. Empty for silence and for sound without beginnings.
///
/// The level is that of the samples' first difference, which brings out the high partials that a beginning is made of.
pub(super) fn attacks(samples: &[f32], channels: usize, rate: u32) -> Vec<i64> {
    let step = ((STEP * f64::from(rate)) as usize).max(1);
    let mut last = 0.0;
    let mut levels: Vec<f64> = Vec::with_capacity(samples.len() / (step * channels.max(1)) + 1);
    for block in samples.chunks(step * channels.max(1)) {
        let mut energy = 0.0;
        for frame in block.chunks(channels.max(1)) {
            let here: f64 = frame.iter().map(|sample| f64::from(*sample)).sum();
            energy += (here - last) * (here - last);
            last = here;
        }
        levels.push(10.0 * (energy / step as f64 + 1e-12).log10());
    }
    let loudest = levels.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let apart = (APART / STEP) as usize;
    let mut found: Vec<usize> = Vec::new();
    for i in BEFORE + 1..levels.len() {
        let before = levels[i - BEFORE - 1..i - 1].iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let rises = levels[i] - before >= RISE && levels[i] > (loudest - RANGE).max(-90.0);
        if rises && found.last().is_none_or(|&last| i - last >= apart) {
            found.push(i);
        }
    }
    // The rise may lie in the step before the one in which it is complete.
    found.into_iter().map(|i| i.saturating_sub(1) as i64 * step as i64).collect()
}
