//! Files made by independent encoders (ffmpeg, sox), for tests; a missing tool fails the test and says so.
#![allow(dead_code, reason = "each test binary that includes this module uses its own part of it")]

use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use tempfile::TempDir;

/// A folder of files for one test, removed when the test ends.
pub(crate) struct Studio {
    folder: TempDir,
}

impl Studio {
    /// An empty folder.
    pub(crate) fn new() -> Self {
        Self { folder: TempDir::new().expect("a temporary folder") }
    }

    /// Where a file called `name` is or would be.
    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Writes bytes under `name`.
    pub(crate) fn write(&self, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        let path = self.path(name);
        std::fs::write(&path, bytes).expect("a file in the temporary folder");
        path
    }

    /// Writes interleaved samples as a 32-bit float WAV file without a speaker layout.
    pub(crate) fn wav(&self, name: &str, samples: &[f32], channels: u16, rate: u32) -> PathBuf {
        self.write(name, wav_bytes(samples, channels, rate))
    }

    /// Runs ffmpeg from `input` to `name` with the given output options, overwriting.
    pub(crate) fn ffmpeg(&self, input: &Path, options: &[&str], name: &str) -> PathBuf {
        let path = self.path(name);
        let mut command = Command::new("ffmpeg");
        command.args(["-v", "error", "-nostdin", "-y", "-i"]).arg(input).args(options).arg(&path);
        run(&mut command);
        path
    }

    /// Runs sox from `input` to `name` with the given output options.
    pub(crate) fn sox(&self, input: &Path, options: &[&str], name: &str) -> PathBuf {
        let path = self.path(name);
        run(Command::new("sox").arg("-V1").arg(input).args(options).arg(&path));
        path
    }

    /// What ffmpeg decodes a file's sound to: interleaved samples in the file's own channels and rate.
    pub(crate) fn decoded_by_ffmpeg(&self, input: &Path) -> Vec<f32> {
        let mut command = Command::new("ffmpeg");
        command.args(["-v", "error", "-nostdin", "-i"]).arg(input);
        command.args(["-map", "0:a:0", "-f", "f32le", "-c:a", "pcm_f32le", "-"]);
        let raw = run(&mut command).stdout;
        raw.chunks_exact(4).map(|four| f32::from_le_bytes(four.try_into().expect("four bytes"))).collect()
    }
}

/// A WAV file of 32-bit floats (RIFF WAVE, format 3), whatever its numbers are.
pub(crate) fn wav_bytes(samples: &[f32], channels: u16, rate: u32) -> Vec<u8> {
    let frame_bytes = u32::from(channels) * 4;
    let data_bytes = samples.len() as u32 * 4;
    let mut bytes = b"RIFF".to_vec();
    bytes.extend((36 + data_bytes).to_le_bytes());
    bytes.extend(b"WAVEfmt \x10\0\0\0\x03\0");
    bytes.extend(channels.to_le_bytes());
    bytes.extend(rate.to_le_bytes());
    bytes.extend(rate.wrapping_mul(frame_bytes).to_le_bytes());
    bytes.extend((frame_bytes as u16).to_le_bytes());
    bytes.extend(32u16.to_le_bytes());
    bytes.extend(b"data");
    bytes.extend(data_bytes.to_le_bytes());
    samples.iter().for_each(|sample| bytes.extend(sample.to_le_bytes()));
    bytes
}

fn run(command: &mut Command) -> Output {
    let tool = command.get_program().to_string_lossy().into_owned();
    let output = command.output().unwrap_or_else(|error| {
        panic!("these tests need '{tool}' ({error}); install it, or run them through ./start test")
    });
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{command:?} failed: {said}");
    output
}
