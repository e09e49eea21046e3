//! Recordings without a beat that a class can follow.

use crate::check::scene::Scene;
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::listening::Pulse;

pub(in crate::check) const RULE: Rule = Rule {
    id: "no-clear-beat",
    name: "No clear beat heard",
    severity: Severity::Warning,
    needs: Needs::Recording,
    asks: "The recording has a beat that can be heard.",
    why: "A grid can be tapped over anything, but a class follows only what it hears. Once you have tapped or \
          corrected the beat, this is silent.",
    source: "our decision",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let Some(heard) = scene.heard.filter(|_| scene.dance.anchors.is_empty()) else { return Vec::new() };
    let (message, remedy) = match heard.pulse {
        Pulse::Clear => return Vec::new(),
        Pulse::Unsure => (
            "Large parts of the beat are doubtful.",
            "Listen to it with the click, and tap where it is wrong.",
        ),
        Pulse::None => ("No clear beat was heard.", "Tap along with it, or choose music with a beat."),
        Pulse::Silent => ("The recording is silent.", "Choose another recording."),
        Pulse::TooShort => ("The recording is too short to find a beat.", "Choose a longer recording."),
    };
    vec![RULE.about_dance(message.into(), remedy)]
}

#[cfg(test)]
mod tests {
    use crate::check::sketch::{dance, found_in, heard};
    use crate::grid::Anchor;
    use crate::listening::Pulse;
    use crate::units::Seconds;

    #[test]
    fn anything_but_a_clear_beat_is_reported_until_tapped() {
        let mut dance = dance();
        let mut heard = heard(&dance);
        assert!(found_in("no-clear-beat", &dance, &heard).is_empty());
        for pulse in [Pulse::Unsure, Pulse::None, Pulse::Silent, Pulse::TooShort] {
            heard.pulse = pulse;
            assert_eq!(found_in("no-clear-beat", &dance, &heard).len(), 1, "{pulse:?}");
        }
        dance.anchors.push(Anchor::Tap { at: Seconds(1.0) });
        assert!(found_in("no-clear-beat", &dance, &heard).is_empty());
    }
}
