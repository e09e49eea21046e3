//! aubio's seven onset functions, on our frames: what the hand-made features were measured against.

use aubio_rs::{OnsetMode, PVoc, SpecDesc};

/// Samples a second that the functions are given.
const RATE: f64 = 22_050.0;
/// Window and step in samples: 46 ms, 10 ms.
const WINDOW: usize = 1024;
const HOP: usize = 220;
/// Our frames a second.
const FPS: f64 = 100.0;

/// Names and modes, in the order of their columns.
pub(crate) const MODES: [(&str, OnsetMode); 7] = [
    ("energy", OnsetMode::Energy),
    ("hfc", OnsetMode::Hfc),
    ("specflux", OnsetMode::SpecFlux),
    ("kl", OnsetMode::Kl),
    ("mkl", OnsetMode::Mkl),
    ("complex", OnsetMode::Complex),
    ("phase", OnsetMode::Phase),
];

/// Each function over mono at 22 050 Hz, one value a frame of 10 ms, `frames` of them; a frame's value is that of
/// the window whose middle lies there.
pub(crate) fn onset_functions(mono: &[f32], frames: usize) -> aubio_rs::Result<Vec<Vec<f32>>> {
    let mut vocoder = PVoc::new(WINDOW, HOP)?;
    let mut functions =
        MODES.iter().map(|(_, mode)| SpecDesc::new(*mode, WINDOW)).collect::<Result<Vec<_>, _>>()?;
    let mut curves = vec![Vec::new(); MODES.len()];
    // Magnitudes, then phases.
    let mut spectrum = vec![0.0; 2 * (WINDOW / 2 + 1)];
    let mut sound = mono.to_vec();
    sound.resize(mono.len() + WINDOW, 0.0);
    for block in sound.chunks_exact(HOP) {
        vocoder.do_(block, spectrum.as_mut_slice())?;
        for (function, curve) in functions.iter_mut().zip(&mut curves) {
            curve.push(function.do_result(spectrum.as_slice())?);
        }
    }
    // The n-th window ends with the n-th block.
    let place = |frame: usize| (frame as f64 / FPS * RATE + WINDOW as f64 / 2.0) / HOP as f64 - 1.0;
    let at = |curve: &[f32], frame: usize| {
        let place = place(frame).max(0.0);
        let (low, share) = (place as usize, place.fract() as f32);
        let value = |n: usize| curve.get(n).copied().unwrap_or(0.0);
        value(low) * (1.0 - share) + value(low + 1) * share
    };
    Ok(curves.iter().map(|curve| (0..frames).map(|frame| at(curve, frame)).collect()).collect())
}
