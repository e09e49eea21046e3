//! Long silences inside the dance.

use crate::check::scene::Scene;
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::check::wording::seconds;
use crate::units::Seconds;

/// Our decision: longer than any rest is danced.
const LONG: Seconds = Seconds(4.0);

/// The absolute gate of EBU R 128: what is softer does not count as sound.
const SILENT_LUFS: f32 = -70.0;

pub(in crate::check) const RULE: Rule = Rule {
    id: "long-silence",
    name: "Long silence",
    severity: Severity::Note,
    needs: Needs::BeatsAndRecording,
    asks: "Between the first cue and the last there is no silence of four seconds or more.",
    why: "A class takes a long silence for the end, or for a fault. If it is meant, prepare it with a prompt.",
    source: "silence: the absolute gate of EBU R 128 (-70 LUFS); four seconds: our decision",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let (Some(heard), Some(first), Some(last)) = (scene.heard, scene.steps.first(), scene.steps.last())
    else {
        return Vec::new();
    };
    let contour = &heard.loudness.momentary;
    let (from, to) = (scene.seconds(first.cue.at), scene.seconds(last.until));
    let silent = |level: &f32| *level < SILENT_LUFS;
    let mut findings = Vec::new();
    let mut place = 0;
    for run in contour.values.chunk_by(|before, after| silent(before) == silent(after)) {
        let start = Seconds(place as f64 * contour.step.0);
        let lasts = Seconds(run.len() as f64 * contour.step.0);
        place += run.len();
        if run.first().is_some_and(silent)
            && lasts.0 >= LONG.0
            && start.0 >= from.0
            && start.plus(lasts).0 <= to.0
        {
            findings.push(RULE.at(
                scene.dance.grid.beat_at(start),
                format!("The recording is silent for {}.", seconds(lasts)),
                "Prepare the class for it with a prompt or a freeze.",
            ));
        }
    }
    findings
}

#[cfg(test)]
mod tests {
    use crate::check::sketch::{dance, found_in, heard, places};

    #[test]
    fn four_seconds_of_silence_inside_the_dance_are_noted() {
        let dance = dance().cue(0.0, 8.0, "march").cue(48.0, 8.0, "march");
        let mut heard = heard(&dance);
        heard.loudness.momentary.values[100..139].fill(-120.0);
        assert!(found_in("long-silence", &dance, &heard).is_empty());
        heard.loudness.momentary.values[100..140].fill(-120.0);
        let findings = found_in("long-silence", &dance, &heard);
        assert_eq!(places(&findings), [18.0]);
        assert_eq!(findings[0].message, "The recording is silent for 4.0 s.");
    }

    #[test]
    fn silence_after_the_dance_is_nobodys_matter() {
        let dance = dance().cue(0.0, 8.0, "march");
        let mut heard = heard(&dance);
        heard.loudness.momentary.values[100..200].fill(-120.0);
        assert!(found_in("long-silence", &dance, &heard).is_empty());
    }
}
