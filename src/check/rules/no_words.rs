//! A cue that puts nothing on the screen.

use crate::check::scene::Scene;
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::dance::reading::count_words;

pub(in crate::check) const RULE: Rule = Rule {
    id: "no-words",
    name: "Cue without words",
    severity: Severity::Problem,
    needs: Needs::Dance,
    asks: "Every cue has something to read.",
    why: "A sign alone is a guess; the words are what the class is taught.",
    source: "our decision",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let silent = scene.steps.iter().filter(|step| count_words(step.words) == 0);
    silent
        .map(|step| {
            RULE.at_cue(step, "The cue has no words to read.".into(), "Give it one to four words, or a move.")
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use crate::check::sketch::{dance, found, places};

    #[test]
    fn a_sign_alone_is_no_call() {
        let dance = dance().cue(0.0, 8.0, "march").cue(8.0, 8.0, "march").saying(" \u{2192} ");
        assert_eq!(places(&found("no-words", &dance)), [8.0]);
    }
}
