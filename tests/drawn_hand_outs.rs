//! The listening map and the landing chart as another parser reads them: what is drawn, where, and how long.

#[path = "support/dances.rs"]
mod dances;
#[path = "support/heard.rs"]
mod music;
#[path = "support/printed.rs"]
mod printed;

use farandole::check::check;
use farandole::dance::Dance;
use farandole::grid::Grid;
use farandole::handout::{Chart, Kind, Material, Paper, make};
use farandole::units::Seconds;
use printed::{material, of_class, parsed, rondo, start};
use roxmltree::Document;

#[test]
fn the_map_has_a_stone_for_every_beat_and_hides_its_answers() {
    let (dance, heard) = rondo();
    let read = |kind| parsed(&make(kind, "svg", &material(&dance, &heard)).expect("counts"));
    let (blank, answered) = (read(Kind::ListeningMap), read(Kind::AnsweredMap));
    let (blank, answered) = (Document::parse(&blank).expect("XML"), Document::parse(&answered).expect("XML"));
    for map in [&blank, &answered] {
        assert_eq!(map.root_element().tag_name().namespace(), Some("http://www.w3.org/2000/svg"));
        assert_eq!(of_class(map, "stone").len(), dance.grid.len());
        assert_eq!(of_class(map, "phrase").len(), 5);
        assert_eq!(of_class(map, "post").len(), 4, "one post a turn");
        assert_eq!(of_class(map, "question").len(), 2);
    }
    let said = |map: &Document<'_>, class| -> Vec<String> {
        of_class(map, class).iter().filter_map(|node| node.text().map(str::to_owned)).collect()
    };
    assert_eq!(said(&answered, "letter"), ["A", "B", "A'", "C", "end"]);
    let turns = said(&answered, "turn");
    assert!(
        ["rest", "suddenly loud", "faster"].iter().all(|word| turns.contains(&(*word).to_owned())),
        "{turns:?}"
    );
    assert_eq!(said(&answered, "answer"), ["Softer, and smooth.", "Two things."]);
    for class in ["letter", "turn", "answer", "like"] {
        assert!(of_class(&blank, class).is_empty(), "'{class}' is an answer");
    }
}

#[test]
fn stones_are_as_long_as_their_beats() {
    let (dance, heard) = rondo();
    let map = parsed(&make(Kind::AnsweredMap, "svg", &material(&dance, &heard)).expect("counts"));
    let map = Document::parse(&map).expect("XML");
    let stones = of_class(&map, "stone");
    let long = |index: usize| {
        let path = stones[index].attribute("d").expect("a path");
        let numbers: Vec<f64> = path
            .split(|c: char| c.is_alphabetic() || c == ' ')
            .filter(|part| !part.is_empty())
            .map(|part| part.parse().expect("a number"))
            .collect();
        let across: Vec<f64> = numbers.iter().copied().step_by(2).collect();
        across.iter().fold(0.0, |a, &b| f64::max(a, b))
            - across.iter().fold(f64::INFINITY, |a, &b| f64::min(a, b))
    };
    // 112 and 140 counts a minute: strides of 0.536 and 0.429 s, on one scale.
    let ratio = long(4) / long(62);
    assert!((ratio - 140.0 / 112.0).abs() < 0.03, "{ratio}");
}

/// Rows of the map hold as many phrases as leave little of the sheet white.
#[test]
fn three_phrases_of_one_length_have_three_rows_and_four_have_two() {
    let (dance, _) = rondo();
    for (phrases, rows) in [(1, 1), (2, 2), (3, 3), (4, 2), (5, 2), (6, 2)] {
        let letter = |index| farandole::grid::Phrase { start: index * 24, letter: "A".into() };
        let grid = Grid::new(
            (0..phrases * 24).map(|beat| Seconds(0.44 * beat as f64)).collect(),
            (0..phrases * 24).step_by(3).collect(),
            (0..phrases).map(letter).collect(),
        );
        let dance = Dance { grid: grid.expect("ascending"), ..dance.clone() };
        let material = Material { dance: &dance, heard: None, paper: Paper::A4, notes: false };
        let map = parsed(&make(Kind::ListeningMap, "svg", &material).expect("counts"));
        let map = Document::parse(&map).expect("XML");
        let mut tops: Vec<f64> = of_class(&map, "phrase").iter().map(|node| start(node).1).collect();
        assert_eq!(tops.len(), phrases);
        tops.dedup();
        assert_eq!(tops.len(), rows, "{phrases} phrases");
    }
}

#[test]
fn the_landing_chart_shows_every_cue_and_how_far_each_turn_is_from_one() {
    let (dance, heard) = rondo();
    let report = check(&dance, Some(&heard));
    let svg = Chart { dance: &dance, heard: Some(&heard), report: &report }.svg();
    let chart = Document::parse(&svg).expect("XML");
    let posts: Vec<f64> = of_class(&chart, "cue")
        .iter()
        .filter(|node| node.has_tag_name(("http://www.w3.org/2000/svg", "path")))
        .map(|node| start(node).0)
        .collect();
    assert_eq!(posts.len(), dance.cues.len());
    let labels: Vec<String> =
        of_class(&chart, "turn").iter().filter_map(|node| node.text().map(str::to_owned)).collect();
    assert_eq!(labels.len(), report.turns);
    for landing in &report.landings {
        let off = landing.off.expect("there are cues").0;
        let shown = format!("{:.1}", (off.abs() * 10.0).round() / 10.0);
        let name = farandole::check::turn_name(landing.kind);
        assert!(
            labels.iter().any(|label| label.starts_with(name) && label.ends_with(&shown)),
            "{landing:?} {labels:?}"
        );
    }
    assert_eq!(of_class(&chart, "met").len(), report.turns_met);
    // A cue's post stands where it sounds: the places are linear in time.
    let at: Vec<f64> = dance.cues.iter().map(|cue| dance.grid.seconds_at(cue.at).0).collect();
    let scale = (posts[posts.len() - 1] - posts[0]) / (at[at.len() - 1] - at[0]);
    for (post, at_cue) in posts.iter().zip(&at) {
        assert!((post - posts[0] - scale * (at_cue - at[0])).abs() < 0.05, "{posts:?} {at:?}");
    }
    let summary: Vec<_> =
        of_class(&chart, "summary").iter().filter_map(|node| node.text().map(str::to_owned)).collect();
    assert!(
        summary[0].starts_with(&format!("{} of {} turns met", report.turns_met, report.turns)),
        "{summary:?}"
    );
}
