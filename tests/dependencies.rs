//! Every dependency has its reason in `docs/dependencies.md`, and the page names nothing that is not there.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

fn read(name: &str) -> String {
    fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(name)).expect("a file of the repository")
}

#[test]
fn every_dependency_says_why_it_is_here() {
    let manifest = read("Cargo.toml");
    let mut section = "";
    let mut named = BTreeSet::new();
    for line in manifest.lines() {
        if line.starts_with('[') {
            section = line;
        } else if section.contains("dependencies]") {
            named.extend(line.split_once('=').map(|(name, _)| name.trim().to_owned()));
        }
    }
    let page = read("docs/dependencies.md");
    let explained: BTreeSet<String> = page
        .lines()
        .filter_map(|line| line.strip_prefix("| ")?.split(" | ").next())
        .filter(|cell| *cell != "crate")
        .flat_map(|cell| cell.split(", ").map(str::to_owned))
        .collect();
    assert!(
        !named.is_empty() && named == explained,
        "Cargo.toml: {named:#?}\ndocs/dependencies.md: {explained:#?}"
    );
}
