//! Colours: few, from the Okabe-Ito set, safe for colour-blind eyes, and never the only carrier of a meaning.
//!
//! Text keeps a contrast of 7:1 or more (WCAG 2.2, 1.4.6), drawn things 3:1 (1.4.11); a test computes both. The
//! screen asks for a role ([`Ink`]), never for a colour.

use ratatui::style::{Color, Modifier, Style};

/// Dark letters on white, or light ones on black.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[allow(missing_docs, reason = "dark and light")]
pub enum Theme {
    #[default]
    Dark,
    Light,
}

/// How many colours the terminal has.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Depth {
    /// 24 bits.
    #[default]
    Full,
    /// The 256 of the colour cube.
    Cube,
    /// The sixteen named ones, whose shades the terminal's owner chose.
    Sixteen,
    /// None: weights only.
    None,
}

/// What a colour is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ink {
    /// The move now, and whatever must be read first.
    Now,
    /// The move that is called next.
    Next,
    /// Small text for the teacher.
    Quiet,
    /// A stone still to be crossed.
    Stone,
    /// A stone behind.
    Crossed,
    /// The hillside.
    Hill,
    /// The leader who walks the trail.
    Leader,
    /// Questions, warnings and landmarks.
    Mark,
}

impl Ink {
    /// Every role.
    pub const ALL: [Self; 8] = [
        Self::Now,
        Self::Next,
        Self::Quiet,
        Self::Stone,
        Self::Crossed,
        Self::Hill,
        Self::Leader,
        Self::Mark,
    ];

    /// Whether words are written in it.
    #[must_use]
    pub fn is_text(self) -> bool {
        matches!(self, Self::Now | Self::Next | Self::Quiet | Self::Mark)
    }
}

/// The colours of one terminal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Palette {
    /// Dark or light.
    pub theme: Theme,
    /// What the terminal can show.
    pub depth: Depth,
}

/// Red, green and blue.
type Rgb = (u8, u8, u8);

impl Depth {
    /// What the environment promises: `NO_COLOR`, `COLORTERM` and `TERM`, looked up by `get`.
    #[must_use]
    pub fn promised(get: impl Fn(&str) -> Option<String>) -> Self {
        let says = |name, words: &[&str]| {
            get(name).is_some_and(|value| words.iter().any(|word| value.contains(word)))
        };
        if get("NO_COLOR").is_some_and(|value| !value.is_empty()) || says("TERM", &["dumb"]) {
            Self::None
        } else if says("COLORTERM", &["truecolor", "24bit"]) || says("TERM", &["direct"]) {
            Self::Full
        } else if says("TERM", &["256color"]) || get("WT_SESSION").is_some() {
            Self::Cube
        } else {
            Self::Sixteen
        }
    }
}

impl Palette {
    /// The style of a role, background included, so that a light terminal does not show through.
    #[must_use]
    pub fn style(self, ink: Ink) -> Style {
        let weight = match ink {
            Ink::Now | Ink::Next | Ink::Mark | Ink::Leader => Modifier::BOLD,
            Ink::Crossed if self.depth == Depth::None => Modifier::DIM,
            _ => Modifier::empty(),
        };
        let style = Style::default().add_modifier(weight);
        match self.depth {
            Depth::None => style,
            Depth::Full => {
                let (r, g, b) = rgb(self.theme, ink);
                let (x, y, z) = ground(self.theme);
                style.fg(Color::Rgb(r, g, b)).bg(Color::Rgb(x, y, z))
            }
            Depth::Cube => style
                .fg(Color::Indexed(in_cube(rgb(self.theme, ink))))
                .bg(Color::Indexed(in_cube(ground(self.theme)))),
            Depth::Sixteen => style.fg(named(self.theme, ink)).bg(match self.theme {
                Theme::Dark => Color::Black,
                Theme::Light => Color::White,
            }),
        }
    }

    /// The style of an empty screen.
    #[must_use]
    pub fn ground(self) -> Style {
        self.style(Ink::Quiet)
    }
}

/// Okabe and Ito 2002, with black, white and greys.
fn rgb(theme: Theme, ink: Ink) -> Rgb {
    const ORANGE: Rgb = (0xE6, 0x9F, 0x00);
    const SKY: Rgb = (0x56, 0xB4, 0xE9);
    const GREEN: Rgb = (0x00, 0x9E, 0x73);
    const YELLOW: Rgb = (0xF0, 0xE4, 0x42);
    const BLUE: Rgb = (0x00, 0x72, 0xB2);
    const VERMILION: Rgb = (0xD5, 0x5E, 0x00);
    const BLACK: Rgb = (0, 0, 0);
    match (theme, ink) {
        (Theme::Dark, Ink::Now) => (0xFF, 0xFF, 0xFF),
        (Theme::Dark, Ink::Next) => SKY,
        (Theme::Dark, Ink::Quiet) => (0xC0, 0xC0, 0xC0),
        (Theme::Dark, Ink::Stone) => YELLOW,
        (Theme::Dark, Ink::Crossed) => (0x76, 0x76, 0x76),
        (Theme::Dark, Ink::Leader | Ink::Mark) => ORANGE,
        (Theme::Dark, Ink::Hill) => GREEN,
        (Theme::Light, Ink::Now | Ink::Next | Ink::Mark | Ink::Leader) => BLACK,
        (Theme::Light, Ink::Quiet) => (0x4A, 0x4A, 0x4A),
        (Theme::Light, Ink::Stone) => VERMILION,
        (Theme::Light, Ink::Crossed) => (0x8C, 0x8C, 0x8C),
        (Theme::Light, Ink::Hill) => BLUE,
    }
}

