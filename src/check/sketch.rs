//! Tiny dances for the rules' tests, written in one line each.

use super::{Finding, RULES, check};
use crate::dance::{
    Cue, Dance, Energy, GentleVersion, Move, MoveId, Profile, SCHEMA, Side, Source, StepKind, StepRate,
};
use crate::grid::{Grid, Phrase};
use crate::identity::Identity;
use crate::listening::{
    Articulation, Contour, Dynamics, Listening, Loudness, PhraseCharacter, Pulse, Sureness, Turn, TurnKind,
};
use crate::units::{Beat, Bpm, Counts, Decibels, Lufs, Seconds};
use serde_json::Map;

/// A move that no rule objects to between 60 and 180 counts a minute.
pub(super) fn a_move(id: &str, step: StepKind) -> Move {
    let gentle = |how: &str| GentleVersion { words: id.into(), how: how.into(), unknown: Map::new() };
    Move {
        id: MoveId(id.into()),
        words: id.into(),
        how: "As shown.".into(),
        sign: "*".into(),
        counts: Counts(8.0),
        energy: Energy::new(3).expect("in range"),
        step,
        steps_per_count: 1.0,
        tempo: StepRate { slowest: Bpm(30.0), fastest: Bpm(300.0) }.into(),
        suits: vec![],
        one_sided: false,
        seated: gentle("Sitting."),
        low_impact: gentle("Softly."),
        caution: Some("Mind your neighbours.".into()),
        unknown: Map::new(),
    }
}

/// A grid of `beats` steady beats from 1.0 s, bars of four, phrases of sixteen counts, all from beat 0.
pub(super) fn grid(bpm: f64, beats: usize) -> Grid {
    let length = Bpm(bpm).beat_length().0;
    Grid::new(
        (0..beats).map(|beat| Seconds(1.0 + length * beat as f64)).collect(),
        (0..beats).step_by(4).collect(),
        (0..beats).step_by(16).map(|start| Phrase { start, letter: "A".into() }).collect(),
    )
    .expect("steady beats")
}

/// A dance of 64 counts at 120 BPM for seven-year-olds without cues. It holds the moves `sway` and `clap`
/// (still), `march`, `walk`, `run`, `jump`, `turn`, `side` and `freeze`.
pub(super) fn dance() -> Dance {
    dance_at(120.0, 64)
}

/// The same at another tempo and length.
pub(super) fn dance_at(bpm: f64, beats: usize) -> Dance {
    let moves = [
        ("clap", StepKind::BodySound),
        ("freeze", StepKind::Freeze),
        ("jump", StepKind::Jump),
        ("march", StepKind::March),
        ("run", StepKind::Run),
        ("side", StepKind::Side),
        ("sway", StepKind::Still),
        ("turn", StepKind::Turn),
        ("walk", StepKind::Walk),
    ];
    let grid = grid(bpm, beats);
    let frames = (grid.seconds_at(grid.end()).0 * 48_000.0).round() as u64;
    Dance {
        schema: SCHEMA,
        title: "Sketch".into(),
        recording: Source {
            path: "sketch.wav".into(),
            identity: Identity { hash: String::new(), frames, rate: 48_000 },
            title: None,
            performer: None,
            year: None,
            unknown: Map::new(),
        },
        profile: Profile { age: 7, distance: 3.0 }.into(),
        notes: String::new(),
        grid,
        anchors: vec![],
        moves: moves.map(|(id, step)| a_move(id, step)).into(),
        cues: vec![],
        prompts: vec![],
        silenced: vec![],
        unknown: Map::new(),
    }
}

impl Dance {
    /// With one more cue.
    pub(super) fn cue(mut self, at: f64, counts: f64, id: &str) -> Self {
        self.cues.push(Cue::new(Beat(at), Counts(counts), MoveId(id.into())));
        self
    }

    /// With other words on the last cue.
    pub(super) fn saying(mut self, words: &str) -> Self {
        self.last().words = Some(words.into());
        self
    }

    /// With a lead on the last cue.
    pub(super) fn lead(mut self, counts: f64) -> Self {
        self.last().lead = Some(Counts(counts));
        self
    }

    /// With a side for the last cue.
    pub(super) fn to(mut self, side: Side) -> Self {
        self.last().side = Some(side);
        self
    }

    /// For another age.
    pub(super) fn aged(mut self, age: u8) -> Self {
        self.profile.age = age;
        self
    }

    /// With one of its moves changed.
    pub(super) fn with(mut self, id: &str, change: impl FnOnce(&mut Move)) -> Self {
        change(self.moves.iter_mut().find(|entry| entry.id.0 == id).expect("a move of the sketch"));
        self
    }

    fn last(&mut self) -> &mut Cue {
        self.cues.last_mut().expect("a cue to change")
    }
}

/// What is heard in a dance's recording: its own grid beyond doubt, even loudness, no turns.
pub(super) fn heard(dance: &Dance) -> Listening {
    let length = dance.recording.length();
    let level = |value| Contour { step: Seconds(0.1), values: vec![value; (length.0 * 10.0) as usize + 1] };
    let character = PhraseCharacter {
        bpm: Bpm(120.0),
        level: Lufs(-20.0),
        dynamic: None,
        articulation: Articulation::Detached,
        energy: 3,
    };
    Listening {
        analyser: 1,
        length,
        pulse: Pulse::Clear,
        grid: dance.grid.clone(),
        sureness: vec![Sureness(1.0); dance.grid.bars().len()],
        metres: vec![],
        tempo: vec![],
        loudness: Loudness {
            integrated: Some(Lufs(-20.0)),
            range: None,
            peak: Decibels(-3.0),
            momentary: level(-20.0),
            short_term: level(-20.0),
        },
        dynamics: Dynamics { marks: vec![] },
        phrases: vec![character; dance.grid.phrases().len()],
        turns: vec![],
        summary: vec![],
    }
}

impl Listening {
    /// With a turn that begins at a beat of its grid.
    pub(super) fn turn(mut self, kind: TurnKind, at: f64) -> Self {
        let start = self.grid.seconds_at(Beat(at));
        self.turns.push(Turn {
            kind,
            start,
            end: start,
            start_beat: Beat(at),
            end_beat: Beat(at),
            from: 0.0,
            to: 0.0,
            sureness: Sureness(0.9),
        });
        self
    }
}

/// What one rule finds in a dance, the recording being as the dance says.
pub(super) fn found(rule: &str, dance: &Dance) -> Vec<Finding> {
    found_in(rule, dance, &heard(dance))
}

/// What one rule finds in a dance and what was heard.
pub(super) fn found_in(rule: &str, dance: &Dance, heard: &Listening) -> Vec<Finding> {
    assert!(RULES.iter().any(|known| known.id == rule), "no rule '{rule}'");
    let mut findings = check(dance, Some(heard)).findings;
    findings.retain(|finding| finding.rule == rule);
    findings
}

/// The places of findings, in beats.
pub(super) fn places(findings: &[Finding]) -> Vec<f64> {
    findings.iter().filter_map(|finding| finding.at).map(|at| at.0).collect()
}
