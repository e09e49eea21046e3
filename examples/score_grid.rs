//! Scores the grid on a listening set: `score_grid SET_DIR [--only PREFIX] [--taps N] [--mend N] [--repeat N] [--each]
//! [--counted every2|every3|half|third|across] [setting=value ...]`.
//!
//! The set holds NAME.wav with NAME.json (`beats`, `downbeats`). Evidence is kept beside the set in `SET_DIR/.evidence`
//! until the example is rebuilt, so that settings can be tried quickly. `--taps N`: the first N beats are tapped.
//! `--mend N`: then, up to N times, two beats are tapped where the grid first goes wrong, as a teacher would who listens through it.
//! `--counted`: the truth is counted otherwise, by every second beat (in bars of two or four) or third (in bars of three) from the
//! first bar on, in halves or thirds, or by two across three beats (in bars of three or six).

#![allow(clippy::print_stdout, reason = "printing is what it is for")]

#[path = "../tests/support/metrics.rs"]
mod metrics;
mod wav;

use farandole::grid::Anchor;
use farandole::listening::{Evidence, Settings, TAP_LEAD, decode_with, gather, mono_22050};
use farandole::units::Seconds;
use std::collections::BTreeMap;
use std::error::Error;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant, SystemTime};

#[derive(serde::Deserialize)]
struct Truth {
    beats: Vec<f64>,
    downbeats: Vec<f64>,
}

impl Truth {
    /// The same, counted otherwise; `None` where nobody would count so.
    fn counted(self, how: &str) -> Option<Self> {
        let first =
            self.beats.iter().position(|beat| self.downbeats.iter().any(|bar| (bar - beat).abs() < 0.01))?;
        let every = |n: usize| self.beats[first..].iter().copied().step_by(n).collect();
        let split = |n: usize| {
            let between = |pair: &[f64]| {
                let (from, to) = (pair[0], pair[1]);
                (0..n).map(move |k| from + (to - from) * k as f64 / n as f64).collect::<Vec<f64>>()
            };
            self.beats.windows(2).flat_map(between).collect()
        };
        let per_bar = self.beats.len() as f64 / self.downbeats.len() as f64;
        let bars_of = |n: f64| (per_bar - n).abs() < 0.3;
        let beats: Vec<f64> = match how {
            "every2" if bars_of(2.0) || bars_of(4.0) => every(2),
            "every3" if bars_of(3.0) => every(3),
            "every2" | "every3" => return None,
            "half" => split(2),
            "third" => split(3),
            "across" if bars_of(3.0) || bars_of(6.0) => {
                let halves: Vec<f64> = split(2);
                halves[2 * first..].iter().copied().step_by(3).collect()
            }
            "across" => return None,
            _ => return Some(self),
        };
        // Only what somebody could move to.
        let mut lengths: Vec<f64> = beats.windows(2).map(|pair| pair[1] - pair[0]).collect();
        lengths.sort_by(f64::total_cmp);
        let usual = *lengths.get(lengths.len() / 2)?;
        (0.25..1.7).contains(&usual).then_some(Self { beats, downbeats: self.downbeats })
    }
}

/// How many counts in a row have to be wrong before she taps.
const WRONG: usize = 3;
/// How far from the truth a beat may lie, seconds: mir_eval's window.
const NEAR: f64 = 0.07;
/// Seconds that she listens on after two taps before she taps again.
const LISTENS_ON: f64 = 4.0;

/// A tap that is meant for a beat, as early as taps usually are and without scatter.
fn tap(beat: &f64) -> Anchor {
    Anchor::Tap { at: Seconds(beat - TAP_LEAD.0) }
}

/// The first beat of the truth, from `from` seconds on, from which [`WRONG`] counts in a row are not those that were heard: a heard beat
/// at both ends, and none between.
fn goes_wrong(truth: &[f64], heard: &[f64], from: f64) -> Option<usize> {
    let near = |at: f64| heard.iter().position(|beat| (beat - at).abs() <= NEAR);
    let right = |pair: &[f64]| matches!((near(pair[0]), near(pair[1])), (Some(a), Some(b)) if b == a + 1);
    let wrong: Vec<bool> = truth.windows(2).map(|pair| pair[0] >= from && !right(pair)).collect();
    wrong.windows(WRONG).position(|counts| counts.iter().all(|wrong| *wrong))
}

