//! Phrases whose count one passes unseen.

use crate::check::scene::{Scene, Step};
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::check::wording::list;
use crate::dance::StepKind;
use crate::units::Beat;

pub(in crate::check) const RULE: Rule = Rule {
    id: "phrase-unmarked",
    name: "Phrases that no move begins with",
    severity: Severity::Note,
    needs: Needs::Beats,
    asks: "A move begins, or begins again, with each phrase that is danced.",
    why: "Children learn the form through their feet: a new phrase should be something to do, if only the other side. \
          Only phrases between the first and the last cue count, and a class that holds a freeze or a last pose need \
          not move again.",
    source: "contra calling: moves are fitted to phrases",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let (Some(first), Some(last)) = (scene.steps.first(), scene.steps.last()) else { return Vec::new() };
    let danced: Vec<_> = scene
        .dance
        .grid
        .phrase_spans()
        .filter(|phrase| phrase.start.0 >= first.cue.at.0 && phrase.start.0 < last.until.0)
        .collect();
    let unmarked: Vec<String> = danced
        .iter()
        .filter(|phrase| !scene.steps.iter().any(|step| step.cue.at.since(phrase.start).0.abs() < 0.5))
        .filter(|phrase| !holds(scene, phrase.start))
        .map(|phrase| format!("{} ({})", phrase.index + 1, phrase.letter))
        .collect();
    if unmarked.is_empty() {
        return Vec::new();
    }
    let (begin, phrases) = if unmarked.len() == 1 { ("begins", "phrase") } else { ("begin", "phrases") };
    vec![RULE.about_dance(
        format!(
            "Of {} danced phrases, {} {begin} without a move: {phrases} {}.",
            danced.len(),
            unmarked.len(),
            list(&unmarked)
        ),
        "Begin a move with the phrase, or repeat the one before it to the other side.",
    )]
}

/// Whether the class stands still at a beat because it was told to.
fn holds(scene: &Scene<'_>, at: Beat) -> bool {
    let frozen = |step: &&Step<'_>| step.movement.is_some_and(|entry| entry.step == StepKind::Freeze);
    scene.steps.iter().filter(frozen).any(|step| step.cue.at.0 < at.0 && at.0 < step.until.0)
}

#[cfg(test)]
mod tests {
    use crate::check::sketch::{dance, found};

    #[test]
    fn a_freeze_or_last_pose_may_be_held_into_the_next_phrase() {
        let held = dance().cue(0.0, 12.0, "march").cue(12.0, 8.0, "freeze").cue(20.0, 12.0, "clap");
        assert!(found("phrase-unmarked", &held).is_empty());
        let over = dance().cue(0.0, 12.0, "march").cue(12.0, 4.0, "freeze").cue(20.0, 12.0, "clap");
        assert_eq!(found("phrase-unmarked", &over).len(), 1, "this freeze is over when the phrase begins");
    }

    #[test]
    fn a_phrase_without_a_beginning_is_named() {
        let whole = dance().cue(0.0, 16.0, "march").cue(16.0, 16.0, "clap").cue(32.0, 8.0, "march");
        assert!(found("phrase-unmarked", &whole).is_empty());
        let carried = dance().cue(0.0, 20.0, "march").cue(20.0, 12.0, "clap").cue(32.0, 8.0, "march");
        let findings = found("phrase-unmarked", &carried);
        assert_eq!(findings.len(), 1);
        assert_eq!(findings[0].message, "Of 3 danced phrases, 1 begins without a move: phrase 2 (A).");
    }
}
