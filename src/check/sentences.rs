//! Every sentence that the rules can say, in one place: `snapshots/` holds them in full.

use super::sketch::{dance, dance_at, heard};
use super::{RULES, check};
use crate::dance::{Dance, Energy, Prompt, Side};
use crate::grid::{Anchor, Grid};
use crate::listening::{Articulation, Dynamic, Listening, Pulse, Sureness, TurnKind};
use crate::units::{Beat, Decibels, Lufs, Seconds};
use std::collections::BTreeSet;
use std::fmt::Write;

fn heard_with(dance: &Dance, change: impl FnOnce(&mut Listening)) -> Option<Listening> {
    let mut heard = heard(dance);
    change(&mut heard);
    Some(heard)
}

/// Dances with enough faults that every rule has something to say.
pub(super) fn faulty() -> Vec<(Dance, Option<Listening>)> {
    let mut cases = Vec::new();
    let mut add = |dance: Dance, change: fn(&mut Listening)| {
        let heard = heard_with(&dance, change);
        cases.push((dance, heard));
    };

    let mut odd = dance()
        .cue(-2.0, 4.0, "march")
        .cue(8.5, 8.0, "moonwalk")
        .cue(20.0, 0.0, "march")
        .cue(f64::NAN, 8.0, "march")
        .cue(24.0, 8.0, "clap")
        .cue(24.0, 10.0, "march")
        .cue(32.0, 3.0, "sway")
        .saying("")
        .cue(37.0, 8.0, "walk")
        .saying("walk all the way around")
        .lead(1.0)
        .cue(60.0, 8.0, "march")
        .cue(70.0, 8.0, "clap");
    for at in [-4.0, 99.0] {
        odd.prompts.push(Prompt {
            at: Beat(at),
            question: "Why?".into(),
            answer: String::new(),
            pause: false,
            unknown: serde_json::Map::new(),
        });
    }
    add(odd, |heard| heard.length = Seconds(90.0));

    let short_of_time =
        dance().aged(6).cue(0.0, 4.0, "clap").cue(4.0, 16.0, "march").saying("four words to read");
    add(short_of_time, |heard| heard.pulse = Pulse::Unsure);
    add(dance_at(200.0, 256).cue(64.0, 8.0, "clap").saying(&"very ".repeat(60)), |heard| {
        heard.pulse = Pulse::None
    });

    let turning = dance()
        .cue(0.0, 15.0, "march")
        .cue(15.0, 6.0, "clap")
        .cue(21.0, 5.0, "march")
        .cue(26.0, 6.0, "freeze")
        .cue(48.0, 8.0, "march");
    add(turning, |heard| {
        *heard = heard
            .clone()
            .turn(TurnKind::SubitoLoud, 16.0)
            .turn(TurnKind::Crescendo, 40.0)
            .turn(TurnKind::Rest, 24.0)
            .turn(TurnKind::Rest, 48.0);
        heard.pulse = Pulse::Silent;
        heard.loudness.peak = Decibels(0.0);
        heard.loudness.integrated = Some(Lufs(-40.0));
        heard.loudness.momentary.values[100..150].fill(-120.0);
        heard.sureness[2..].fill(Sureness(0.1));
    });
    add(dance(), |heard| *heard = heard.clone().turn(TurnKind::Accelerando, 40.0));

    let bare = |entry: &mut crate::dance::Move| {
        entry.caution = None;
        entry.seated.words = "a seated version of many words".into();
        entry.low_impact.how = String::new();
        entry.energy = Energy::new(5).expect("in range");
        entry.tempo.fastest = crate::units::Bpm(130.0);
    };
    let fast = dance_at(220.0, 256)
        .aged(6)
        .with("jump", bare)
        .with("run", bare)
        .with("turn", bare)
        .with("side", |entry| entry.one_sided = true)
        .with("clap", |entry| entry.tempo.slowest = crate::units::Bpm(250.0))
        .cue(0.0, 32.0, "jump")
        .cue(32.0, 16.0, "run")
        .cue(48.0, 24.0, "turn")
        .cue(72.0, 72.0, "sway")
        .cue(144.0, 16.0, "side")
        .to(Side::Left)
        .cue(160.0, 16.0, "walk")
        .cue(176.0, 16.0, "march")
        .cue(192.0, 16.0, "clap");
    add(fast, |heard| {
        heard.phrases[0].energy = 1;
        heard.dynamics.marks = vec![(Dynamic::P, Lufs(-70.0)), (Dynamic::F, Lufs(-10.0))];
        heard.pulse = Pulse::TooShort;
    });
    let mut hall = dance()
        .with("march", |entry| entry.suits = vec![Articulation::Legato])
        .with("sway", |entry| entry.suits = vec![Articulation::Staccato])
        .cue(0.0, 16.0, "march")
        .cue(16.0, 16.0, "march")
        .cue(32.0, 16.0, "sway")
        .saying("swaying everywhere");
    hall.profile.distance = 15.0;
    let sinking = dance()
        .cue(0.0, 16.0, "march")
        .cue(16.0, 16.0, "sway")
        .cue(32.0, 16.0, "march")
        .with("sway", |entry| entry.energy = Energy::new(2).expect("in range"));
    add(sinking, |heard| {
        *heard = heard.clone().turn(TurnKind::Crescendo, 16.0).turn(TurnKind::SubitoSoft, 32.0);
    });
    add(hall, |heard| {
        heard.phrases[0].articulation = Articulation::Staccato;
        heard.phrases[1].articulation = Articulation::Detached;
        heard.phrases[2].articulation = Articulation::Legato;
    });
    let slow = dance_at(30.0, 64)
        .cue(0.0, 8.0, "run")
        .cue(8.0, 8.0, "march")
        .with("side", |entry| entry.one_sided = true)
        .cue(16.0, 8.0, "side")
        .cue(24.0, 8.0, "side");
    add(slow, |heard| heard.phrases[0].energy = 5);
    let flat =
        dance().with("walk", |entry| entry.energy = Energy::new(1).expect("in range")).cue(0.0, 8.0, "walk");
    add(flat, |heard| heard.phrases[0].energy = 5);

    let mut gridless = dance();
    gridless.grid = Grid::default();
    gridless.anchors = vec![Anchor::Tap { at: Seconds(1.0) }];
    cases.push((gridless, None));
    cases
}

#[test]
fn every_rule_speaks_in_whole_sentences() {
    let mut said: BTreeSet<(&str, String)> = BTreeSet::new();
    for (dance, heard) in faulty() {
        for finding in check(&dance, heard.as_ref()).findings {
            assert!(finding.message.ends_with('.') && finding.remedy.ends_with('.'), "{finding:?}");
            said.insert((finding.rule, format!("{}\n    {}", finding.message, finding.remedy)));
        }
    }
    let mut page = String::new();
    for rule in RULES {
        let sentences: Vec<_> = said.iter().filter(|(id, _)| *id == rule.id).collect();
        assert!(!sentences.is_empty(), "nothing makes '{}' speak", rule.id);
        writeln!(page, "{}", rule.id).expect("a string takes everything");
        for (_, sentence) in sentences {
            writeln!(page, "  {sentence}").expect("a string takes everything");
        }
    }
    insta::assert_snapshot!("sentences", page);
    assert_eq!(said.iter().filter(|(_, sentence)| sentence.contains("NaN")).count(), 0);
}
