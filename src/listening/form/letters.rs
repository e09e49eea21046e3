//! Letters: phrases that sound alike carry the same one.

use super::likeness::Bar;
use crate::grid::Phrase;

/// Likeness of the notes from which two phrases carry the same letter. Of rendered dances whose strains are known, 95
/// in a hundred pairs of the same strain reach .6 where bars are right, and 5 in a hundred pairs of others exceed .56.
const ALIKE: f32 = 0.6;
/// Likeness under which the tune is varied.
const SAME: f32 = 0.85;
/// Difference of level and colour from which it is played otherwise: a mark of dynamics louder, or by another
/// instrument (3.5 dB as a logarithm; a step of dynamics is 3 to 6 dB in practice).
const OTHERWISE: f32 = 0.4;

/// Letters, in order of appearance, for phrases that start on these beats. A phrase is compared with the first one of
/// each letter; a prime says that it is alike, but varied, shorter or longer, or played otherwise.
pub(super) fn letters(starts: &[usize], sounds: &[Bar], bars: &[usize]) -> Vec<Phrase> {
    let first_bars: Vec<usize> =
        starts.iter().map(|start| bars.partition_point(|bar| bar < start).min(bars.len() - 1)).collect();
    let mut heads: Vec<&[Bar]> = Vec::new();
    let mut out = Vec::with_capacity(starts.len());
    for (n, &start) in starts.iter().enumerate() {
        let first = first_bars[n];
        // A phrase shorter than a bar is compared by that bar.
        let end = first_bars.get(n + 1).copied().unwrap_or(sounds.len()).max(first + 1);
        let phrase = &sounds[first..end];
        let nearest = heads
            .iter()
            .enumerate()
            .map(|(letter, head)| (letter, likeness(head, phrase)))
            .max_by(|a, b| a.1.total_cmp(&b.1));
        let letter = match nearest {
            Some((letter, alike)) if alike >= ALIKE => {
                let head = heads[letter];
                let as_long = 4 * head.len().abs_diff(phrase.len()) <= head.len();
                let same = as_long && alike >= SAME && difference(head, phrase) < OTHERWISE;
                format!("{}{}", name(letter), if same { "" } else { "'" })
            }
            _ => {
                heads.push(phrase);
                name(heads.len() - 1)
            }
        };
        out.push(Phrase { start, letter });
    }
    out
}

/// Mean likeness of the notes, bar by bar, as long as both last.
fn likeness(a: &[Bar], b: &[Bar]) -> f32 {
    a.iter().zip(b).map(|(a, b)| a.alike(b)).sum::<f32>() / a.len().min(b.len()).max(1) as f32
}

/// Mean difference of level and colour, as long as both last, natural logarithm.
fn difference(a: &[Bar], b: &[Bar]) -> f32 {
    a.iter().zip(b).map(|(a, b)| a.difference(b)).sum::<f32>() / a.len().min(b.len()).max(1) as f32
}

/// A to Z, then A2 and so on.
pub(super) fn name(index: usize) -> String {
    let letter = char::from(b'A' + (index % 26) as u8);
    if index < 26 { letter.to_string() } else { format!("{letter}{}", index / 26 + 1) }
}
