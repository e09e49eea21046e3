//! The click: a short tone that is easy to place, made rather than recorded.

/// How long a click lasts, in seconds.
const LENGTH: f64 = 0.03;
/// Its peak, about -8 dB below full scale: audible over an orchestra, not startling over silence.
const PEAK: f64 = 0.4;

/// A click at `rate` frames a second: a sine that starts at full strength and dies away. `high` marks a count one.
pub(super) fn click(rate: u32, high: bool) -> Vec<f32> {
    let frequency = if high { 1_600.0 } else { 1_000.0 };
    let frames = (LENGTH * f64::from(rate)) as usize;
    (0..frames)
        .map(|frame| {
            let t = frame as f64 / f64::from(rate);
            let fade = (-t / 0.006).exp() * (1.0 - frame as f64 / frames as f64);
            (PEAK * fade * (std::f64::consts::TAU * frequency * t).cos()) as f32
        })
        .collect()
}
