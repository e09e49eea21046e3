//! `contrast`: which three recordings differ most, and why; and leading them in a row.

use super::arguments::Contrast;
use super::lead::{free, on_the_floor};
use super::listen::file_name;
use super::{Outcome, Output, Problem, hear};
use crate::listening::{Articulation, Listening, Pulse, TempoWord, Traits, contrast};
use crate::screen;
use crate::shelf::ENDINGS;
use crate::units::Bpm;
use crate::words::wrapped;
use serde::Serialize;
use std::fs;
use std::path::{Path, PathBuf};

/// Version of the JSON form.
const SCHEMA: u32 = 1;
/// Tempi closer than this are called the same (as a step of tempo just worth a word), loudness closer than this too.
const SAME_TEMPO: f64 = 1.08;
const SAME_LOUDNESS: f64 = 2.0;
/// And shares of joined notes.
const SAME_JOINED: f64 = 0.15;

/// A recording that was heard.
struct Candidate {
    path: PathBuf,
    title: String,
    traits: Traits,
    hash: String,
}

/// The JSON form.
#[derive(Serialize)]
struct Report<'a> {
    schema: u32,
    /// All that were heard, in the order in which they were given.
    recordings: Vec<About<'a>>,
    /// The three, as indices into `recordings`.
    chosen: [usize; 3],
    /// Why, in sentences.
    reasons: &'a [String],
}

/// One recording in the JSON form; what cannot be told is null.
#[derive(Serialize)]
struct About<'a> {
    file: String,
    title: &'a str,
    bpm: Option<f64>,
    lufs: Option<f64>,
    joined: Option<f64>,
    words: String,
}

/// Runs the command.
pub(super) fn run(options: &Contrast, output: &mut Output) -> Result<Outcome, Problem> {
    if options.lead {
        screen::require_terminal()?;
    }
    let mut heard: Vec<Candidate> = Vec::new();
    for path in files(&options.recordings)? {
        match hear::hear(&path, &options.hearing, output) {
            Ok(it) if !worth(&it.listening) => output.remark(format_args!(
                "note: '{}' is too short or too quiet to compare, and is left out",
                file_name(&path)
            )),
            Ok(it) if heard.iter().any(|other| other.hash == it.identity.hash) => {
                output.remark(format_args!(
                    "note: '{}' is the same recording as another one, and is left out",
                    file_name(&path)
                ))
            }
            Ok(it) => heard.push(Candidate {
                title: it.tags.title.unwrap_or_else(|| super::draft::stem(&path)),
                traits: Traits::of(&it.listening),
                hash: it.identity.hash,
                path,
            }),
            Err(problem) => output.remark(format_args!("note: {problem}")),
        }
    }
    let traits: Vec<Traits> = heard.iter().map(|candidate| candidate.traits).collect();
    let Some(chosen) = contrast(&traits) else { return Err(Problem::TooFew { found: heard.len() }) };
    if options.lead {
        let three =
            chosen.iter().map(|&index| free(&heard[index].path, &options.class, &options.hearing, output));
        let pieces = three.collect::<Result<Vec<_>, _>>()?;
        return on_the_floor(pieces, &options.floor, output);
    }
    let three = chosen.map(|index| &heard[index]);
    let reasons = reasons(three);
    if options.json {
        let recordings = heard.iter().map(about).collect();
        let report = Report { schema: SCHEMA, recordings, chosen, reasons: &reasons };
        output.print(&(serde_json::to_string_pretty(&report)? + "\n"))?;
    } else {
        output.print(&text(three, heard.len(), &reasons))?;
    }
    Ok(Outcome::Clean)
}

/// Whether there is something to compare.
fn worth(heard: &Listening) -> bool {
    !matches!(heard.pulse, Pulse::Silent | Pulse::TooShort)
}

/// The recordings that were named; of a folder those that lie in it, by name.
fn files(named: &[PathBuf]) -> Result<Vec<PathBuf>, Problem> {
    let mut files = Vec::new();
    for path in named {
        if !path.is_dir() {
            files.push(path.clone());
            continue;
        }
        let problem = |source| Problem::File { what: "read", path: path.clone(), source };
        let mut inside: Vec<PathBuf> = fs::read_dir(path)
            .map_err(problem)?
            .filter_map(|entry| entry.ok().map(|entry| entry.path()))
            .filter(|path| path.is_file() && is_recording(path))
            .collect();
        inside.sort();
        files.extend(inside);
    }
    Ok(files)
}

fn is_recording(path: &Path) -> bool {
    let ending = path.extension().map(|ending| ending.to_string_lossy().to_lowercase());
    ending.is_some_and(|ending| ENDINGS.contains(&&*ending))
}

