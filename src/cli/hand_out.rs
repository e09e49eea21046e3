//! `hand-out`: the dance on paper, for the wall and for home.

use super::arguments::{HandOut, PaperName};
use super::draft::with_class;
use super::{Outcome, Output, Problem, hear};
use crate::handout::{self, Kind, Material, Paper, Sound};
use crate::recording::{self, Warning};
use crate::shelf;
use std::fs;
use std::path::{Path, PathBuf};

/// One file to be made: what, in which form, where.
struct Wanted {
    kind: Kind,
    ending: String,
    path: PathBuf,
}

/// Runs the command. Every file is made before the first is written, so that a refusal leaves nothing behind.
pub(super) fn run(options: &HandOut, output: &mut Output) -> Result<Outcome, Problem> {
    let mut opened = shelf::load(&options.dance)?;
    for note in opened.notes.iter().chain(&opened.read_only) {
        output.remark(format_args!("note: {note}"));
    }
    *opened.dance.profile = with_class(*opened.dance.profile, &options.class);
    opened.dance.recording.year = options.year.or(opened.dance.recording.year);
    let wanted = wanted(options)?;
    if let Some(taken) = wanted.iter().find(|file| file.path.exists() && !options.replace) {
        return Err(Problem::HandedOut { path: taken.path.clone() });
    }
    // Said before the recording is listened to, which takes a while.
    if let Some(missing) = wanted.iter().map(|file| shelf::folder_of(&file.path)).find(|path| !path.is_dir())
    {
        return Err(Problem::NoFolder { path: missing.to_owned() });
    }
    let found = shelf::recording_for(&opened.dance, &options.dance, &mut |path| {
        let heard = hear::hear(path, &options.hearing, output)?;
        Ok((heard.identity, (heard.listening, path.to_owned())))
    });
    let heard = hear::usable(found, &opened.dance, output);
    let material = Material {
        dance: &opened.dance,
        heard: heard.as_ref().map(|(heard, _)| heard),
        paper: match options.paper {
            PaperName::A4 => Paper::A4,
            PaperName::Letter => Paper::Letter,
        },
        notes: options.notes,
    };
    let mut made = Vec::new();
    for file in &wanted {
        let bytes = match &heard {
            Some((_, recording)) if file.kind == Kind::Page && file.ending == "html" => {
                page(&material, recording)?
            }
            _ => handout::make(file.kind, &file.ending, &material),
        };
        let bytes = bytes.map_err(|source| Problem::HandOut { path: file.path.clone(), source })?;
        made.push((file, bytes));
    }
    for (file, bytes) in &made {
        shelf::replace(&file.path, bytes).map_err(|source| Problem::File {
            what: "write",
            path: file.path.clone(),
            source,
        })?;
    }
    let missing = handout::unprintable(&opened.dance);
    if !missing.is_empty() && wanted.iter().any(|file| file.ending == "pdf") {
        let missing = missing.iter().map(char::to_string).collect::<Vec<_>>().join(" ");
        output.remark(format_args!(
            "note: the printed letters lack '{missing}', which PDFs show as boxes; print the HTML count sheet from a \
             browser instead"
        ));
    }
    let lines = made.iter().map(|(file, _)| format!("{}: '{}'\n", file.kind, file.path.display()));
    output.print(&lines.collect::<String>())?;
    Ok(Outcome::Clean)
}

/// The page with the recording inside: as it is where browsers play it in time, else as WAV. A file that does not say where
/// its sound begins is played early by one program and late by another, so such a one is written as it was heard here.
fn page(
    material: &Material<'_>,
    recording: &Path,
) -> Result<Result<Vec<u8>, handout::HandoutError>, Problem> {
    let bytes = fs::read(recording).map_err(|source| Problem::File {
        what: "read",
        path: recording.to_owned(),
        source,
    })?;
    let sound = Sound::as_it_is(&bytes);
    if let Some(sound) = sound.filter(Sound::is_never_padded) {
        return Ok(handout::page(material, &sound));
    }
    let decoded = recording::decode(recording, &mut |_| {})?;
    let doubted = |warning: &Warning| matches!(warning, Warning::PaddingUnknown { .. });
    if let Some(sound) = sound.filter(|_| !decoded.warnings.iter().any(doubted)) {
        return Ok(handout::page(material, &sound));
    }
    let bytes = handout::wave(&decoded.samples, decoded.channels, decoded.rate.0);
    Ok(handout::page(material, &Sound { bytes: &bytes, kind: "audio/wav" }))
}

/// The kinds that were asked for; those for paper when none was named.
fn kinds(options: &HandOut) -> Vec<Kind> {
    let asked = |kind: &Kind| match kind {
        Kind::CountSheet => options.sheet,
        Kind::ListeningMap => options.map,
        Kind::AnsweredMap => options.answers,
        Kind::Page => options.page,
        Kind::Captions => options.captions,
        Kind::Beats => options.beats,
        Kind::Cues => options.cues,
        Kind::TempoMap => options.midi,
        Kind::Annotations => options.jams,
    };
    let named: Vec<Kind> = Kind::ALL.iter().copied().filter(|kind| options.all || asked(kind)).collect();
    if named.is_empty() { Kind::PRINTED.to_vec() } else { named }
}

/// The files that were asked for.
fn wanted(options: &HandOut) -> Result<Vec<Wanted>, Problem> {
    let kinds = kinds(options);
    if let Some(path) = &options.output {
        let [kind] = kinds[..] else { return Err(Problem::OneHandOut) };
        let ending = path.extension().map(|ending| ending.to_string_lossy().to_lowercase());
        return Ok(vec![Wanted { kind, ending: ending.unwrap_or_default(), path: path.clone() }]);
    }
    let folder = match (&options.to, options.dance.parent()) {
        (Some(folder), _) => folder.clone(),
        (None, Some(parent)) => parent.to_owned(),
        (None, None) => PathBuf::new(),
    };
    let stem = stem(&options.dance);
    let files = kinds.into_iter().flat_map(|kind| {
        let folder = &folder;
        let stem = &stem;
        kind.endings().iter().map(move |&ending| Wanted {
            kind,
            ending: ending.to_owned(),
            path: folder.join(format!("{stem}.{}.{ending}", kind.stem())),
        })
    });
    Ok(files.collect())
}

/// `songs/march.dance.json` gives `march`.
pub(super) fn stem(dance: &Path) -> String {
    let name = super::listen::file_name(dance);
    let name = name.strip_suffix(".json").unwrap_or(&name);
    name.strip_suffix(".dance").unwrap_or(name).to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_are_named_after_the_dance() {
        assert_eq!(stem(Path::new("songs/march.dance.json")), "march");
        assert_eq!(stem(Path::new("march.json")), "march");
        assert_eq!(stem(Path::new("march")), "march");
    }
}
