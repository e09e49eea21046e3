//! The demo dances are finished dances: they open, validate, fit their recordings and their truth, and check clean.

use farandole::check::check;
use farandole::dance::file::from_json;
use farandole::listening::listen;
use farandole::recording;
use std::fs;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

const PIECES: [&str; 4] = ["march-and-farandole", "evening-boat", "goats-on-the-wall", "cat-on-the-stairs"];

fn asset(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("assets/demo").join(name)
}

#[test]
fn every_demo_dance_checks_clean_against_its_own_recording() {
    for piece in PIECES {
        let text = fs::read_to_string(asset(&format!("{piece}.dance.json"))).expect("a demo dance");
        let opened = from_json(&text).expect("a dance");
        assert!(opened.notes.is_empty() && opened.read_only.is_none(), "{piece}: {:?}", opened.notes);
        assert_eq!(farandole::dance::file::to_json(&opened.dance), text, "{piece} is written as we write");
        let recording =
            recording::decode(&asset(&opened.dance.recording.path), &mut |_| {}).expect("a recording");
        assert_eq!(recording.identity, opened.dance.recording.identity, "{piece}");
        let heard = listen(&recording.samples, recording.channels, recording.rate, &[], &mut |_| {
            ControlFlow::Continue(())
        });
        let report = check(&opened.dance, Some(&heard.expect("nobody stopped it")));
        assert!(report.findings.is_empty(), "{piece}: {:#?}", report.findings);
    }
}

/// An independent validator reads the published schema (JSON Schema 2020-12).
#[test]
fn every_demo_dance_validates_against_the_schema() {
    let schema =
        fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/dance.schema.json")).expect("the schema");
    let schema = serde_json::from_slice(&schema).expect("JSON");
    let validator = jsonschema::validator_for(&schema).expect("a schema");
    for piece in PIECES {
        let dance = fs::read(asset(&format!("{piece}.dance.json"))).expect("a demo dance");
        let dance = serde_json::from_slice(&dance).expect("JSON");
        let faults: Vec<String> = validator.iter_errors(&dance).map(|fault| fault.to_string()).collect();
        assert!(faults.is_empty(), "{piece}: {faults:?}");
    }
}

/// The march's grid against the score it was rendered from: F-measure within 70 ms (Davies and others 2009), each beat
/// matched at most once.
#[test]
fn the_march_is_counted_as_it_was_written() {
    let truth = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/demo/march-and-farandole.truth.json");
    let truth: serde_json::Value =
        serde_json::from_slice(&fs::read(truth).expect("the truth")).expect("JSON");
    let truth: Vec<f64> =
        truth["beats"].as_array().expect("beats").iter().filter_map(|beat| beat.as_f64()).collect();
    let text = fs::read_to_string(asset("march-and-farandole.dance.json")).expect("a demo dance");
    let dance = from_json(&text).expect("a dance").dance;
    let hits = truth
        .iter()
        .filter(|beat| dance.grid.beats().iter().any(|heard| (heard.0 - **beat).abs() <= 0.07))
        .count();
    // Beats are at least 0.3 s apart in both, so no heard beat can serve two.
    let f = 2.0 * hits as f64 / (truth.len() + dance.grid.len()) as f64;
    assert!(f > 0.99, "F {f}");
}
