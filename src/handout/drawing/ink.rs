//! The few colours, which are never the only carrier of a meaning.

/// A colour, red, green and blue.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::handout) struct Ink(
    pub(in crate::handout) u8,
    pub(in crate::handout) u8,
    pub(in crate::handout) u8,
);

/// The set of Okabe and Ito, "Color Universal Design" (2002, revised 2008), told apart with every common form of colour
/// vision, beside black, white and greys.
impl Ink {
    pub(in crate::handout) const BLACK: Self = Self(0, 0, 0);
    pub(in crate::handout) const WHITE: Self = Self(255, 255, 255);
    /// Text of lesser weight: 7.0 to 1 on white (WCAG 2.2, enhanced contrast).
    pub(in crate::handout) const GREY: Self = Self(0x59, 0x59, 0x59);
    pub(in crate::handout) const PALE: Self = Self(0xc8, 0xc8, 0xc8);
    pub(in crate::handout) const ORANGE: Self = Self(0xe6, 0x9f, 0x00);
    pub(in crate::handout) const SKY: Self = Self(0x56, 0xb4, 0xe9);
    pub(in crate::handout) const GREEN: Self = Self(0x00, 0x9e, 0x73);
    pub(in crate::handout) const YELLOW: Self = Self(0xf0, 0xe4, 0x42);
    pub(in crate::handout) const BLUE: Self = Self(0x00, 0x72, 0xb2);
    pub(in crate::handout) const VERMILION: Self = Self(0xd5, 0x5e, 0x00);
    pub(in crate::handout) const PURPLE: Self = Self(0xcc, 0x79, 0xa7);

    /// This colour thinned with white: 1 leaves it, 0 is white.
    pub(in crate::handout) fn tint(self, share: f64) -> Self {
        let thin = |part: u8| (255.0 - (255.0 - f64::from(part)) * share.clamp(0.0, 1.0)).round() as u8;
        Self(thin(self.0), thin(self.1), thin(self.2))
    }
}
