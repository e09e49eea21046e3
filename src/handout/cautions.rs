//! The cautions that stand in every hand-out, and those of the moves that a dance uses.

use crate::dance::{Cue, Dance, Move};

/// What holds for every dance, a sentence each.
///
/// Sources: afPE Safe Practice 2016 (floor, feet, landing); One Dance UK (3 square metres a child); warnings of
/// regulators on scarves and cords around necks; WHO and ITU H.870 (listening level); the rest is common practice.
pub(super) const GENERAL: &[&str] = &[
    "Your school's own rules, risk assessment and each child's health plan come first.",
    "Clear the floor: about 3 square metres a child, dry, clean, not slippery; shoes or bare feet, never socks alone.",
    "Scarves stay in the hand: never round neck, face or wrist. Agree on a stop signal.",
    "Offer the gentle version to everyone. Whoever feels pain or dizziness stops.",
    "Keep the sound as loud as speech needs, no louder.",
];

/// The moves that the cues use, in the order in which they come.
pub(super) fn moves_used(dance: &Dance) -> Vec<&Move> {
    let mut used: Vec<&Move> = Vec::new();
    for entry in dance.cues.iter().filter_map(|cue: &Cue| dance.move_of(cue)) {
        if !used.iter().any(|known| known.id == entry.id) {
            used.push(entry);
        }
    }
    used
}
