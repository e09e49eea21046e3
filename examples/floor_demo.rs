//! Leads an invented dance to an invented tune, to look at the floor without any file: `cargo run --example floor_demo`.
//!
//! With `--clicks-only` the recording is a click on every beat, for measuring how close the screen keeps to the sound;
//! with `--missing` there is none; `--twice` leads two pieces in a row;
//! `--rate HERTZ` and `--stereo` say how the recording is. `--silent`, `--light`, `--trim MS` and `--in-step` do what they say; `--trims FILE` keeps trims there;
//! with `--fault SECONDS` the sound's callback fails once, so long after the start.

use farandole::dance::{Cue, Dance, MoveBook, MoveId, Profile, Prompt, SCHEMA, Side, Source};
use farandole::grid::{Grid, Phrase};
use farandole::identity::Identity;
use farandole::listening::{
    Articulation, Contour, Dynamic, Dynamics, Listening, Loudness, Pulse, Sureness, Turn, TurnKind,
};
use farandole::recording::{Recording, Tags};
use farandole::screen::{FloorOptions, Piece, run_floor};
use farandole::shelf::Trims;
use farandole::units::{Beat, Counts, Decibels, Lufs, SampleRate, Seconds};
use std::io::Write;
use std::process::ExitCode;

/// Of the invented recording, unless another is asked for.
const RATE: u32 = 44_100;
/// Beats: 96, in bars of four and phrases of sixteen, first steady, then ever faster.
const BEATS: usize = 96;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let has = |name: &str| arguments.iter().any(|argument| argument == name);
    let value = |name: &str| {
        let at = arguments.iter().position(|argument| argument == name)?;
        arguments.get(at + 1)?.parse::<f64>().ok()
    };
    let options = FloorOptions {
        light: has("--light"),
        silent: has("--silent"),
        trim_ms: value("--trim").map(|trim| trim as i32),
        in_step: has("--in-step"),
        ..FloorOptions::default()
    };
    let rate = value("--rate").map_or(RATE, |rate| rate as u32);
    let format = (rate, if has("--stereo") { 2 } else { 1 });
    let grid = grid();
    let length = Seconds(grid.seconds_at(grid.end()).0 + 1.5);
    let recording = (!has("--missing")).then(|| recording(&grid, length, has("--clicks-only"), format));
    let listening = listening(&grid, length);
    if has("--panic") {
        std::thread::spawn(|| {
            std::thread::sleep(std::time::Duration::from_millis(1500));
            panic!("asked to");
        });
    }
    if let Some(after) = value("--fault") {
        std::thread::spawn(move || {
            std::thread::sleep(std::time::Duration::from_secs_f64(after.max(0.0)));
            farandole::sound::fail_next_buffer();
        });
    }
    let kept = arguments.iter().position(|argument| argument == "--trims");
    let kept = kept.and_then(|at| arguments.get(at + 1));
    let trims = kept.map(|path| Trims::read(path.as_ref()).0).unwrap_or_default();
    let piece = Piece { dance: dance(grid, length), recording, listening: Some(listening), free: false };
    let pieces = if has("--twice") { vec![piece.clone(), piece] } else { vec![piece] };
    match run_floor(pieces, options, trims) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            let _ = writeln!(std::io::stderr(), "floor_demo: {error}");
            if let Some(cause) = std::error::Error::source(&error) {
                let _ = writeln!(std::io::stderr(), "because: {cause}");
            }
            ExitCode::from(2)
        }
    }
}

fn grid() -> Grid {
    let mut at = 0.4;
    let beats = (0..BEATS)
        .map(|beat| {
            let here = Seconds(at);
            // 112 beats a minute for four phrases, then up to 168.
            let faster = (beat as f64 - 64.0).max(0.0) / 32.0;
            at += 60.0 / (112.0 + 56.0 * faster);
            here
        })
        .collect();
    let letters = ["A", "A", "B", "A", "C", "C"];
    let phrases =
        letters.iter().enumerate().map(|(i, letter)| Phrase { start: 16 * i, letter: (*letter).into() });
    Grid::new(beats, (0..BEATS / 4).map(|bar| 4 * bar).collect(), phrases.collect()).expect("ascending")
}

/// Loudness at a beat, in LUFS.
fn loudness(beat: f64) -> f64 {
    match beat {
        b if b < 32.0 => -18.0 - 2.0 * (b / 5.0).cos(),
        b if b < 46.0 => -30.0,
        b if b < 48.0 => -60.0,
        b if b < 64.0 => -22.0,
        b => -22.0 + 10.0 * (b - 64.0) / 32.0,
    }
}

