//! What the search for beats weighs, in one place: the numbers that were tried and measured.

use serde::{Deserialize, Serialize};

/// Prices and weights of the search for beats, in units of tempered log-odds unless said otherwise.
///
/// The defaults are what ships; `docs/measurements.md` has what they reach. Others are for measuring only.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Settings {
    /// Factor on all odds: neighbouring frames and repeated patterns are not independent witnesses.
    pub temper: f32,
    /// Weight of the network's odds.
    pub network: f32,
    /// Weight of the hand-made odds.
    pub plain: f32,
    /// Added to the network's odds.
    pub network_bias: f32,
    /// Added to the network's odds of a subdivision.
    pub half_bias: f32,
    /// Added to the odds of a beat before tempering.
    pub beat_bias: f32,
    /// No frame says more than this against a beat.
    pub beat_least: f32,
    /// No frame says more than this for a beat.
    pub beat_most: f32,
    /// What a missing subdivision costs at most (negative).
    pub sub_least: f32,
    /// What a subdivision earns at most.
    pub sub_most: f32,
    /// Price of being off the tempo: this times the square of the logarithm of the ratio, from a tenth on linear.
    pub off: f32,
    /// Price of drifting by one tempo bin (2 %) from beat to beat.
    pub drift: f32,
    /// Price of every further bin, squared.
    pub drift_square: f32,
    /// Up to here the music is steady: by how much beat lengths usually change from one to the next (natural logarithm).
    pub steady_to: f32,
    /// From here on it is as free as can be; between the two, prices go from one to the other.
    pub free_from: f32,
    /// `off` where it is as free as can be.
    pub free_off: f32,
    /// `drift` likewise.
    pub free_drift: f32,
    /// `drift_square` likewise.
    pub free_drift_square: f32,
    /// How far the heard pace is followed: 1 wholly, 0 not at all.
    pub pace: f32,
    /// Price of a tempo jump where the pace jumps likewise, as a share of the usual price.
    pub jump_heard: f32,
    /// Added to the price of a heard jump that is only a shadow of a clearer one.
    pub jump_rival: f32,
    /// Added to the price of a jump where the rhythm goes on at one tempo, at full steadiness.
    pub jump_against: f32,
    /// Price of a tempo jump where nothing else changes.
    pub jump: f32,
    /// Price of a tempo jump at the most striking change of level and colour.
    pub jump_marked: f32,
    /// Change in dB from which a jump grows cheaper.
    pub novelty_from: f32,
    /// Change in dB at which a jump is cheapest.
    pub novelty_to: f32,
    /// Price of changing between two and three subdivisions.
    pub resubdivide: f32,
    /// Weight of the preference for usual tempi, a second.
    pub preference: f32,
    /// The most usual tempo where the music is played as people play it, BPM.
    pub preferred: f32,
    /// `preference` where every beat is as long as the one before, as machines play it: hardly more than that quicker beats are
    /// likelier, for which the most usual tempo is out of reach.
    pub even_preference: f32,
    /// `preferred` likewise.
    pub even_preferred: f32,
    /// Up to here every beat is as long as the one before, by the same measure as `steady_to`.
    pub even_to: f32,
    /// From here on people play; between the two, prices go from one to the other.
    pub even_from: f32,
    /// Price a second of leaving the level that the teacher tapped.
    pub off_level: f32,
    /// Weight of the network's odds of a bar's first beat.
    pub bar_network: f32,
    /// Added to the network's odds of a bar's first beat.
    pub bar_bias: f32,
    /// Weight of the hand-made features of bars.
    pub bar_plain: f32,
    /// Price a second of leaving out sound at the beginning or the end.
    pub left_out: f32,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            temper: 0.37,
            network: 0.8,
            plain: 0.6,
            network_bias: 1.35,
            half_bias: 1.0,
            beat_bias: 0.06,
            beat_least: -6.0,
            beat_most: 1.6,
            sub_least: -0.25,
            sub_most: 0.3,
            off: 78.0,
            drift: 0.6,
            drift_square: 0.5,
            steady_to: 0.015,
            free_from: 0.06,
            free_off: 20.0,
            free_drift: 0.2,
            free_drift_square: 0.1,
            pace: 1.0,
            jump_heard: 0.11,
            jump_rival: 8.5,
            jump_against: 10.0,
            jump: 25.0,
            jump_marked: 8.0,
            novelty_from: 6.0,
            novelty_to: 12.0,
            resubdivide: 40.0,
            preference: 1.7,
            preferred: 100.0,
            even_preference: 0.8,
            even_preferred: 150.0,
            even_to: 0.007,
            even_from: 0.012,
            off_level: 0.6,
            bar_network: 0.6,
            bar_bias: 0.6,
            bar_plain: 0.46,
            left_out: 1.0,
        }
    }
}

impl Settings {
    /// The same for music whose beat lengths change by so much from one to the next.
    #[must_use]
    pub(crate) fn suited_to(&self, wandering: f32) -> Self {
        let along = |from: f32, to: f32, share: f32| from * (to / from).powf(share.clamp(0.0, 1.0));
        let free =
            (wandering.max(self.steady_to) / self.steady_to).ln() / (self.free_from / self.steady_to).ln();
        let played = (wandering - self.even_to) / (self.even_from - self.even_to);
        Self {
            off: along(self.off, self.free_off, free),
            drift: along(self.drift, self.free_drift, free),
            drift_square: along(self.drift_square, self.free_drift_square, free),
            preferred: along(self.even_preferred, self.preferred, played),
            preference: along(self.even_preference, self.preference, played),
            ..self.clone()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn prices_fall_from_the_steady_ones_to_the_free_ones_and_no_further() {
        let all = Settings::default();
        let prices = |wandering| {
            let suited = all.suited_to(wandering);
            [suited.off, suited.drift, suited.drift_square]
        };
        let (middle, free) = (prices(0.04), prices(all.free_from));
        for ((steady, middle), free) in [all.off, all.drift, all.drift_square].iter().zip(middle).zip(free) {
            assert!(*steady > middle && middle > free, "{steady} {middle} {free}");
        }
        assert_eq!(prices(all.steady_to), [all.off, all.drift, all.drift_square]);
        assert_eq!(prices(9.0), free);
        assert!((free[0] - all.free_off).abs() < 1e-3 && (free[1] - all.free_drift).abs() < 1e-3);
    }

    #[test]
    fn what_machines_play_is_expected_quicker_than_what_people_play() {
        let all = Settings::default();
        let expected = |wandering| all.suited_to(wandering).preferred;
        assert_eq!([0.0, all.even_to].map(expected), [all.even_preferred; 2]);
        assert!([all.even_from, 0.1, 9.0].iter().all(|w| (expected(*w) - all.preferred).abs() < 1e-3));
        let between = expected(0.5 * (all.even_to + all.even_from));
        assert!(all.preferred < between && between < all.even_preferred, "{between}");
    }
}
