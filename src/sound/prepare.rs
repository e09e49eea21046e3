//! Making a recording fit a device before it is played, so that the callback only copies.

use super::attacks::attacks;
use super::stretch::COARSE;
use crate::recording::Recording;
use rubato::audioadapter_buffers::direct::InterleavedSlice;
use rubato::{Fft, FixedSync, Resampler};
use std::sync::Arc;

/// Samples at a device's rate, in one or two channels.
#[derive(Debug, Clone)]
pub(super) struct Prepared {
    /// Interleaved.
    pub(super) samples: Arc<[f32]>,
    /// 1 or 2.
    pub(super) channels: usize,
    /// Frames a second.
    pub(super) rate: u32,
    /// Where notes begin, in frames, ascending.
    pub(super) attacks: Arc<[i64]>,
    /// Both channels together, the mean of every four frames: what a search looks at first.
    outline: Arc<[f32]>,
}

impl Prepared {
    /// `channels` must be 1 or 2.
    pub(super) fn new(samples: Arc<[f32]>, channels: usize, rate: u32) -> Self {
        let outline = samples
            .chunks(COARSE * channels)
            .map(|block| block.iter().sum::<f32>() / block.len() as f32)
            .collect();
        Self { attacks: attacks(&samples, channels, rate).into(), outline, samples, channels, rate }
    }

    /// Nothing to play, at `rate`.
    pub(super) fn silence(rate: u32) -> Self {
        Self::new(Arc::from([]), 1, rate)
    }

    /// A frame's left and right sample; silence outside the recording.
    pub(super) fn at(&self, frame: i64) -> (f32, f32) {
        let at = usize::try_from(frame).ok().and_then(|frame| frame.checked_mul(self.channels));
        let get = |offset| at.and_then(|at| self.samples.get(at + offset)).copied().unwrap_or(0.0);
        (get(0), get(self.channels - 1))
    }

    /// A frame's two channels together.
    pub(super) fn mono_at(&self, frame: i64) -> f32 {
        let (left, right) = self.at(frame);
        left + right
    }

    /// The outline at an index; silence outside.
    pub(super) fn outline_at(&self, index: i64) -> f32 {
        usize::try_from(index).ok().and_then(|index| self.outline.get(index)).copied().unwrap_or(0.0)
    }
}

/// A recording at `rate`. The samples are shared, not copied, when rate and channels already fit.
///
/// More than two channels are folded into two: odd ones to the left, even ones to the right, each at equal power. A
/// rate that cannot be converted (none is known) plays silence.
pub(super) fn prepare(recording: &Recording, rate: u32) -> Prepared {
    let channels = usize::from(recording.channels);
    let folded =
        if channels > 2 { fold(&recording.samples, channels) } else { Arc::clone(&recording.samples) };
    let channels = channels.min(2);
    if rate == recording.rate.0 {
        return Prepared::new(folded, channels, rate);
    }
    resample(&folded, channels, recording.rate.0, rate)
        .map_or_else(|| Prepared::silence(rate), |samples| Prepared::new(samples, channels, rate))
}

fn fold(samples: &[f32], channels: usize) -> Arc<[f32]> {
    let gain = [channels.div_ceil(2), channels / 2].map(|parts| 1.0 / (parts as f32).sqrt());
    samples
        .chunks_exact(channels)
        .flat_map(|frame| {
            [0, 1].map(|side| (frame.iter().skip(side).step_by(2).sum::<f32>() * gain[side]).clamp(-1.0, 1.0))
        })
        .collect()
}

fn resample(samples: &[f32], channels: usize, from: u32, to: u32) -> Option<Arc<[f32]>> {
    let frames = samples.len() / channels;
    let input = InterleavedSlice::new(samples, channels, frames).ok()?;
    let mut resampler =
        Fft::<f32>::new(from as usize, to as usize, 4_096, channels, FixedSync::Input).ok()?;
    Some(resampler.process_all(&input, frames, None).ok()?.take_data().into())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::{Identity, Tags};
    use crate::units::SampleRate;

    fn recording(samples: Vec<f32>, channels: u16, rate: u32) -> Recording {
        let frames = samples.len() as u64 / u64::from(channels);
        Recording {
            samples: samples.into(),
            channels,
            rate: SampleRate(rate),
            identity: Identity { hash: String::new(), frames, rate },
            tags: Tags::default(),
            warnings: Vec::new(),
        }
    }

    #[test]
    fn a_recording_that_fits_is_not_copied() {
        let recording = recording(vec![0.1; 64], 2, 48_000);
        let prepared = prepare(&recording, 48_000);
        assert!(Arc::ptr_eq(&prepared.samples, &recording.samples));
    }

    #[test]
    fn conversion_keeps_a_click_where_it_is() {
        // A smooth bump centred on 1.000 s must stay there within 0.1 ms at every usual pair of rates.
        for (from, to) in [(44_100, 48_000), (48_000, 44_100), (22_050, 48_000), (96_000, 44_100)] {
            let bump =
                |frame: usize| (-((frame as f64 / f64::from(from) - 1.0) / 0.002).powi(2)).exp() as f32;
            let prepared = prepare(&recording((0..2 * from as usize).map(bump).collect(), 1, from), to);
            let frames = prepared.samples.len() as f64;
            assert!((frames - 2.0 * f64::from(to)).abs() <= 1.0, "{frames} frames at {to}");
            let total: f64 = prepared.samples.iter().map(|s| f64::from(*s)).sum();
            let middle: f64 =
                prepared.samples.iter().enumerate().map(|(i, s)| i as f64 * f64::from(*s)).sum::<f64>()
                    / total;
            assert!((middle / f64::from(to) - 1.0).abs() < 1e-4, "{from} -> {to}: {middle}");
        }
    }

    #[test]
    fn many_channels_become_two() {
        let prepared = prepare(
            &recording(vec![0.2, 0.1, 0.2, 0.1, 0.2, 0.1, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0], 6, 48_000),
            48_000,
        );
        assert_eq!(prepared.channels, 2);
        assert_eq!(prepared.samples.len(), 4);
        assert!((prepared.samples[0] - 0.6 / 3f32.sqrt()).abs() < 1e-6);
        assert!((prepared.samples[1] - 0.3 / 3f32.sqrt()).abs() < 1e-6);
    }
}
