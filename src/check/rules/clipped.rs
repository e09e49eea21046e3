//! Recordings at full scale.

use crate::check::scene::Scene;
use crate::check::types::{Finding, Needs, Rule, Severity};
use crate::units::Decibels;

/// A peak this close to full scale is full scale: one step of 8-bit audio is 0.07 dB. Our decision.
const FULL_SCALE: Decibels = Decibels(-0.05);

pub(in crate::check) const RULE: Rule = Rule {
    id: "clipped",
    name: "Perhaps clipped",
    severity: Severity::Note,
    needs: Needs::Recording,
    asks: "The loudest sample of the recording stays below full scale.",
    why: "Samples at full scale often mean that louder ones were cut off. It may sound harsh, and loudness changes near \
          there are flattened; it does not prove damage.",
    source: "EBU R 128 asks for a maximum of -1 dB true peak in production; full scale as the limit is our decision",
    look,
};

fn look(scene: &Scene<'_>) -> Vec<Finding> {
    let Some(peak) = scene.heard.map(|heard| heard.loudness.peak) else { return Vec::new() };
    if peak.0.is_nan() || peak.0 < FULL_SCALE.0 {
        return Vec::new();
    }
    vec![RULE.about_dance(
        format!(
            "The loudest sample is at {:.1} dB of full scale, so louder ones may have been cut off.",
            peak.0 + 0.0
        ),
        "Listen to the loudest place; take a better transfer if it sounds harsh.",
    )]
}

#[cfg(test)]
mod tests {
    use crate::check::sketch::{dance, found_in, heard};
    use crate::units::Decibels;

    #[test]
    fn full_scale_is_noted() {
        let dance = dance();
        let mut heard = heard(&dance);
        heard.loudness.peak = Decibels(-1.0);
        assert!(found_in("clipped", &dance, &heard).is_empty());
        heard.loudness.peak = Decibels(0.0);
        assert_eq!(found_in("clipped", &dance, &heard).len(), 1);
    }
}