fn ground(theme: Theme) -> Rgb {
    match theme {
        Theme::Dark => (0, 0, 0),
        Theme::Light => (0xFF, 0xFF, 0xFF),
    }
}

/// The nearest colour of the 6x6x6 cube and the grey ramp of xterm's 256 (indices 16 to 255).
fn in_cube(colour: Rgb) -> u8 {
    let distance = |index: u8| {
        let (r, g, b) = cube(index);
        [(r, colour.0), (g, colour.1), (b, colour.2)]
            .map(|(a, b)| (i32::from(a) - i32::from(b)).pow(2))
            .iter()
            .sum::<i32>()
    };
    (16..=255).min_by_key(|&index| distance(index)).unwrap_or(16)
}

/// What xterm shows for an index from 16 up.
fn cube(index: u8) -> Rgb {
    if index >= 232 {
        let grey = 8 + 10 * (index - 232);
        return (grey, grey, grey);
    }
    let level = |step: u8| if step == 0 { 0 } else { 55 + 40 * step };
    let place = index - 16;
    (level(place / 36), level(place / 6 % 6), level(place % 6))
}

fn named(theme: Theme, ink: Ink) -> Color {
    match (theme, ink) {
        (Theme::Dark, Ink::Now) => Color::White,
        (Theme::Dark, Ink::Next) => Color::LightCyan,
        (Theme::Dark, Ink::Quiet) => Color::Gray,
        (Theme::Dark, Ink::Stone | Ink::Mark | Ink::Leader) => Color::LightYellow,
        (Theme::Dark, Ink::Crossed) => Color::DarkGray,
        (Theme::Dark, Ink::Hill) => Color::Green,
        (Theme::Light, Ink::Hill) => Color::Blue,
        (Theme::Light, Ink::Stone) => Color::Red,
        (Theme::Light, Ink::Crossed) => Color::DarkGray,
        (Theme::Light, _) => Color::Black,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// WCAG 2.2's relative luminance and contrast ratio.
    fn contrast(a: Rgb, b: Rgb) -> f64 {
        let luminance = |(r, g, b): Rgb| {
            let linear = |c: u8| {
                let c = f64::from(c) / 255.0;
                if c <= 0.040_45 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
            };
            0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b)
        };
        let (a, b) = (luminance(a) + 0.05, luminance(b) + 0.05);
        (a / b).max(b / a)
    }

    #[test]
    fn contrast_is_computed_as_published() {
        // Values of WCAG practice and of the Okabe-Ito palette on black and white, to 0.01.
        let white = (255, 255, 255);
        for (colour, other, ratio) in [
            ((0x77, 0x77, 0x77), white, 4.478),
            ((0x59, 0x59, 0x59), white, 7.005),
            ((0xE6, 0x9F, 0x00), (0, 0, 0), 9.32),
            ((0x56, 0xB4, 0xE9), (0, 0, 0), 9.10),
            ((0xF0, 0xE4, 0x42), (0, 0, 0), 15.88),
            ((0x00, 0x72, 0xB2), white, 5.19),
            ((0xD5, 0x5E, 0x00), white, 3.87),
        ] {
            assert!(
                (contrast(colour, other) - ratio).abs() < 0.011,
                "{colour:?}: {}",
                contrast(colour, other)
            );
        }
    }

    #[test]
    fn text_has_seven_to_one_and_drawings_three_to_one() {
        for theme in [Theme::Dark, Theme::Light] {
            for ink in Ink::ALL {
                let least = if ink.is_text() { 7.0 } else { 3.0 };
                let full = contrast(rgb(theme, ink), ground(theme));
                assert!(full >= least, "{theme:?} {ink:?}: {full:.2}");
                let cubed = contrast(cube(in_cube(rgb(theme, ink))), cube(in_cube(ground(theme))));
                assert!(cubed >= least, "{theme:?} {ink:?} of 256: {cubed:.2}");
            }
        }
    }

    #[test]
    fn the_environment_decides_how_many_colours() {
        let given = |pairs: &'static [(&str, &str)]| {
            Depth::promised(|name| {
                pairs.iter().find(|(key, _)| *key == name).map(|(_, value)| (*value).to_owned())
            })
        };
        assert_eq!(given(&[("NO_COLOR", "1"), ("COLORTERM", "truecolor")]), Depth::None);
        assert_eq!(given(&[("NO_COLOR", ""), ("COLORTERM", "24bit")]), Depth::Full);
        assert_eq!(given(&[("TERM", "screen-256color")]), Depth::Cube);
        assert_eq!(given(&[("TERM", "linux")]), Depth::Sixteen);
        assert_eq!(given(&[("TERM", "dumb")]), Depth::None);
    }

    #[test]
    fn without_colours_nothing_is_coloured() {
        let palette = Palette { depth: Depth::None, ..Palette::default() };
        for ink in Ink::ALL {
            assert_eq!((palette.style(ink).fg, palette.style(ink).bg), (None, None));
        }
    }
}
