//! Words that cannot be large enough for the pupil who stands furthest away.

use crate::check::scene::Scene;
use crate::check::types::{Finding, Needs, Rule, Severity};

/// Width and height in metres of a 32-inch screen (16 by 9), the smallest that a hall is likely to have. Our decision.
const SCREEN: (f64, f64) = (0.708, 0.398);

/// Its diagonal in inches.
const INCHES: f64 = 32.0;

/// Share of the height that the words of a move may take. Our decision, after the floor's own layout.
const SHARE: f64 = 1.0 / 3.0;

/// The small letters' body as a share of a letter's height.
const BODY: f64 = 0.6;

/// Distance over letter height at 16 minutes of arc, the least size of ISO 9241-3.
const LEAST: f64 = 215.0;

pub(in crate::check) const RULE: Rule = Rule {
    id: "small-words",
    name: "Words too small for the distance",
    severity: Severity::Warning,
    needs: Needs::Dance,
    asks: "The words of every move can be set large enough for the pupil furthest from the screen.",
    why: "Long words must be set small. The words are laid on one or two lines across a 32-inch screen; where the screen of \
          your hall is larger, silence the finding with that reason.",
    source: "ISO 9241-3: 16 minutes of arc at least (distance over letter height 215); the screen is our decision",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let distance = scene.dance.profile.distance;
    let mut said: Vec<&str> = Vec::new();
    let mut findings = Vec::new();
    for step in &scene.steps {
        let reach = readable_from(step.words);
        // What is said again and again is named once; no words at all is another rule's business.
        if !(reach > 0.0 && reach < distance) || said.contains(&step.words) {
            continue;
        }
        said.push(step.words);
        findings.push(RULE.at_cue(
            step,
            format!(
                "'{}' can be read from {reach:.1} m on a {INCHES:.0}-inch screen, but the class reaches to {distance:.1} m \
                 (a screen of {:.0} inches would do).",
                step.named(),
                (INCHES * distance / reach).ceil()
            ),
            "Use shorter words, stand closer, or use a larger screen.",
        ));
    }
    findings
}

/// Metres from which words can be read when they are set as large as the screen allows; 0 for no words.
fn readable_from(words: &str) -> f64 {
    let words: Vec<usize> = words.split_whitespace().map(|word| word.chars().count()).collect();
    if words.is_empty() {
        return 0.0;
    }
    let long = |part: &[usize]| part.iter().sum::<usize>() + part.len().saturating_sub(1);
    // A letter of the block font is as wide as it is high.
    let size = |letters: usize, lines: f64| (SCREEN.0 / letters as f64).min(SCREEN.1 * SHARE / lines);
    let one = size(long(&words), 1.0);
    let two = (1..words.len()).map(|cut| size(long(&words[..cut]).max(long(&words[cut..])), 2.0));
    BODY * LEAST * two.fold(one, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::sketch::{dance, found, places};

    /// By hand: 32 inches are 708 mm across, so 24 letters are 29.5 mm wide and high, their bodies 17.7 mm; times 215, 3.81 m.
    #[test]
    fn the_distance_is_that_of_the_standard() {
        assert!((readable_from(&"m".repeat(24)) - 3.81).abs() < 0.01);
        assert_eq!(readable_from("  "), 0.0);
        assert!(
            readable_from("turn around") > readable_from("turnaroundnow"),
            "two lines are larger than one"
        );
    }

    #[test]
    fn long_words_for_a_deep_hall_are_named_once() {
        let mut dance = dance().cue(0.0, 8.0, "march").cue(8.0, 8.0, "march").saying(&"m".repeat(24));
        dance = dance.cue(16.0, 8.0, "march").saying(&"m".repeat(24));
        dance.profile.distance = 3.5;
        assert!(found("small-words", &dance).is_empty());
        dance.profile.distance = 8.0;
        let findings = found("small-words", &dance);
        assert_eq!(places(&findings), [8.0]);
        assert!(findings[0].message.contains("can be read from 3.8 m on a 32-inch screen"), "{findings:?}");
        assert!(findings[0].message.contains("(a screen of 68 inches would do)"), "{findings:?}");
    }
}
