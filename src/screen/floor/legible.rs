//! From how far the words can be read.

/// Height of a 13.3-inch screen (16:9) in metres: the smallest screen a class is likely to be shown, as the window's real
/// size cannot be known.
const SCREEN: f64 = 0.1656;

/// Distance over letter height at 20 minutes of arc (ISO 9241-3): the preferred size of letters.
const PREFERRED: f64 = 172.0;

/// A block letter's readable height (the small letters' body) as a share of the rows it takes.
const BODY: f64 = 0.6;

/// Metres from which letters `letter_rows` high can be read, when a window of `window_rows` fills a 13-inch screen.
/// 0 for an empty window.
pub(super) fn readable_from(letter_rows: f64, window_rows: u16) -> f64 {
    if window_rows == 0 {
        return 0.0;
    }
    BODY * letter_rows * SCREEN / f64::from(window_rows) * PREFERRED
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_distances_are_those_of_the_standard() {
        // Worked values for 24 rows on a 13.3-inch screen: ordinary letters to 0.7 m; 3-row letters to 2 m;
        // 4 to 5 rows to 3 m.
        assert!((readable_from(1.0, 24) - 0.7).abs() < 0.05);
        assert!((readable_from(3.0, 24) - 2.0).abs() < 0.2);
        assert!(readable_from(4.0, 24) < 3.0 && readable_from(5.0, 24) > 3.0);
        assert_eq!(readable_from(4.0, 0), 0.0);
    }
}
