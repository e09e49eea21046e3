//! Smooth moves to short notes, and the other way round.

use crate::check::replacing::replaced;
use crate::check::scene::{Scene, Step};
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::dance::Move;
use crate::listening::Articulation;

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
    let mut findings = Vec::new();
    for step in &scene.steps {
        let Some(notes) = step.movement.and_then(|entry| against(scene, step, entry)) else { continue };
        let (notes, kind) = match notes {
            Articulation::Legato => ("smooth (legato)", "smooth"),
            Articulation::Staccato => ("short (staccato)", "short"),
            _ => ("separate", "short"),
        };
        let message = format!("'{}' does not suit notes that are {notes}.", step.named());
        let finding = RULE.at_cue(step, message, format!("Choose a {kind} move here."));
        // One that suits all would not show how the notes are joined.
        let shows = |entry: &Move| !entry.suits.is_empty() && fits(scene, step, entry);
        findings.push(replaced(scene, step, finding, shows));
    }
    findings
}

/// How the notes are joined in the phrase at the middle of a step, where a move there contradicts them.
fn against(scene: &Scene<'_>, step: &Step<'_>, entry: &Move) -> Option<Articulation> {
    let suits = |articulation| entry.suits.contains(&articulation);
    let short = suits(Articulation::Staccato) || suits(Articulation::Detached);
    let notes = scene.phrase_under(step)?.articulation;
    let contradicts = match notes {
        Articulation::Legato => !suits(Articulation::Legato),
        Articulation::Staccato | Articulation::Detached => !short,
        Articulation::Unclear => false,
    };
    (contradicts && !entry.suits.is_empty()).then_some(notes)
}

/// Whether a move in a step's place goes with the notes.
pub(super) fn fits(scene: &Scene<'_>, step: &Step<'_>, entry: &Move) -> bool {
    against(scene, step, entry).is_none()
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
        assert!(findings[0].remedy.starts_with("Choose a smooth move here."));
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