fn recording(grid: &Grid, length: Seconds, clicks_only: bool, (rate, channels): (u32, u16)) -> Recording {
    let frames = (length.0 * f64::from(rate)) as usize;
    let mut samples = vec![0.0f32; frames];
    let tune = [0, 4, 7, 4, 5, 9, 7, 7, 2, 5, 9, 5, 7, 4, 0, 0];
    for (beat, start) in grid.beats().iter().enumerate() {
        let pitch = 261.63 * 2f64.powf(f64::from(tune[beat % tune.len()]) / 12.0);
        let level = if clicks_only { 0.5 } else { 10f64.powf((loudness(beat as f64) + 8.0) / 20.0) };
        let from = (start.0 * f64::from(rate)).round() as usize;
        let lasting = if clicks_only { 0.01 } else { 0.45 };
        for n in 0..(lasting * f64::from(rate)) as usize {
            let t = n as f64 / f64::from(rate);
            let fade = if clicks_only { 1.0 } else { (-t * 5.0).exp() * (t / 0.004).min(1.0) };
            if let Some(sample) = samples.get_mut(from + n) {
                *sample += (level * fade * (std::f64::consts::TAU * pitch * t).cos()) as f32;
            }
        }
    }
    Recording {
        samples: samples.iter().flat_map(|sample| vec![*sample; usize::from(channels)]).collect(),
        channels,
        rate: SampleRate(rate),
        identity: identity(length, rate),
        tags: Tags::default(),
        warnings: Vec::new(),
    }
}

fn identity(length: Seconds, rate: u32) -> Identity {
    Identity { hash: "0".repeat(64), frames: (length.0 * f64::from(rate)) as u64, rate }
}

fn listening(grid: &Grid, length: Seconds) -> Listening {
    let values: Vec<f32> = (0..(length.0 * 10.0) as usize)
        .map(|i| loudness(grid.beat_at(Seconds(i as f64 / 10.0)).0) as f32)
        .collect();
    let contour = Contour { step: Seconds(0.1), values };
    let turn = |kind, start: f64, end: f64, from, to| Turn {
        kind,
        start: grid.seconds_at(Beat(start)),
        end: grid.seconds_at(Beat(end)),
        start_beat: Beat(start),
        end_beat: Beat(end),
        from,
        to,
        sureness: Sureness(0.9),
    };
    Listening {
        analyser: 0,
        length,
        pulse: Pulse::Clear,
        grid: grid.clone(),
        sureness: Vec::new(),
        metres: Vec::new(),
        tempo: Vec::new(),
        loudness: Loudness {
            integrated: Some(Lufs(-20.0)),
            range: None,
            peak: Decibels(-1.0),
            momentary: contour.clone(),
            short_term: contour,
        },
        dynamics: Dynamics {
            marks: vec![
                (Dynamic::Pp, Lufs(-70.0)),
                (Dynamic::P, Lufs(-32.0)),
                (Dynamic::Mf, Lufs(-24.0)),
                (Dynamic::F, Lufs(-19.0)),
                (Dynamic::Ff, Lufs(-15.0)),
            ],
        },
        phrases: Vec::new(),
        turns: vec![
            turn(TurnKind::SubitoSoft, 32.0, 32.0, -18.0, -30.0),
            turn(TurnKind::Rest, 46.0, 48.0, 0.0, 1.07),
            turn(TurnKind::Accelerando, 64.0, 96.0, 112.0, 168.0),
            turn(TurnKind::Crescendo, 70.0, 96.0, -22.0, -12.0),
        ],
        summary: vec![format!("{:?}", Articulation::Unclear)],
    }
}

fn dance(grid: Grid, length: Seconds) -> Dance {
    let plan: [(&str, f64, f64, Option<Side>); 12] = [
        ("march", 0.0, 8.0, None),
        ("walk", 8.0, 8.0, None),
        ("march", 16.0, 8.0, None),
        ("sway", 24.0, 8.0, Some(Side::Left)),
        ("tiptoe", 32.0, 14.0, None),
        ("freeze", 46.0, 2.0, None),
        ("clap", 48.0, 8.0, None),
        ("step-touch", 56.0, 8.0, Some(Side::Right)),
        ("walk", 64.0, 8.0, None),
        ("gallop", 72.0, 8.0, None),
        ("skip", 80.0, 8.0, None),
        ("final-pose", 88.0, 8.0, None),
    ];
    let book = MoveBook::built_in();
    let mut moves = Vec::new();
    let mut cues = Vec::new();
    for (name, at, counts, side) in plan {
        let id = MoveId(name.to_owned());
        let mut cue = Cue::new(Beat(at), Counts(counts), id.clone());
        cue.side = side;
        match book.get(&id) {
            Some(entry) if !moves.contains(entry) => moves.push(entry.clone()),
            Some(_) => {}
            None => (cue.movement, cue.words) = (None, Some(name.replace('-', " "))),
        }
        cues.push(cue);
    }
    moves.sort_by(|a, b| a.id.cmp(&b.id));
    Dance {
        schema: SCHEMA,
        title: "The hill road".to_owned(),
        recording: Source {
            path: "none.wav".to_owned(),
            identity: identity(length, RATE),
            title: None,
            performer: None,
            year: None,
            unknown: serde_json::Map::new(),
        },
        profile: Profile::default().into(),
        notes: String::new(),
        grid,
        anchors: Vec::new(),
        moves,
        cues,
        prompts: vec![Prompt {
            at: Beat(34.0),
            question: "What happened to the loudness?".to_owned(),
            answer: "It became soft at once: subito piano.".to_owned(),
            pause: false,
            unknown: serde_json::Map::new(),
        }],
        silenced: Vec::new(),
        unknown: serde_json::Map::new(),
    }
}
