//! Renders performances for training and writes their features.
//!
//! `render_training render OUT FONT... < JOBS` plays each job (one JSON object a line, as `generate.py` writes them) with
//! rustysynth, puts it in a room or on a worn disc, and writes its features.
//! `render_training features OUT WAV` writes the features of a recording.
//! `render_training hear OUT WAV` writes what the shipped network hears in it, as f32 (little endian): the number of frames, then
//! beat, bar start and half-beat of each frame, then for each tempo row its periods and its thirds; and says how long it took.
//!
//! Output: for each recording the number of steps (u32, little endian), then one byte a value, `value * 28` rounded.

use std::f32::consts::PI;
use std::fs::File;
use std::io::{self, BufRead, BufWriter, Write};
use std::path::Path;
use std::sync::Arc;

use farandole::listening::network::features::{FeatureExtractor, SAMPLE_RATE, VALUES, levelling_gain};
use farandole::listening::network::likelihood;
use rustysynth::{SoundFont, Synthesizer, SynthesizerSettings};

type Failure = Box<dyn std::error::Error>;

/// A feature of 9.1, more than any sound reaches, is the largest byte.
const BYTES_PER_UNIT: f32 = 28.0;

/// One performance: notes are (start s, end s, pitch, velocity, channel), controls are (s, channel, controller, value).
#[derive(serde::Deserialize)]
struct Job {
    notes: Vec<(f32, f32, i32, i32, i32)>,
    programs: std::collections::BTreeMap<i32, i32>,
    controls: Vec<(f32, i32, i32, i32)>,
    seconds: f32,
    font: usize,
    reverb: f32,
    room: f32,
    decay: f32,
    noise: f32,
    crackle: f32,
    low_pass: f32,
    high_pass: f32,
    wow: f32,
    drive: f32,
    tilt: f32,
    seed: u32,
}

/// A small linear congruential generator (Numerical Recipes' constants): noise need not be good, only repeatable.
struct Dice(u32);

impl Dice {
    /// Uniform in -1..1.
    fn roll(&mut self) -> f32 {
        self.0 = self.0.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (self.0 >> 8) as f32 / 8_388_608.0 - 1.0
    }
}

fn main() -> Result<(), Failure> {
    let arguments: Vec<String> = std::env::args().collect();
    match arguments.get(1).map(String::as_str) {
        Some("render") if arguments.len() > 3 => render_jobs(Path::new(&arguments[2]), &arguments[3..]),
        Some("features") if arguments.len() == 4 => {
            let samples = read_wav(Path::new(&arguments[3]))?;
            let mut out = BufWriter::new(File::create(&arguments[2])?);
            Ok(write_features(&samples, &mut out)?)
        }
        Some("hear") if arguments.len() == 4 => hear(Path::new(&arguments[2]), Path::new(&arguments[3])),
        _ => {
            Err("usage: render_training render OUT FONT... < JOBS | render_training features|hear OUT WAV"
                .into())
        }
    }
}

fn hear(out: &Path, wav: &Path) -> Result<(), Failure> {
    let samples = read_wav(wav)?;
    let began = std::time::Instant::now();
    let heard = likelihood(&samples)?;
    let took = began.elapsed().as_secs_f64();
    let minutes = samples.len() as f64 / f64::from(SAMPLE_RATE) / 60.0;
    writeln!(io::stderr(), "{:.3} s for {minutes:.2} minutes: {:.4} s a minute", took, took / minutes)?;
    let mut out = BufWriter::new(File::create(out)?);
    let mut write = |values: &[f32]| values.iter().try_for_each(|v| out.write_all(&v.to_le_bytes()));
    write(&[heard.beat.len() as f32])?;
    write(&heard.beat)?;
    write(&heard.downbeat)?;
    write(&heard.half)?;
    for (periods, thirds) in heard.period.iter().zip(&heard.thirds) {
        write(periods)?;
        write(&[*thirds])?;
    }
    Ok(out.flush()?)
}

fn render_jobs(out: &Path, fonts: &[String]) -> Result<(), Failure> {
    let fonts: Vec<Arc<SoundFont>> = fonts
        .iter()
        .map(|path| Ok(Arc::new(SoundFont::new(&mut File::open(path)?)?)))
        .collect::<Result<_, Failure>>()?;
    let mut out = BufWriter::new(File::create(out)?);
    for line in io::stdin().lock().lines() {
        let job: Job = serde_json::from_str(&line?)?;
        let mut samples = play(&job, &fonts[job.font % fonts.len()])?;
        wear(&job, &mut samples);
        write_features(&samples, &mut out)?;
    }
    Ok(out.flush()?)
}

