//! Outlines: straight lines and curves.

/// One leg of an outline.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Leg {
    /// Begins anew here.
    Move(f64, f64),
    /// Straight to here.
    Line(f64, f64),
    /// A cubic curve by two control points to the third.
    Curve(f64, f64, f64, f64, f64, f64),
    /// Back to where it began.
    Close,
}

/// An outline.
#[derive(Debug, Clone, PartialEq, Default)]
pub(in crate::handout) struct Path(pub(super) Vec<Leg>);

/// Control points at this share of the radius make a quarter circle that is round to 0.03 %.
const ROUND: f64 = 0.5523;

impl Path {
    /// A straight line.
    pub(in crate::handout) fn line(from: (f64, f64), to: (f64, f64)) -> Self {
        Self(vec![Leg::Move(from.0, from.1), Leg::Line(to.0, to.1)])
    }

    /// A line through points; empty for none.
    pub(in crate::handout) fn through(points: impl IntoIterator<Item = (f64, f64)>) -> Self {
        let mut legs = Vec::new();
        for (x, y) in points {
            legs.push(if legs.is_empty() { Leg::Move(x, y) } else { Leg::Line(x, y) });
        }
        Self(legs)
    }

    /// The same outline, closed.
    pub(in crate::handout) fn closed(mut self) -> Self {
        self.0.push(Leg::Close);
        self
    }

    /// A rectangle with its upper left corner at `x`, `y`, its corners rounded by `round` points.
    pub(in crate::handout) fn rectangle(x: f64, y: f64, width: f64, height: f64, round: f64) -> Self {
        let (right, bottom) = (x + width, y + height);
        let r = round.min(0.5 * width).min(0.5 * height);
        if r <= 0.0 {
            return Self::through([(x, y), (right, y), (right, bottom), (x, bottom)]).closed();
        }
        let c = r * (1.0 - ROUND);
        Self(vec![
            Leg::Move(x + r, y),
            Leg::Line(right - r, y),
            Leg::Curve(right - c, y, right, y + c, right, y + r),
            Leg::Line(right, bottom - r),
            Leg::Curve(right, bottom - c, right - c, bottom, right - r, bottom),
            Leg::Line(x + r, bottom),
            Leg::Curve(x + c, bottom, x, bottom - c, x, bottom - r),
            Leg::Line(x, y + r),
            Leg::Curve(x, y + c, x + c, y, x + r, y),
            Leg::Close,
        ])
    }

    /// A circle.
    pub(in crate::handout) fn circle(x: f64, y: f64, radius: f64) -> Self {
        Self::rectangle(x - radius, y - radius, 2.0 * radius, 2.0 * radius, radius)
    }

    /// A regular polygon with `corners` corners, the first at `turn` (0 is straight up, clockwise, in full turns).
    pub(in crate::handout) fn polygon(x: f64, y: f64, radius: f64, corners: usize, turn: f64) -> Self {
        let corner = |index: usize| {
            let angle = (turn + index as f64 / corners as f64) * std::f64::consts::TAU;
            (x + radius * angle.sin(), y - radius * angle.cos())
        };
        Self::through((0..corners).map(corner)).closed()
    }

    /// A star with `points` points.
    pub(in crate::handout) fn star(x: f64, y: f64, radius: f64, points: usize) -> Self {
        let corner = |index: usize| {
            let angle = index as f64 / (2 * points) as f64 * std::f64::consts::TAU;
            let reach = if index.is_multiple_of(2) { radius } else { 0.5 * radius };
            (x + reach * angle.sin(), y - reach * angle.cos())
        };
        Self::through((0..2 * points).map(corner)).closed()
    }
}
