//! Beats to seconds. The tempo is straight in beats between marks, so the time of a beat has a closed form.

use crate::curve::Curve;

/// A beat that lasts longer than the tempo says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hold {
    /// The beat that is held, in beats from the start of the piece.
    pub beat: f64,
    /// How many beats longer it lasts, at the tempo of its own start.
    pub extra: f64,
}

/// The tempo of a whole piece in beats a minute, with its fermatas.
#[derive(Debug, Clone, PartialEq)]
pub struct TempoMap {
    curve: Curve,
    holds: Vec<Hold>,
}

impl TempoMap {
    /// A map from a curve of beats a minute; errors with a sentence unless every value is 20 to 400.
    pub fn new(curve: Curve, holds: Vec<Hold>) -> Result<Self, String> {
        for stretch in curve.stretches() {
            for bpm in [stretch.from, stretch.to] {
                if !(20.0..=400.0).contains(&bpm) {
                    return Err(format!("{bpm} beats a minute is outside 20 to 400"));
                }
            }
        }
        Ok(Self { curve, holds })
    }

    /// The marks.
    pub fn curve(&self) -> &Curve {
        &self.curve
    }

    /// The held beats.
    pub fn holds(&self) -> &[Hold] {
        &self.holds
    }

    /// Seconds from beat 0 to `beat` (0 or more).
    ///
    /// Where the tempo goes straight from a to b beats a minute over n beats, the time is the integral of
    /// 60 / tempo: 60 n ln(b / a) / (b - a). A held beat is stretched evenly.
    pub fn seconds_at(&self, beat: f64) -> f64 {
        let stretches = self.curve.stretches();
        let mut seconds = 0.0;
        for (index, stretch) in stretches.iter().enumerate() {
            if beat <= stretch.start {
                break;
            }
            let until = stretches.get(index + 1).map_or(beat, |next| next.start.min(beat));
            let ramp_end = stretch.end.min(until);
            if stretch.is_ramp() {
                let length = ramp_end - stretch.start;
                let slope = (stretch.to - stretch.from) / (stretch.end - stretch.start);
                seconds += 60.0 * (slope * length / stretch.from).ln_1p() / slope;
            } else {
                seconds += 60.0 * (ramp_end - stretch.start) / stretch.to;
            }
            seconds += 60.0 * (until - ramp_end) / stretch.to;
        }
        for hold in &self.holds {
            let share = (beat - hold.beat).clamp(0.0, 1.0);
            seconds += share * hold.extra * 60.0 / self.curve.at(hold.beat);
        }
        seconds
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::curve::Stretch;

    fn map(stretches: &[(f64, f64, f64, f64)], holds: &[Hold]) -> TempoMap {
        let stretches =
            stretches.iter().map(|&(start, end, from, to)| Stretch { start, end, from, to }).collect();
        TempoMap::new(Curve::new(stretches).unwrap(), holds.to_vec()).unwrap()
    }

    #[test]
    fn a_level_tempo_is_sixty_over_the_tempo() {
        let tempo = map(&[(0.0, 0.0, 120.0, 120.0)], &[]);
        assert_eq!(tempo.seconds_at(0.0), 0.0);
        assert_eq!(tempo.seconds_at(7.0), 3.5);
    }

    #[test]
    fn a_ramp_agrees_with_adding_up_thin_slices() {
        let tempo = map(&[(0.0, 0.0, 100.0, 100.0), (10.0, 82.0, 104.0, 180.0)], &[]);
        let slices = 200_000;
        let width = 90.0 / slices as f64;
        let summed: f64 =
            (0..slices).map(|i| 60.0 * width / tempo.curve().at((i as f64 + 0.5) * width)).sum();
        assert!((tempo.seconds_at(90.0) - summed).abs() < 1e-4, "{} and {summed}", tempo.seconds_at(90.0));
    }

    #[test]
    fn a_held_beat_moves_everything_after_it_and_nothing_before() {
        let free = map(&[(0.0, 0.0, 60.0, 60.0)], &[]);
        let held = map(&[(0.0, 0.0, 60.0, 60.0)], &[Hold { beat: 4.0, extra: 2.0 }]);
        assert_eq!(held.seconds_at(4.0), free.seconds_at(4.0));
        assert_eq!(held.seconds_at(5.0), free.seconds_at(5.0) + 2.0);
        assert_eq!(held.seconds_at(4.5), 5.5);
    }

    #[test]
    fn a_tempo_nobody_could_play_is_refused() {
        let curve = Curve::new(vec![Stretch { start: 0.0, end: 0.0, from: 900.0, to: 900.0 }]).unwrap();
        assert!(TempoMap::new(curve, vec![]).is_err());
    }
}
