//! The rules, one a file, and the table that lists them.
//!
//! A rule reads the scene and returns findings; it knows nothing of other rules, of silencing, or of how findings are shown.
//! Its numbers stand at its top with their source.

mod articulation;
mod beat_level;
mod before_start;
mod clipped;
mod energy;
mod freeze_off_rest;
mod gap;
mod grid_unsure;
mod jump_bout;
mod long_silence;
mod long_turning;
mod move_tempo;
mod no_beats;
mod no_caution;
mod no_clear_beat;
mod no_gentle_version;
mod no_words;
mod not_heard;
mod not_on_one;
mod off_grid;
mod one_sided;
mod other_recording;
mod overlap;
mod past_end;
mod phrase_unmarked;
mod rest_danced_through;
mod same_move_long;
mod short_lead;
mod small_words;
mod step_rate;
mod too_brief;
mod too_little_time;
mod too_many_moves;
mod too_many_words;
mod too_quiet;
mod turn_contradicted;
mod turn_missed;
mod turn_nearly_met;
mod unknown_move;
mod unusable_cue;

use super::scene::{Scene, Step};
use super::types::Rule;
use crate::dance::Move;

/// Whether a move would do in a step's place, by the rules that look at a move in its place alone.
pub(super) fn suits(scene: &Scene<'_>, step: &Step<'_>, entry: &Move) -> bool {
    step_rate::fits(scene, step, entry)
        && move_tempo::fits(scene, step, entry)
        && energy::fits(scene, step, entry)
        && articulation::fits(scene, step, entry)
}

/// Why a move would not do in a step's place, in a few words that the editor puts beside it; `None` when it would.
pub(super) fn unsuited(scene: &Scene<'_>, step: &Step<'_>, entry: &Move) -> Option<&'static str> {
    if !(move_tempo::fits(scene, step, entry) && step_rate::fits(scene, step, entry)) {
        let tempi = scene.tempi_under(step);
        let mean = tempi.iter().map(|tempo| tempo.0).sum::<f64>() / tempi.len().max(1) as f64;
        let middle = 0.5 * (entry.tempo.slowest.0 + entry.tempo.fastest.0);
        return Some(if mean > middle { "music too fast" } else { "music too slow" });
    }
    if !energy::fits(scene, step, entry) {
        let livelier = scene.music_energy(step).is_none_or(|music| entry.energy.level() > music);
        return Some(if livelier { "livelier than the music" } else { "calmer than the music" });
    }
    (!articulation::fits(scene, step, entry)).then_some("unlike the notes")
}

/// Every rule, in the order in which they are looked at.
pub const RULES: &[Rule] = &[
    not_heard::RULE,
    no_beats::RULE,
    other_recording::RULE,
    no_clear_beat::RULE,
    clipped::RULE,
    too_quiet::RULE,
    unusable_cue::RULE,
    unknown_move::RULE,
    no_words::RULE,
    before_start::RULE,
    past_end::RULE,
    overlap::RULE,
    turn_missed::RULE,
    turn_nearly_met::RULE,
    turn_contradicted::RULE,
    freeze_off_rest::RULE,
    rest_danced_through::RULE,
    off_grid::RULE,
    not_on_one::RULE,
    phrase_unmarked::RULE,
    grid_unsure::RULE,
    too_little_time::RULE,
    short_lead::RULE,
    too_brief::RULE,
    too_many_words::RULE,
    small_words::RULE,
    beat_level::RULE,
    move_tempo::RULE,
    step_rate::RULE,
    jump_bout::RULE,
    long_turning::RULE,
    no_gentle_version::RULE,
    no_caution::RULE,
    energy::RULE,
    articulation::RULE,
    one_sided::RULE,
    same_move_long::RULE,
    too_many_moves::RULE,
    gap::RULE,
    long_silence::RULE,
];
