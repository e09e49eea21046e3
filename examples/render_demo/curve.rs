//! A quantity that is level, then ramps, then is level again, over the beats of a piece: what a tempo or
//! a dynamic mark does. It knows nothing of seconds or loudness.

/// One mark: the value jumps to `from` at beat `start` and moves in a straight line to `to` at beat `end`.
///
/// A level has `from == to` and `start == end`. After `end` the value stays `to` until the next stretch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Beats from the start of the piece.
    pub start: f64,
    /// Beats; never before `start`.
    pub end: f64,
    /// The value at `start`.
    pub from: f64,
    /// The value at `end` and after it.
    pub to: f64,
}

impl Stretch {
    /// Whether the value moves between `start` and `end`.
    pub fn is_ramp(&self) -> bool {
        self.end > self.start && self.from != self.to
    }
}

/// Stretches in ascending order that do not overlap; never empty and always starting at beat 0.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve(Vec<Stretch>);

impl Curve {
    /// A curve from its stretches.
    ///
    /// Errors with a sentence when there is none, the first is not at beat 0, or two overlap.
    pub fn new(stretches: Vec<Stretch>) -> Result<Self, String> {
        match stretches.first() {
            None => return Err("at least one mark is needed".into()),
            Some(first) if first.start != 0.0 => return Err("the first mark must stand at bar 1".into()),
            Some(_) => {}
        }
        for pair in stretches.windows(2) {
            if pair[1].start < pair[0].end || pair[1].start <= pair[0].start {
                return Err(format!(
                    "the mark on beat {} begins before the one on beat {} is over",
                    pair[1].start, pair[0].start
                ));
            }
        }
        Ok(Self(stretches))
    }

    /// The stretches, ascending.
    pub fn stretches(&self) -> &[Stretch] {
        &self.0
    }

    /// The value at a beat; before beat 0 it is the first value.
    pub fn at(&self, beat: f64) -> f64 {
        let index = self.0.partition_point(|s| s.start <= beat).max(1) - 1;
        let stretch = self.0[index];
        if !stretch.is_ramp() || beat >= stretch.end {
            return stretch.to;
        }
        let share = ((beat - stretch.start) / (stretch.end - stretch.start)).max(0.0);
        stretch.from + (stretch.to - stretch.from) * share
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn level(start: f64, value: f64) -> Stretch {
        Stretch { start, end: start, from: value, to: value }
    }

    #[test]
    fn a_ramp_is_straight_and_its_end_value_lasts() {
        let ramp = Stretch { start: 4.0, end: 8.0, from: 100.0, to: 140.0 };
        let curve = Curve::new(vec![level(0.0, 90.0), ramp, level(12.0, 60.0)]).unwrap();
        for (beat, value) in
            [(-1.0, 90.0), (3.9, 90.0), (4.0, 100.0), (6.0, 120.0), (8.0, 140.0), (11.9, 140.0), (12.0, 60.0)]
        {
            assert_eq!(curve.at(beat), value, "at beat {beat}");
        }
    }

    #[test]
    fn overlapping_marks_and_a_late_first_mark_are_refused() {
        let ramp = Stretch { start: 0.0, end: 8.0, from: 1.0, to: 2.0 };
        assert!(Curve::new(vec![ramp, level(4.0, 3.0)]).is_err());
        assert!(Curve::new(vec![level(1.0, 3.0)]).is_err());
        assert!(Curve::new(vec![]).is_err());
    }
}
