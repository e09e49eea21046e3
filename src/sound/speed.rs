//! How fast the music runs, at its own pitch.

/// A speed in per cent of the recording's own: 50 to 110.
///
/// Slower than half, every method of stretching sounds broken; faster than a tenth, no class has asked for it. Our decision.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Speed(u8);

impl Speed {
    /// The slowest.
    pub const SLOWEST: Self = Self(50);
    /// The recording's own.
    pub const NORMAL: Self = Self(100);
    /// The fastest.
    pub const FASTEST: Self = Self(110);

    /// A speed in per cent; the nearest there is when that is too slow or too fast.
    #[must_use]
    pub fn percent(percent: u8) -> Self {
        Self(percent.clamp(Self::SLOWEST.0, Self::FASTEST.0))
    }

    /// In per cent.
    #[must_use]
    pub fn in_percent(self) -> u8 {
        self.0
    }

    /// Recording time that passes in a second.
    #[must_use]
    pub fn factor(self) -> f64 {
        f64::from(self.0) / 100.0
    }
}

impl Default for Speed {
    fn default() -> Self {
        Self::NORMAL
    }
}
