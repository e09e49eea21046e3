//! Reading a WAV file for the examples that measure: integer samples of 16 to 32 bit, or float.

use farandole::units::SampleRate;
use std::path::Path;

/// Interleaved samples, channels and rate.
pub(crate) fn read(path: &Path) -> Result<(Vec<f32>, u16, SampleRate), hound::Error> {
    let mut reader = hound::WavReader::open(path)?;
    let spec = reader.spec();
    let samples = match spec.sample_format {
        hound::SampleFormat::Float => reader.samples::<f32>().collect::<Result<_, _>>()?,
        hound::SampleFormat::Int => {
            let scale = 2f32.powi(1 - i32::from(spec.bits_per_sample));
            reader.samples::<i32>().map(|s| s.map(|s| s as f32 * scale)).collect::<Result<_, _>>()?
        }
    };
    Ok((samples, spec.channels, SampleRate(spec.sample_rate)))
}
