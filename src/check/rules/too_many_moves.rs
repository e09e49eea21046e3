//! More moves than a class can learn.

use crate::check::scene::Scene;
use crate::check::types::{Finding, Needs, Rule, Severity};

pub(in crate::check) const RULE: Rule = Rule {
    id: "too-many-moves",
    name: "Too many different moves",
    severity: Severity::Note,
    needs: Needs::Dance,
    asks: "A dance has no more different moves than the class can learn: 6 up to 6 years, 8 up to 8, 12 up to 11, then 16.",
    why: "Every new move is something to read; a repeated one is danced with the head up.",
    source: "our decision",
    look,
};

/// Our decision.
fn most(age: u8) -> usize {
    match age {
        0..=6 => 6,
        7 | 8 => 8,
        9..=11 => 12,
        _ => 16,
    }
}

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let used = scene.moves_used().len();
    let age = scene.dance.profile.age;
    if used <= most(age) {
        return Vec::new();
    }
    vec![RULE.about_dance(
        format!("The dance has {used} different moves; at {age} years, {} are plenty.", most(age)),
        "Repeat a move where the music repeats.",
    )]
}

#[cfg(test)]
mod tests {
    use crate::check::sketch::{dance, found};

    #[test]
    fn the_younger_the_class_the_fewer_the_moves() {
        let ids = ["clap", "freeze", "jump", "march", "side", "sway", "walk"];
        let dance = |age| {
            let cue = |dance: crate::dance::Dance, (place, id): (usize, &&str)| {
                dance.cue(place as f64 * 8.0, 8.0, id)
            };
            ids.iter().enumerate().fold(dance().aged(age), cue)
        };
        assert!(found("too-many-moves", &dance(7)).is_empty());
        let findings = found("too-many-moves", &dance(6));
        assert_eq!(findings[0].message, "The dance has 7 different moves; at 6 years, 6 are plenty.");
    }
}