/// The job's notes through a synthesiser, as mono samples.
fn play(job: &Job, font: &Arc<SoundFont>) -> Result<Vec<f32>, Failure> {
    let mut settings = SynthesizerSettings::new(SAMPLE_RATE as i32);
    settings.enable_reverb_and_chorus = job.reverb > 0.0;
    let mut synthesizer = Synthesizer::new(font, &settings)?;
    for (channel, program) in &job.programs {
        synthesizer.process_midi_message(*channel, 0xC0, *program, 0);
        synthesizer.process_midi_message(*channel, 0xB0, 91, (job.reverb * 127.0) as i32);
    }
    // (sample, order within the sample, what): releases before controls before attacks.
    let at = |seconds: f32| (seconds * SAMPLE_RATE as f32) as usize;
    let mut events: Vec<(usize, u8, [i32; 4])> = Vec::new();
    for &(start, end, pitch, velocity, channel) in &job.notes {
        events.push((at(start), 2, [channel, 0x90, pitch, velocity]));
        events.push((at(end).max(at(start) + 1), 0, [channel, 0x80, pitch, 0]));
    }
    for &(when, channel, controller, value) in &job.controls {
        events.push((at(when), 1, [channel, 0xB0, controller, value]));
    }
    events.sort_unstable();
    let total = at(job.seconds);
    let (mut left, mut right, mut done) = (vec![0.0; total], vec![0.0; total], 0);
    for (when, _, [channel, command, first, second]) in events {
        let when = when.min(total);
        if when > done {
            synthesizer.render(&mut left[done..when], &mut right[done..when]);
            done = when;
        }
        synthesizer.process_midi_message(channel, command, first, second);
    }
    synthesizer.render(&mut left[done..], &mut right[done..]);
    Ok(left.iter().zip(&right).map(|(l, r)| 0.5 * (l + r)).collect())
}

/// Room, noise, crackle, limited bandwidth, unsteady speed and overdrive, as the job asks.
fn wear(job: &Job, samples: &mut [f32]) {
    let rate = SAMPLE_RATE as f32;
    let rms = (samples.iter().map(|x| x * x).sum::<f32>() / samples.len().max(1) as f32).sqrt().max(1e-4);
    let mut dice = Dice(job.seed);
    if job.room > 0.0 {
        reverberate(samples, job.room, job.decay);
    }
    if job.drive > 0.0 {
        let scale = job.drive / (3.0 * rms);
        samples.iter_mut().for_each(|x| *x = (*x * scale).tanh() / scale);
    }
    let mut low = 0.0;
    for x in samples.iter_mut() {
        let white = dice.roll();
        low = 0.95 * low + 0.05 * white;
        *x += job.noise * rms * (white + 4.0 * low);
    }
    if job.crackle > 0.0 {
        let clicks = (job.crackle * job.seconds) as usize;
        for _ in 0..clicks {
            let at = ((dice.roll() * 0.5 + 0.5) * samples.len() as f32) as usize;
            let height = rms * 4.0 * dice.roll().powi(3);
            for (k, x) in samples.iter_mut().skip(at).take(12).enumerate() {
                *x += height * (-0.4 * k as f32).exp() * if k % 2 == 0 { 1.0 } else { -0.6 };
            }
        }
    }
    if job.low_pass > 0.0 {
        let a = 1.0 - (-2.0 * PI * job.low_pass / rate).exp();
        for _ in 0..2 {
            let mut state = 0.0;
            for x in samples.iter_mut() {
                state += a * (*x - state);
                *x = state;
            }
        }
    }
    if job.high_pass > 0.0 {
        let a = 1.0 - (-2.0 * PI * job.high_pass / rate).exp();
        for _ in 0..2 {
            let mut state = 0.0;
            for x in samples.iter_mut() {
                state += a * (*x - state);
                *x -= state;
            }
        }
    }
    let mut before = 0.0;
    for x in samples.iter_mut() {
        let now = *x;
        *x = now - job.tilt * before;
        before = now;
    }
    if job.wow > 0.0 {
        // A record 0.8 turns a second off centre: pitch wavers, no event moves by more than a millisecond.
        let depth = job.wow * rate / (2.0 * PI * 0.8);
        let original = samples.to_vec();
        for (i, x) in samples.iter_mut().enumerate() {
            let at = (i as f32 + depth * (2.0 * PI * 0.8 * i as f32 / rate).sin())
                .clamp(0.0, (original.len() - 2) as f32);
            let (whole, part) = (at as usize, at.fract());
            *x = original[whole] * (1.0 - part) + original[whole + 1] * part;
        }
    }
}

