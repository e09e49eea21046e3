//! A dance to be printed, and how independent programs read what was printed.

#![allow(dead_code, reason = "every test binary uses its own share of these")]

use super::dances::full;
use super::music::{heard, phrase, turn};
use farandole::dance::{Dance, MoveBook, Profile, Prompt, Source, draft, new_dance};
use farandole::handout::{Kind, Material, Paper, make};
use farandole::listening::{Articulation, Listening, TurnKind};
use farandole::units::Beat;
use roxmltree::{Document, Node};
use std::fs;
use std::process::Command;

/// A rondo of five phrases after an upbeat, 64 counts, with a rest, a leap in loudness and an accelerando, and the dance
/// that is drafted for it.
pub(crate) fn rondo() -> (Dance, Listening) {
    let phrases = [
        phrase("A", 16, 112.0, 3).joined(Articulation::Staccato),
        phrase("B", 8, 112.0, 2).joined(Articulation::Legato),
        phrase("A'", 16, 112.0, 3).joined(Articulation::Staccato),
        phrase("C", 16, 112.0, 5).speeding_to(140.0),
        phrase("end", 8, 140.0, 4),
    ];
    let turns = [
        turn(TurnKind::Rest, 24.0, 26.0),
        turn(TurnKind::SubitoLoud, 42.0, 42.0),
        turn(TurnKind::Accelerando, 44.0, 56.0),
        turn(TurnKind::Crescendo, 45.0, 57.0),
    ];
    let heard = heard(2, &phrases, &turns);
    let drafted = draft(&heard, &MoveBook::built_in(), &Profile::default()).expect("a beat was heard");
    let mut recording: Source = full().recording;
    recording.path = "../home/berta/Musik/grandmother's tape.flac".into();
    recording.identity.frames = (heard.length.0 * f64::from(recording.identity.rate)).round() as u64;
    let mut dance = new_dance("Goats & \"sheep\" <3", recording, Profile::default(), &heard, drafted);
    dance.notes = "Watch little Karl near the door.".into();
    // The second stands where the landmarks' words are thickest.
    let asked =
        [(26.0, "Was it louder or softer?", "Softer, and smooth."), (45.0, "What grows?", "Two things.")];
    dance.prompts = asked
        .map(|(at, question, answer)| Prompt {
            at: Beat(at),
            question: question.into(),
            answer: answer.into(),
            pause: true,
            unknown: serde_json::Map::new(),
        })
        .into();
    (dance, heard)
}

pub(crate) fn material<'a>(dance: &'a Dance, heard: &'a Listening) -> Material<'a> {
    Material { dance, heard: Some(heard), paper: Paper::A4, notes: false }
}

/// Every drawing kind in every form, by file name.
pub(crate) fn everything(material: &Material<'_>) -> Vec<(String, Vec<u8>)> {
    [Kind::CountSheet, Kind::ListeningMap, Kind::AnsweredMap]
        .into_iter()
        .flat_map(|kind| kind.endings().iter().map(move |&ending| (kind, ending)))
        .map(|(kind, ending)| {
            let bytes = make(kind, ending, material).expect("there are counts to print");
            (format!("{}.{ending}", kind.stem()), bytes)
        })
        .collect()
}

/// What one of poppler's programs says about a PDF.
pub(crate) fn poppler(program: &str, arguments: &[&str], pdf: &[u8]) -> String {
    let folder = tempfile::tempdir().expect("a scratch folder");
    let file = folder.path().join("it.pdf");
    fs::write(&file, pdf).expect("a writable folder");
    let output = Command::new(program)
        .args(arguments.iter().take_while(|argument| **argument != "-"))
        .arg(&file)
        .args(arguments.iter().skip_while(|argument| **argument != "-"))
        .output()
        .unwrap_or_else(|error| {
            panic!("{program} is needed (poppler-utils; './start test' installs it): {error}")
        });
    let complaints = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success() && complaints.is_empty(), "{program}: {complaints}");
    String::from_utf8(output.stdout).expect("UTF-8 from poppler")
}

/// The words of a PDF on single spaces.
pub(crate) fn text(pdf: &[u8]) -> String {
    poppler("pdftotext", &["-enc", "UTF-8", "-"], pdf).split_whitespace().collect::<Vec<_>>().join(" ")
}

pub(crate) fn parsed(svg: &[u8]) -> String {
    String::from_utf8(svg.to_vec()).expect("SVG is UTF-8")
}

pub(crate) fn of_class<'a>(document: &'a Document<'_>, class: &str) -> Vec<Node<'a, 'a>> {
    document.descendants().filter(|node| node.attribute("class") == Some(class)).collect()
}

pub(crate) fn number(node: &Node<'_, '_>, name: &str) -> f64 {
    node.attribute(name).expect("the attribute").parse().expect("a number")
}

/// Where a path begins.
pub(crate) fn start(node: &Node<'_, '_>) -> (f64, f64) {
    let path = node.attribute("d").expect("a path").trim_start_matches('M');
    let end = path.find(['L', 'C', 'Z', 'M']).unwrap_or(path.len());
    let numbers: Vec<f64> = path[..end].split(' ').map(|number| number.parse().expect("a number")).collect();
    (numbers[0], numbers[1])
}
