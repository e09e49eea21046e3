//! The check as a whole: the table, silencing, order and figures.

use super::sketch::{dance, heard};
use super::*;
use crate::listening::TurnKind;
use crate::units::{Beat, Counts};

#[test]
fn every_rule_has_an_identifier_of_its_own_and_says_where_it_comes_from() {
    for (place, rule) in RULES.iter().enumerate() {
        let legal = |c: char| c.is_ascii_lowercase() || c == '-';
        assert!(!rule.id.is_empty() && rule.id.chars().all(legal), "'{}'", rule.id);
        assert!(RULES[..place].iter().all(|other| other.id != rule.id), "'{}' is there twice", rule.id);
        assert!(!rule.source.is_empty() && !rule.why.is_empty() && !rule.asks.is_empty(), "'{}'", rule.id);
        assert!(!rule.asks.contains('\n'), "'{}' asks more than one line", rule.id);
    }
}

#[test]
fn every_file_of_a_rule_is_in_the_table() {
    let files = include_str!("rules/mod.rs").lines().filter(|line| line.starts_with("mod ")).count();
    assert_eq!(files, RULES.len());
}

#[test]
fn a_good_dance_has_nothing_to_be_found() {
    let dance = dance()
        .cue(0.0, 16.0, "march")
        .cue(16.0, 16.0, "clap")
        .cue(32.0, 16.0, "march")
        .cue(48.0, 16.0, "sway");
    let report = check(&dance, Some(&heard(&dance).turn(TurnKind::SubitoLoud, 32.0)));
    assert_eq!(report.findings, []);
    assert_eq!(report.worst(), None);
    assert_eq!((report.turns_met, report.turns, report.median_distance), (1, 1, Some(Counts(0.0))));
}

/// Distances 0, 1, 4 and 8 counts: two met within one count, median 2.5.
#[test]
fn the_figures_are_counts_to_the_nearest_cue() {
    let dance = dance().cue(16.0, 8.0, "march").cue(32.0, 8.0, "clap");
    let heard = heard(&dance)
        .turn(TurnKind::Crescendo, 16.0)
        .turn(TurnKind::SubitoLoud, 33.0)
        .turn(TurnKind::Rest, 12.0)
        .turn(TurnKind::ATempo, 40.0);
    let report = check(&dance, Some(&heard));
    assert_eq!((report.turns_met, report.turns, report.median_distance), (2, 4, Some(Counts(2.5))));
}

#[test]
fn whole_dance_findings_come_first_and_then_the_order_of_the_music() {
    let mut dance = dance().cue(60.0, 8.0, "march").cue(8.5, 8.0, "moonwalk").aged(6);
    dance.grid = sketch::grid(176.0, 64);
    let findings = check(&dance, None).findings;
    let places: Vec<_> = findings.iter().map(|finding| finding.at).collect();
    assert!(places[0].is_none() && places.last().is_some_and(Option::is_some));
    assert!(places.is_sorted_by(|a, b| a.map_or(-1.0, |at| at.0) <= b.map_or(-1.0, |at| at.0)));
    let at_cue: Vec<_> = findings.iter().filter(|f| f.at == Some(Beat(8.5))).map(|f| f.severity).collect();
    assert!(at_cue.is_sorted_by(|a, b| a >= b), "the gravest first: {at_cue:?}");
}

#[test]
fn a_silenced_finding_is_counted_and_not_shown() {
    let mut dance = dance().cue(8.5, 8.0, "march").cue(24.5, 8.0, "clap");
    let off_grid = |dance: &Dance| {
        let report = check(dance, Some(&heard(dance)));
        (report.findings.iter().filter(|finding| finding.rule == "off-grid").count(), report.silenced)
    };
    assert_eq!(off_grid(&dance), (2, 0));
    dance.silenced.push(Silenced {
        rule: "off-grid".into(),
        at: Some(Beat(8.5)),
        reason: "echo".into(),
        unknown: serde_json::Map::new(),
    });
    assert_eq!(off_grid(&dance), (1, 1));
    dance.silenced.push(Silenced {
        rule: "off-grid".into(),
        at: None,
        reason: "all of them".into(),
        unknown: serde_json::Map::new(),
    });
    assert_eq!(off_grid(&dance), (0, 2));
}

#[test]
fn silencing_a_place_does_not_silence_the_whole_dance() {
    let here =
        |at| Silenced { rule: "gap".into(), at, reason: String::new(), unknown: serde_json::Map::new() };
    let mut found = RULES[0].about_dance(String::new(), "");
    found.rule = "gap";
    assert!(!covers(&here(Some(Beat(0.0))), &found));
    assert!(covers(&here(None), &found));
}

/// A remedy that is offered as an edit must be one that the editor can make, and must remove what was found.
#[test]
fn every_offered_edit_mends_what_was_found() {
    let book = crate::dance::MoveBook::built_in();
    let mut mended = std::collections::BTreeSet::new();
    for (mut dance, heard) in sentences::faulty() {
        // The editor keeps cues in order and on numbers; files that are not are put right when they are opened.
        dance.cues.retain(|cue| cue.at.0.is_finite() && cue.counts.0 > 0.0);
        dance.cues.sort_by(|a, b| a.at.total_cmp(&b.at));
        for finding in check(&dance, heard.as_ref()).findings {
            let Some(fix) = &finding.fix else { continue };
            let plan = crate::dance::edit::plan(&dance, &book, &fix.command())
                .unwrap_or_else(|error| panic!("{finding:?}: {error}"));
            let mut changed = dance.clone();
            crate::dance::edit::apply(&mut changed, plan.edit).expect("planned for this dance");
            let after = check(&changed, heard.as_ref()).findings;
            let still =
                after.iter().any(|other| other.rule == finding.rule && other.message == finding.message);
            assert!(!still, "{finding:?} is still there");
            mended.insert(finding.rule);
        }
    }
    assert!(mended.len() >= 5, "{mended:?}");
}
