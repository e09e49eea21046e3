//! Turns strokes into samples with a sound font, and brings them to a stated loudness. No files are written here.

use std::sync::Arc;

use rustysynth::{SoundFont, Synthesizer, SynthesizerSettings};

use crate::performance::{Stroke, channels};
use crate::score::{Score, Voice};

/// Sample rate of the recordings, frames a second.
pub const SAMPLE_RATE: u32 = 44_100;
/// The synthesiser starts notes on multiples of this many frames (0.36 ms).
const BLOCK_FRAMES: usize = 16;
/// The last part of the tail, in seconds, goes down to nothing.
const FADE: f64 = 1.2;
/// Highest sample, as a share of full scale: -1 dBFS.
const CEILING: f64 = 0.891;

/// Why no recording came out.
#[derive(Debug, thiserror::Error)]
pub enum SynthesisError {
    /// The synthesiser refuses to start; a fault of this program.
    #[error("the synthesiser does not start")]
    Start(#[from] rustysynth::SynthesizerError),
    /// The loudness could not be measured: the piece is silent or far too short.
    #[error("the loudness cannot be measured; does the sound font have the instruments?")]
    Loudness(#[from] ebur128::Error),
    /// The wanted loudness leaves no room for the loudest moment; whoever wrote the score can lower it.
    #[error(
        "at {wanted} LUFS the highest sample would be {peak:.1} dBFS, over -1; lower 'loudness' by {over:.1}"
    )]
    TooLoud {
        /// LUFS asked for.
        wanted: f64,
        /// The peak that would result.
        peak: f64,
        /// By how much that is too high, in decibels.
        over: f64,
    },
}

/// A stereo rendering, samples from -1 to 1, left and right alternating.
pub fn render(score: &Score, strokes: &[Stroke], font: &Arc<SoundFont>) -> Result<Vec<f32>, SynthesisError> {
    let mut settings = SynthesizerSettings::new(SAMPLE_RATE as i32);
    settings.block_size = BLOCK_FRAMES;
    settings.maximum_polyphony = 192;
    let mut synthesizer = Synthesizer::new(font, &settings)?;
    for (part, channel) in score.parts.iter().zip(channels(score)) {
        let channel = i32::from(channel);
        if let Voice::Program(program) = part.voice {
            synthesizer.process_midi_message(channel, 0xC0, i32::from(program), 0);
        }
        // Controllers 7 and 10 of MIDI 1.0: channel volume and pan.
        synthesizer.process_midi_message(channel, 0xB0, 7, i32::from(part.volume));
        synthesizer.process_midi_message(channel, 0xB0, 10, i32::from(part.pan));
    }
    let frame = |seconds: f64| (seconds * f64::from(SAMPLE_RATE)).round() as usize;
    let mut events: Vec<(usize, bool, &Stroke)> = strokes
        .iter()
        .flat_map(|stroke| [(frame(stroke.down), true, stroke), (frame(stroke.up), false, stroke)])
        .collect();
    events.sort_by_key(|(at, down, stroke)| (*at, *down, stroke.channel, stroke.key));
    let frames = frame(score.duration());
    let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
    let mut done = 0;
    for (at, down, stroke) in events {
        let at = at.min(frames);
        synthesizer.render(&mut left[done..at], &mut right[done..at]);
        done = at;
        let (channel, key) = (i32::from(stroke.channel), i32::from(stroke.key));
        if down {
            synthesizer.note_on(channel, key, i32::from(stroke.velocity));
        } else {
            synthesizer.note_off(channel, key);
        }
    }
    synthesizer.render(&mut left[done..], &mut right[done..]);
    let mut samples: Vec<f32> = left.into_iter().zip(right).flat_map(|(l, r)| [l, r]).collect();
    fade_out(&mut samples);
    bring_to(&mut samples, score.loudness)?;
    Ok(samples)
}

fn fade_out(samples: &mut [f32]) {
    let length = ((FADE * f64::from(SAMPLE_RATE)) as usize * 2).min(samples.len());
    let start = samples.len() - length;
    for (index, sample) in samples[start..].iter_mut().enumerate() {
        let share = (index / 2) as f32 / (length / 2) as f32;
        *sample *= (share * std::f32::consts::FRAC_PI_2).cos();
    }
}

/// Scales to an integrated loudness (EBU R 128).
fn bring_to(samples: &mut [f32], wanted: f64) -> Result<(), SynthesisError> {
    let mut meter = ebur128::EbuR128::new(2, SAMPLE_RATE, ebur128::Mode::I)?;
    meter.add_frames_f32(samples)?;
    let gain = 10f64.powf((wanted - meter.loudness_global()?) / 20.0);
    let peak = samples.iter().fold(0.0f32, |peak, s| peak.max(s.abs()));
    let peak = f64::from(peak) * gain;
    if peak > CEILING {
        let over = 20.0 * (peak / CEILING).log10();
        return Err(SynthesisError::TooLoud { wanted, peak: 20.0 * peak.log10(), over });
    }
    for sample in samples {
        *sample *= gain as f32;
    }
    Ok(())
}
