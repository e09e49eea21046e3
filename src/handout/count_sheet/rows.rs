//! Which counts go into which row, and which part of which cue into each.

use crate::dance::{Cue, Dance};
use crate::grid::PhraseSpan;
use crate::units::Beat;

/// Counts in a row: two eights, as wide as can be read from a stand. Common practice, no source.
const LONGEST: usize = 16;

/// One row of counts.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Row<'a> {
    /// The phrase it belongs to; `None` for counts before the first phrase.
    pub(super) phrase: Option<PhraseSpan<'a>>,
    /// Whether the phrase begins with it.
    pub(super) begins: bool,
    /// Its first beat.
    pub(super) from: Beat,
    /// One past its last beat.
    pub(super) until: Beat,
    /// The number of its first count.
    pub(super) first_count: usize,
    /// The parts of cues in it, by ascending start.
    pub(super) boxes: Vec<Part>,
    /// Prompts asked in it, as indices of the dance.
    pub(super) prompts: Vec<usize>,
}

/// The part of a cue that lies in a row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Part {
    /// Which cue, as an index of the dance.
    pub(super) cue: usize,
    /// Where it begins in this row.
    pub(super) from: Beat,
    /// Where it ends in this row.
    pub(super) until: Beat,
    /// Whether the cue begins here; otherwise it goes on from the row before.
    pub(super) begins: bool,
    /// Whether it goes on in the next row.
    pub(super) goes_on: bool,
}

/// The rows of a dance, in the order of the music.
pub(super) fn rows(dance: &Dance) -> Vec<Row<'_>> {
    let grid = &dance.grid;
    let first = grid.phrases().first().map_or(grid.len(), |phrase| phrase.start);
    let mut rows = Vec::new();
    if first > 0 {
        rows.extend(phrase_rows(dance, None, Beat(0.0), Beat::from(first)));
    }
    for span in grid.phrase_spans() {
        rows.extend(phrase_rows(dance, Some(span), span.start, span.end));
    }
    // What lies before or after the music is said in the first and the last row.
    let last = rows.len().saturating_sub(1);
    for (index, prompt) in dance.prompts.iter().enumerate() {
        let place = rows.iter().position(|row| prompt.at.0 < row.until.0).unwrap_or(last);
        if let Some(row) = rows.get_mut(place) {
            row.prompts.push(index);
        }
    }
    rows
}

/// Counts in the longest row; 1 for no rows.
pub(super) fn longest(rows: &[Row<'_>]) -> usize {
    rows.iter().map(|row| (row.until.0 - row.from.0) as usize).max().unwrap_or(1)
}

fn phrase_rows<'a>(dance: &Dance, phrase: Option<PhraseSpan<'a>>, start: Beat, end: Beat) -> Vec<Row<'a>> {
    let counts = end.index() - start.index();
    let mut wide = counts.div_ceil(counts.div_ceil(LONGEST).max(1));
    // Whole bars in each row, where bars are even.
    let bars = dance.grid.bars();
    let bar = bars
        .iter()
        .position(|&bar| bar == start.index())
        .and_then(|index| Some(bars.get(index + 1)? - bars[index]))
        .unwrap_or(1);
    if wide.next_multiple_of(bar) <= LONGEST {
        wide = wide.next_multiple_of(bar);
    }
    let wide = wide.max(1);
    (0..counts.div_ceil(wide))
        .map(|row| {
            let from = Beat::from(start.index() + row * wide);
            let until = Beat(end.0.min(from.0 + wide as f64));
            Row {
                phrase,
                begins: row == 0,
                from,
                until,
                first_count: row * wide + 1,
                boxes: parts(dance, from, until),
                prompts: Vec::new(),
            }
        })
        .collect()
}

/// The parts of cues between two beats. A cue is over where the next one begins.
fn parts(dance: &Dance, from: Beat, until: Beat) -> Vec<Part> {
    let usable = |cue: &Cue| cue.at.0.is_finite() && cue.counts.0.is_finite() && cue.counts.0 > 0.0;
    let mut order: Vec<usize> = (0..dance.cues.len()).filter(|&index| usable(&dance.cues[index])).collect();
    order.sort_by(|&a, &b| dance.cues[a].at.total_cmp(&dance.cues[b].at));
    let mut parts = Vec::new();
    for (place, &index) in order.iter().enumerate() {
        let cue = &dance.cues[index];
        let next = order.get(place + 1).map_or(f64::INFINITY, |&next| dance.cues[next].at.0);
        let end = cue.end().0.min(next).max(cue.at.0 + 0.5);
        let (start, stop) = (cue.at.0.max(from.0), end.min(until.0));
        if stop - start > 1e-3 {
            parts.push(Part {
                cue: index,
                from: Beat(start),
                until: Beat(stop),
                begins: cue.at.0 >= from.0 - 1e-3,
                goes_on: end > until.0 + 1e-3,
            });
        }
    }
    parts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dance::MoveId;
    use crate::grid::{Grid, Phrase};
    use crate::units::{Counts, Seconds};

    fn dance(beats: usize, bar: usize, phrases: &[usize], cues: &[(f64, f64)]) -> Dance {
        let grid = serde_json::json!({
            "schema": 1, "title": "T",
            "recording": {"path": "a.wav", "hash": "", "frames": 0, "rate": 48_000},
            "profile": {"age": 7, "distance": 3.0},
            "grid": {"beats": [], "bars": [], "phrases": []}, "moves": [], "cues": [],
        });
        let mut dance: Dance = serde_json::from_value(grid).expect("a dance");
        dance.grid = Grid::new(
            (0..beats).map(|beat| Seconds(beat as f64 * 0.5)).collect(),
            (phrases.first().copied().unwrap_or(0)..beats).step_by(bar).collect(),
            phrases.iter().map(|&start| Phrase { start, letter: "A".into() }).collect(),
        )
        .expect("ascending");
        dance.cues =
            cues.iter().map(|&(at, n)| Cue::new(Beat(at), Counts(n), MoveId("walk".into()))).collect();
        dance
    }

    #[test]
    fn long_phrases_break_at_bars() {
        let widths = |beats, bar| {
            let dance = dance(beats, bar, &[0], &[]);
            rows(&dance).iter().map(|row| (row.until.0 - row.from.0) as usize).collect::<Vec<_>>()
        };
        assert_eq!(widths(16, 4), [16]);
        assert_eq!(widths(24, 3), [12, 12]);
        assert_eq!(widths(20, 4), [12, 8], "five bars of four: three and two");
        assert_eq!(widths(7, 4), [7]);
        assert_eq!(widths(33, 4).iter().sum::<usize>(), 33);
    }

    #[test]
    fn no_count_and_no_cue_is_lost() {
        let dance = dance(42, 4, &[2, 18], &[(0.0, 10.0), (10.0, 20.0), (30.5, 4.0), (38.0, 9.0)]);
        let rows = rows(&dance);
        assert_eq!(rows[0].phrase, None, "the pickup has a row of its own");
        assert_eq!(rows.iter().map(|row| row.until.0 - row.from.0).sum::<f64>(), 42.0);
        assert!(rows.windows(2).all(|pair| pair[0].until == pair[1].from));
        for (index, cue) in dance.cues.iter().enumerate() {
            let parts: Vec<_> =
                rows.iter().flat_map(|row| &row.boxes).filter(|part| part.cue == index).collect();
            let shown: f64 = parts.iter().map(|part| part.until.0 - part.from.0).sum();
            assert_eq!(shown, cue.counts.0.min(42.0 - cue.at.0), "cue {index}");
            assert_eq!(parts.iter().filter(|part| part.begins).count(), 1);
        }
    }
}