/// The taps of a teacher who has tapped `anchors`, listens on and taps two beats where the grid first goes wrong, `times` times at most.
/// Where that does not help she goes on to the next place.
fn mended(
    truth: &[f64],
    mut anchors: Vec<Anchor>,
    times: usize,
    decode: impl Fn(&[Anchor]) -> Vec<f64>,
) -> Vec<Anchor> {
    let mut from = 0.0;
    for _ in 0..times {
        let Some(beat) = goes_wrong(truth, &decode(&anchors), from) else { break };
        let taps = &truth[beat..beat + 2];
        anchors.extend(taps.iter().map(tap));
        from = taps[1] + LISTENS_ON;
    }
    anchors
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut words = std::env::args().skip(1);
    let set = PathBuf::from(words.next().ok_or("usage: score_grid SET_DIR [setting=value ...]")?);
    let (mut only, mut taps, mut mend, mut repeat, mut each) = (String::new(), 0usize, 0usize, 1usize, false);
    let mut counted = String::new();
    let mut overrides = serde_json::Map::new();
    while let Some(word) = words.next() {
        match word.as_str() {
            "--only" => only = words.next().unwrap_or_default(),
            "--taps" => taps = words.next().unwrap_or_default().parse()?,
            "--mend" => mend = words.next().unwrap_or_default().parse()?,
            "--repeat" => repeat = words.next().unwrap_or_default().parse()?,
            "--each" => each = true,
            "--counted" => counted = words.next().unwrap_or_default(),
            _ => {
                let (name, value) = word.split_once('=').ok_or("settings are given as name=value")?;
                overrides.insert(name.into(), serde_json::from_str(value)?);
            }
        }
    }
    let settings: Settings = serde_json::from_value(overrides.into())?;
    let mut cases: Vec<PathBuf> = std::fs::read_dir(&set)?
        .filter_map(|entry| entry.ok().map(|entry| entry.path()))
        .filter(|path| path.extension().is_some_and(|e| e == "wav"))
        .collect();
    cases.sort();
    let mut table: BTreeMap<String, Vec<[f64; 5]>> = BTreeMap::new();
    let mut deciding = Duration::ZERO;
    for wav in cases {
        let name = wav.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let truth = std::fs::read_to_string(wav.with_extension("json"));
        let (true, false, Ok(truth)) = (name.starts_with(&only), name.starts_with("pair"), truth) else {
            continue;
        };
        let truth: Truth = serde_json::from_str(&truth)?;
        let Some(truth) = truth.counted(&counted) else { continue };
        let evidence = evidence(&set, &wav)?;
        let anchors: Vec<Anchor> = truth.beats.iter().take(taps).map(tap).collect();
        let anchors = mended(&truth.beats, anchors, mend, |anchors| {
            decode_with(&evidence, anchors, &settings).grid.beats().iter().map(|beat| beat.0).collect()
        });
        // The quickest of some: a busy machine only ever makes it slower.
        let timed = |_| {
            let start = Instant::now();
            let heard = decode_with(&evidence, &anchors, &settings);
            (start.elapsed(), heard)
        };
        let Some((quickest, heard)) = (0..repeat.max(1)).map(timed).min_by_key(|run| run.0) else { continue };
        deciding += quickest;
        let beats: Vec<f64> = heard.grid.beats().iter().map(|b| b.0).collect();
        let bars: Vec<f64> = heard.grid.bars().iter().map(|&bar| beats[bar]).collect();
        let (Some(first), Some(last)) = (truth.beats.first(), truth.beats.last()) else { continue };
        // Judged only where the truth speaks, and from five seconds on, as usual.
        let judged = |x: &[f64]| -> Vec<f64> {
            let inside = x.iter().copied().filter(|b| (first - 0.3..last + 0.3).contains(b));
            metrics::trimmed(&inside.collect::<Vec<f64>>())
        };
        let (r, e) = (metrics::trimmed(&truth.beats), judged(&beats));
        let [_, cmlt, _, amlt] = metrics::continuity(&r, &e);
        let f = metrics::f_measure(&r, &e, NEAR);
        let down = metrics::f_measure(&metrics::trimmed(&truth.downbeats), &judged(&bars), NEAR);
        let mut off: Vec<f64> = metrics::matches(&r, &e, NEAR).iter().map(|(r, e)| (e - r) * 1e3).collect();
        off.sort_by(f64::total_cmp);
        let off = off.get(off.len() / 2).copied().unwrap_or(f64::NAN);
        if each {
            println!(
                "{name:12} F {f:.2} CMLt {cmlt:.2} AMLt {amlt:.2} down {down:.2} late {off:6.1} ms {:?}",
                heard.pulse
            );
        }
        let subset = name.split('-').next().unwrap_or_default().to_string();
        table.entry(subset).or_default().push([f, cmlt, amlt, down, off]);
    }
    for (subset, rows) in &table {
        let mean = |n: usize| rows.iter().map(|row| row[n]).sum::<f64>() / rows.len() as f64;
        let [f, c, a, d, o] = [0, 1, 2, 3, 4].map(mean);
        let n = rows.len();
        println!("{subset:8} n={n:3} F {f:.3} CMLt {c:.3} AMLt {a:.3} downF {d:.3} late {o:.1} ms");
    }
    let all: Vec<&[f64; 5]> = table.values().flatten().collect();
    let mean = |n: usize| all.iter().map(|row| row[n]).sum::<f64>() / all.len() as f64;
    println!(
        "all      F {:.3} CMLt {:.3} AMLt {:.3} downF {:.3} deciding {:.0} ms a case",
        mean(0),
        mean(1),
        mean(2),
        mean(3),
        deciding.as_secs_f64() * 1e3 / all.len() as f64
    );
    Ok(())
}

/// The evidence of a recording, from the store if that is younger than this program.
fn evidence(set: &Path, wav: &Path) -> Result<Evidence, Box<dyn Error>> {
    let stored = set.join(".evidence").join(wav.with_extension("bin").file_name().ok_or("no name")?);
    let changed = |path: &Path| path.metadata().and_then(|m| m.modified()).unwrap_or(SystemTime::UNIX_EPOCH);
    let stamp = std::env::var("EVIDENCE_OF").map_or(std::env::current_exe()?, PathBuf::from);
    if changed(&stored) > changed(&stamp) {
        return Ok(serde_json::from_slice(&std::fs::read(stored)?)?);
    }
    let (samples, channels, rate) = wav::read(wav)?;
    let mono = mono_22050(&samples, channels, rate);
    let evidence = gather(&mono, &mut |_| ControlFlow::Continue(())).ok_or("stopped")?;
    std::fs::create_dir_all(set.join(".evidence"))?;
    std::fs::write(stored, serde_json::to_vec(&evidence)?)?;
    Ok(evidence)
}
