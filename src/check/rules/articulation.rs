//! Smooth moves to short notes, and the other way round.

use crate::check::scene::{Scene, Step};
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::listening::{Articulation, Listening};
use crate::units::Beat;

pub(in crate::check) const RULE: Rule = Rule {
    id: "articulation",
    name: "Articulation against the music",
    severity: Severity::Note,
    needs: Needs::BeatsAndRecording,
    asks: "A smooth move goes with smooth notes, a short one with short or separate notes.",
    why: "Short and smooth is one of the pairs that a class shows with the body. Only a contradiction is named: short and \
          separate notes count as one, a move that suits all is left out, and so is music whose notes are hidden by \
          texture or room.",
    source: "our decision; which move suits which notes stands in the move book",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let Some(heard) = scene.heard else { return Vec::new() };
    let mut findings = Vec::new();
    for step in &scene.steps {
        let Some(entry) = step.movement.filter(|entry| !entry.suits.is_empty()) else { continue };
        let suits = |articulation| entry.suits.contains(&articulation);
        let short = suits(Articulation::Staccato) || suits(Articulation::Detached);
        let (notes, kind) = match music(scene, heard, step) {
            Some(Articulation::Legato) if !suits(Articulation::Legato) => ("smooth (legato)", "smooth"),
            Some(Articulation::Staccato) if !short => ("short (staccato)", "short"),
            Some(Articulation::Detached) if !short => ("separate", "short"),
            _ => continue,
        };
        let message = format!("'{}' does not suit notes that are {notes}.", step.named());
        findings.push(RULE.at_cue(step, message, format!("Choose a {kind} move here.")));
    }
    findings
}

/// How the notes are joined in the phrase that was heard at the middle of a step; `None` outside the phrases.
fn music(scene: &Scene<'_>, heard: &Listening, step: &Step<'_>) -> Option<Articulation> {
    let middle = scene.seconds(Beat(0.5 * (step.cue.at.0 + step.until.0)));
    let phrase = heard.grid.phrase_at(heard.grid.beat_at(middle))?;
    heard.phrases.get(phrase.index).map(|phrase| phrase.articulation)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::sketch::{dance, found_in, heard, places};

    /// What is found when `march` suits these notes and the music has those in its second phrase.
    fn against(suits: &[Articulation], music: Articulation) -> Vec<Finding> {
        let dance = dance().cue(16.0, 8.0, "march").with("march", |entry| entry.suits = suits.to_vec());
        let mut heard = heard(&dance);
        heard.phrases[1].articulation = music;
        found_in("articulation", &dance, &heard)
    }

    #[test]
    fn a_short_move_to_smooth_notes_is_noted_and_the_other_way_round() {
        use Articulation::{Detached, Legato, Staccato};
        let findings = against(&[Staccato, Detached], Legato);
        assert_eq!(places(&findings), [16.0]);
        assert_eq!(findings[0].message, "'march' does not suit notes that are smooth (legato).");
        assert_eq!(findings[0].remedy, "Choose a smooth move here.");
        assert_eq!(against(&[Legato], Staccato).len(), 1);
        assert_eq!(against(&[Legato], Detached).len(), 1);
    }

    #[test]
    fn neighbours_all_rounders_and_hidden_notes_are_no_contradiction() {
        use Articulation::{Detached, Legato, Staccato, Unclear};
        assert!(against(&[Staccato], Detached).is_empty());
        assert!(against(&[], Legato).is_empty());
        assert!(against(&[Legato], Unclear).is_empty());
        assert!(against(&[Legato, Staccato], Legato).is_empty());
    }
}
