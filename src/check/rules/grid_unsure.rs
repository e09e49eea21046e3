//! Cues on beats that were guessed.

use crate::check::scene::{Scene, Step};
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::check::wording::number;
use crate::grid::Anchor;
use crate::listening::{Listening, TurnKind};
use crate::units::Seconds;

/// Our decision: below this, listening is as likely wrong as right.
const SURE_ENOUGH: f32 = 0.5;

pub(in crate::check) const RULE: Rule = Rule {
    id: "grid-unsure",
    name: "Beat unsure under a cue",
    severity: Severity::Warning,
    needs: Needs::BeatsAndRecording,
    asks: "The beat is sure in the bars where cues begin, or has been tapped there.",
    why: "A cue on a guessed beat may lead the class off the music. Your own taps and corrections count as sure, and where \
          nothing sounds there is no beat to be unsure of.",
    source: "our decision",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let Some(heard) = scene.heard else { return Vec::new() };
    let unsure = |step: &Step<'_>| {
        let bar = heard.grid.bar_at(heard.grid.beat_at(scene.seconds(step.cue.at))).bar;
        let Some(bar) = bar.checked_sub(1) else { return false };
        let starts = heard.grid.bars();
        let time = |bar: usize| starts.get(bar).map(|&beat| heard.grid.beats()[beat]);
        let from = time(bar).unwrap_or(Seconds(0.0));
        let to = time(bar + 1).unwrap_or(Seconds(f64::INFINITY));
        let anchored = scene.dance.anchors.iter().filter_map(instant).any(|at| from.0 <= at.0 && at.0 < to.0);
        !anchored
            && !silent(heard, from, to)
            && heard.sureness.get(bar).is_some_and(|sureness| sureness.0 < SURE_ENOUGH)
    };
    let mut findings = Vec::new();
    for run in scene.steps.chunk_by(|before, after| unsure(before) == unsure(after)) {
        let [first, ..] = run else { continue };
        if unsure(first) {
            let cues = if run.len() == 1 {
                "this cue".into()
            } else {
                format!("{} from here", number(run.len(), "cue"))
            };
            findings.push(RULE.at_cue(
                first,
                format!("The beat was heard unsurely under {cues}."),
                "Listen to it with the click, and tap along where it is wrong.",
            ));
        }
    }
    findings
}

/// Whether most of a bar is a rest of everyone.
fn silent(heard: &Listening, from: Seconds, to: Seconds) -> bool {
    let to = to.0.min(heard.length.0);
    let rests = heard.turns.iter().filter(|turn| turn.kind == TurnKind::Rest);
    // A rest's `to` is its length in seconds.
    let covered: f64 =
        rests.map(|rest| ((rest.start.0 + rest.to).min(to) - rest.start.0.max(from.0)).max(0.0)).sum();
    covered > 0.5 * (to - from.0)
}

/// When a correction that fixes single beats was made; `None` for those that hold from somewhere on, and for beats from a
/// file: nobody has yet clapped to them.
fn instant(anchor: &Anchor) -> Option<Seconds> {
    match anchor {
        Anchor::Tap { at } | Anchor::Beat { at } | Anchor::BarStart { at } | Anchor::CountOne { at } => {
            Some(*at)
        }
        Anchor::Hold { at, .. } => Some(*at),
        Anchor::Level { .. }
        | Anchor::ShiftHalf { .. }
        | Anchor::Metre { .. }
        | Anchor::PhraseLength { .. }
        | Anchor::Given { .. } => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::sketch::{dance, found_in, heard, places};
    use crate::listening::Sureness;
    use crate::units::Beat;

    #[test]
    fn a_freeze_in_a_silent_bar_stands_on_no_beat_to_be_unsure_of() {
        let dance = dance().cue(0.0, 8.0, "march").cue(8.0, 4.0, "freeze");
        let mut heard = heard(&dance).turn(TurnKind::Rest, 8.0);
        heard.sureness[2] = Sureness(0.2);
        // Half a second of a bar of two: most of it sounds.
        heard.turns[0].to = 0.5;
        assert_eq!(places(&found_in("grid-unsure", &dance, &heard)), [8.0]);
        heard.turns[0].to = 1.8;
        assert!(found_in("grid-unsure", &dance, &heard).is_empty());
    }

    #[test]
    fn cues_on_guessed_bars_are_reported_together_until_tapped() {
        let mut dance = dance().cue(0.0, 8.0, "march").cue(8.0, 4.0, "clap").cue(12.0, 8.0, "sway");
        let mut heard = heard(&dance);
        assert!(found_in("grid-unsure", &dance, &heard).is_empty());
        heard.sureness[2] = Sureness(0.2);
        heard.sureness[3] = Sureness(0.2);
        let findings = found_in("grid-unsure", &dance, &heard);
        assert_eq!(places(&findings), [8.0]);
        assert_eq!(findings[0].message, "The beat was heard unsurely under 2 cues from here.");
        dance.anchors.push(Anchor::Tap { at: dance.grid.seconds_at(Beat(9.0)) });
        assert_eq!(places(&found_in("grid-unsure", &dance, &heard)), [12.0]);
    }
}