/// What a recording is like, in a musician's words.
fn like(traits: Traits) -> String {
    let tempo = traits.bpm.map(|bpm| {
        let word = TempoWord::of(Bpm(bpm.round()));
        format!("{} beats a minute ({word}: {})", bpm.round(), word.plain())
    });
    let parts = [
        Some(tempo.unwrap_or_else(|| "no clear beat".to_owned())),
        traits.loudness.map(|level| format!("{level:.0} LUFS as recorded")),
        joined(traits.joined).map(|how| format!("notes {how}")),
    ];
    parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

/// How notes are joined; `None` where that cannot be told.
fn joined(share: Option<f64>) -> Option<&'static str> {
    let kind = match share? {
        share if share < 0.25 => Articulation::Staccato,
        share if share < 0.75 => Articulation::Detached,
        _ => Articulation::Legato,
    };
    match kind {
        Articulation::Staccato => Some("short (staccato)"),
        Articulation::Detached => Some("separate"),
        _ => Some("smooth and joined (legato)"),
    }
}

fn about(candidate: &Candidate) -> About<'_> {
    let tenth = |value: f64| (value * 10.0).round() / 10.0;
    About {
        file: file_name(&candidate.path),
        title: &candidate.title,
        bpm: candidate.traits.bpm.map(tenth),
        lufs: candidate.traits.loudness.map(tenth),
        joined: candidate.traits.joined.map(|share| (share * 100.0).round() / 100.0),
        words: like(candidate.traits),
    }
}

/// The lowest and the highest of the three in one trait.
fn ends(three: [&Candidate; 3], value: impl Fn(&Candidate) -> Option<f64>) -> Option<[(&Candidate, f64); 2]> {
    let mut told: Vec<(&Candidate, f64)> =
        three.into_iter().filter_map(|candidate| value(candidate).map(|value| (candidate, value))).collect();
    told.sort_by(|a, b| a.1.total_cmp(&b.1));
    (told.len() > 1).then(|| [told[0], told[told.len() - 1]])
}

/// Why these three, one sentence a trait.
fn reasons(three: [&Candidate; 3]) -> Vec<String> {
    let tempo = match ends(three, |candidate| candidate.traits.bpm) {
        Some([slow, quick]) if quick.1 / slow.1 > SAME_TEMPO => format!(
            "Tempo: '{}' is the slowest with {} beats a minute ({}), '{}' the quickest with {} ({}).",
            slow.0.title,
            slow.1.round(),
            TempoWord::of(Bpm(slow.1.round())).plain(),
            quick.0.title,
            quick.1.round(),
            TempoWord::of(Bpm(quick.1.round())).plain()
        ),
        Some(_) => "Tempo: they are about equally quick.".to_owned(),
        None => "Tempo: without a clear beat there is nothing to compare.".to_owned(),
    };
    let loudness = match ends(three, |candidate| candidate.traits.loudness) {
        Some([soft, loud]) if loud.1 - soft.1 > SAME_LOUDNESS => format!(
            "Loudness: '{}' is the softest, '{}' the loudest, by {:.0} LU as recorded.",
            soft.0.title,
            loud.0.title,
            loud.1 - soft.1
        ),
        _ => "Loudness: they are about equally loud as recorded.".to_owned(),
    };
    let articulation = match ends(three, |candidate| candidate.traits.joined) {
        Some([short, smooth]) if smooth.1 - short.1 > SAME_JOINED => format!(
            "Articulation: the notes of '{}' are the shortest, those of '{}' the most joined.",
            short.0.title, smooth.0.title
        ),
        Some(_) => "Articulation: their notes are joined in about the same way.".to_owned(),
        None => match three.into_iter().find(|candidate| candidate.traits.joined.is_some()) {
            Some(one) => format!(
                "Articulation: it can be told of '{}' alone, whose notes are {}.",
                one.title,
                joined(one.traits.joined).unwrap_or_default()
            ),
            None => "Articulation: how their notes are joined cannot be told.".to_owned(),
        },
    };
    vec![tempo, loudness, articulation]
}

fn text(three: [&Candidate; 3], of: usize, reasons: &[String]) -> String {
    let mut lines = vec![format!("Of {of} recordings these three differ most:"), String::new()];
    for (number, candidate) in (1..).zip(three) {
        lines.push(format!("  {number}  {} ({})", candidate.title, file_name(&candidate.path)));
        lines.extend(wrapped(&like(candidate.traits), 72).into_iter().map(|line| format!("     {line}")));
    }
    lines.push(String::new());
    for reason in reasons {
        lines.extend(wrapped(reason, 76));
    }
    lines.push(String::new());
    lines.extend(wrapped("'--lead' with the same names leads the three in a row as free dances.", 76));
    lines.join("\n") + "\n"
}
