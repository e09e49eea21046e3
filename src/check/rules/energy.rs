//! Moves wilder or tamer than the music.

use crate::check::replacing::replaced;
use crate::check::scene::{Scene, Step};
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::dance::{Move, StepKind};
use crate::listening::{Dynamic, Listening};
use crate::units::{Beat, Lufs};

/// Our decision: of five levels of energy, three apart is a contradiction.
const CONTRADICTION: u8 = 3;

/// Our decision: from this energy a move is too wild for a soft passage.
const WILD: u8 = 4;

pub(in crate::check) const RULE: Rule = Rule {
    id: "energy",
    name: "Energy against the music",
    severity: Severity::Note,
    needs: Needs::BeatsAndRecording,
    asks: "A move asks about as much of the body as the music does there.",
    why: "The music's energy comes from its loudness within this recording, its tempo and its notes; the move's stands in \
          the move book. Wild moves in a soft passage are called out even where the tempo is high, since loudness \
          is what the class is shown. A freeze is a contrast of its own and is left out.",
    source: "our decision; markings have no fixed level (Kosta et al. 2016 to 2018), so loudness is relative",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    for step in &scene.steps {
        let Some(entry) = step.movement else { continue };
        let Some(against) = against(scene, step, entry) else { continue };
        let energy = entry.energy.level();
        let (place, calmer) = match against {
            Against::Soft(Dynamic::Pp) => ("is very soft (pp)".into(), true),
            Against::Soft(_) => ("is soft (p)".into(), true),
            Against::Energy(music) => (format!("has {music}"), music < energy),
        };
        let message = format!("'{}' asks energy {energy} of 5 where the music {place}.", step.named());
        let remedy = if calmer { "Choose a calmer move here." } else { "Choose a livelier move here." };
        let finding = RULE.at_cue(step, message, remedy);
        findings.push(replaced(scene, step, finding, |entry| fits(scene, step, entry)));
    }
    findings
}

/// What a move contradicts.
enum Against {
    /// A passage that is as soft as this.
    Soft(Dynamic),
    /// Music of this energy.
    Energy(u8),
}

/// What of the music a move contradicts in a step's place, if anything.
fn against(scene: &Scene<'_>, step: &Step<'_>, entry: &Move) -> Option<Against> {
    let heard = scene.heard.filter(|_| entry.step != StepKind::Freeze)?;
    let energy = entry.energy.level();
    let soft = mark(scene, heard, step).filter(|&mark| mark <= Dynamic::P && energy >= WILD);
    let apart = |music: &u8| music.abs_diff(energy) >= CONTRADICTION;
    soft.map(Against::Soft).or_else(|| scene.music_energy(step).filter(apart).map(Against::Energy))
}

/// Whether a move in a step's place asks about as much as the music.
pub(super) fn fits(scene: &Scene<'_>, step: &Step<'_>, entry: &Move) -> bool {
    against(scene, step, entry).is_none()
}

/// The dynamic mark of the median loudness under a step; `None` where dynamics are flat or nothing is heard.
fn mark(scene: &Scene<'_>, heard: &Listening, step: &Step<'_>) -> Option<Dynamic> {
    if heard.dynamics.flat() || heard.loudness.short_term.values.is_empty() {
        return None;
    }
    let contour = &heard.loudness.short_term;
    // Half-way through a whole beat is as near as a three-second window can tell.
    let beats = scene.tempi_under(step).len();
    let mut levels: Vec<f32> = (0..beats)
        .filter_map(|beat| contour.at(scene.seconds(Beat(step.cue.at.0.max(0.0) + beat as f64 + 0.5))))
        .collect();
    levels.sort_by(f32::total_cmp);
    heard.dynamics.mark(Lufs(f64::from(*levels.get(levels.len() / 2)?)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::sketch::{dance, found_in, heard, places};
    use crate::dance::Energy;

    #[test]
    fn energy_three_levels_from_the_musics_is_noted() {
        let dance = dance().cue(0.0, 8.0, "march").cue(16.0, 8.0, "march");
        let with = |level| {
            let mut heard = heard(&dance);
            heard.phrases[1].energy = level;
            let dance = dance.clone().with("march", |entry| entry.energy = Energy::new(4).expect("in range"));
            found_in("energy", &dance, &heard)
        };
        assert!(with(2).is_empty());
        let findings = with(1);
        assert_eq!(places(&findings), [16.0]);
        assert_eq!(findings[0].message, "'march' asks energy 4 of 5 where the music has 1.");
        assert!(findings[0].remedy.starts_with("Choose a calmer move here."));
    }

    #[test]
    fn a_wild_move_in_a_soft_passage_is_noted() {
        let dance = dance()
            .cue(0.0, 8.0, "march")
            .cue(16.0, 8.0, "march")
            .with("march", |entry| entry.energy = Energy::new(5).expect("in range"));
        let mut heard = heard(&dance);
        heard.dynamics.marks =
            vec![(Dynamic::P, Lufs(-60.0)), (Dynamic::Mf, Lufs(-25.0)), (Dynamic::F, Lufs(-15.0))];
        assert!(found_in("energy", &dance, &heard).is_empty());
        // Soft until 8 s; the second cue begins at 1 s + 16 * 0.5 s = 9 s.
        heard.loudness.short_term.values[..80].fill(-30.0);
        let findings = found_in("energy", &dance, &heard);
        assert_eq!(places(&findings), [0.0]);
        assert_eq!(findings[0].message, "'march' asks energy 5 of 5 where the music is soft (p).");
    }
}