/// Schroeder's room: four combs side by side, two all-pass filters after them (M. R. Schroeder, JAES 10(3), 1962).
fn reverberate(samples: &mut [f32], amount: f32, seconds: f32) {
    let rate = SAMPLE_RATE as f32;
    let mut wet = vec![0.0f32; samples.len()];
    for delay in [0.0297f32, 0.0371, 0.0411, 0.0437] {
        let mut line = vec![0.0f32; (delay * rate) as usize];
        let feedback = 10f32.powf(-3.0 * delay / seconds);
        let (mut at, mut damp) = (0, 0.0);
        for (x, w) in samples.iter().zip(wet.iter_mut()) {
            let out = line[at];
            damp += 0.6 * (out - damp);
            line[at] = x + feedback * damp;
            at = (at + 1) % line.len();
            *w += 0.25 * out;
        }
    }
    for delay in [0.005f32, 0.0017] {
        let mut line = vec![0.0f32; (delay * rate) as usize];
        let mut at = 0;
        for w in wet.iter_mut() {
            let out = line[at] - 0.7 * *w;
            line[at] = *w + 0.7 * out;
            at = (at + 1) % line.len();
            *w = out;
        }
    }
    for (x, w) in samples.iter_mut().zip(&wet) {
        *x += 2.0 * amount * w;
    }
}

fn write_features(samples: &[f32], out: &mut impl Write) -> io::Result<()> {
    let mut extractor = FeatureExtractor::new();
    let gain = levelling_gain(samples);
    let steps = FeatureExtractor::steps(samples.len());
    out.write_all(&(steps as u32).to_le_bytes())?;
    let mut values = [0.0; VALUES];
    for step in 0..steps {
        extractor.measure(samples, step, gain, &mut values);
        let bytes: Vec<u8> = values.iter().map(|v| (v * BYTES_PER_UNIT).round() as u8).collect();
        out.write_all(&bytes)?;
    }
    Ok(())
}

/// A 16-bit WAV at 44.1 or 22.05 kHz as mono samples at 22.05 kHz, through a windowed-sinc half-band filter.
fn read_wav(path: &Path) -> Result<Vec<f32>, Failure> {
    let mut reader = hound::WavReader::open(path)?;
    let spec = reader.spec();
    let interleaved: Vec<f32> =
        reader.samples::<i16>().map(|s| s.map(|s| f32::from(s) / 32_768.0)).collect::<Result<_, _>>()?;
    let channels = usize::from(spec.channels);
    let mono: Vec<f32> =
        interleaved.chunks_exact(channels).map(|f| f.iter().sum::<f32>() / channels as f32).collect();
    match spec.sample_rate {
        SAMPLE_RATE => Ok(mono),
        44_100 => Ok(halve(&mono)),
        other => {
            Err(format!("cannot read '{}' at {other} Hz; convert it to 44100 Hz", path.display()).into())
        }
    }
}

fn halve(samples: &[f32]) -> Vec<f32> {
    const REACH: isize = 31;
    let taps: Vec<f32> = (-REACH..=REACH)
        .map(|k| {
            let x = k as f32 * 0.5 * PI;
            let sinc = if k == 0 { 1.0 } else { x.sin() / x };
            0.5 * sinc * (0.54 + 0.46 * (PI * k as f32 / (REACH + 1) as f32).cos())
        })
        .collect();
    (0..samples.len() / 2)
        .map(|n| {
            taps.iter()
                .zip(-REACH..)
                .map(|(tap, k)| {
                    let at = 2 * n as isize + k;
                    usize::try_from(at).ok().and_then(|at| samples.get(at)).map_or(0.0, |x| tap * x)
                })
                .sum()
        })
        .collect()
}
