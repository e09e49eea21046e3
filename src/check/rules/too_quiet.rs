//! Recordings that a classroom will not hear.

use crate::check::scene::Scene;
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::units::Lufs;

/// Our decision: 10 LU, about half as loud, below the broadcast reference of -23 LUFS (EBU R 128).
const QUIET: Lufs = Lufs(-33.0);

pub(in crate::check) const RULE: Rule = Rule {
    id: "too-quiet",
    name: "Quiet recording",
    severity: Severity::Note,
    needs: Needs::Recording,
    asks: "The recording as a whole is not below -33 LUFS.",
    why: "Ten loudness units under the broadcast reference sound about half as loud: small speakers and thirty pairs of feet \
          cover it. Turn it up before the lesson, and down again after it.",
    source: "EBU R 128 (-23 LUFS); ten units below it are our decision",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let Some(level) = scene.heard.and_then(|heard| heard.loudness.integrated) else { return Vec::new() };
    if level.0 >= QUIET.0 || !level.0.is_finite() {
        return Vec::new();
    }
    vec![RULE.about_dance(
        format!("The recording is quiet: {:.1} LUFS, where broadcasts have -23.", level.0),
        "Try it in the room with its loudspeaker before the lesson.",
    )]
}

#[cfg(test)]
mod tests {
    use crate::check::sketch::{dance, found_in, heard};
    use crate::units::Lufs;

    #[test]
    fn ten_units_below_broadcast_level_is_quiet() {
        let dance = dance();
        let mut heard = heard(&dance);
        heard.loudness.integrated = Some(Lufs(-33.0));
        assert!(found_in("too-quiet", &dance, &heard).is_empty());
        heard.loudness.integrated = Some(Lufs(-34.0));
        assert_eq!(
            found_in("too-quiet", &dance, &heard)[0].message,
            "The recording is quiet: -34.0 LUFS, where broadcasts have -23."
        );
    }
}
