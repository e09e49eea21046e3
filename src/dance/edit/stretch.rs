//! A copy of some cues, taken up at one place and put down at others.

use super::EditError;
use super::cues::{erase, length, part, position, rounded};
use crate::dance::{Cue, Dance, Move};
use crate::units::{Beat, Counts};

/// Cues taken up from a dance, with the moves that they name: they can still be put down when the dance has lost both.
#[derive(Debug, Clone, PartialEq)]
pub struct Stretch {
    /// At their counts from the start of the stretch.
    cues: Vec<Cue>,
    moves: Vec<Move>,
    counts: Counts,
}

impl Stretch {
    /// What stands from one position to another, which may be in the wrong order; a cue that reaches beyond them is cut
    /// there. `None` where nothing stands.
    #[must_use]
    pub fn between(dance: &Dance, from: Beat, to: Beat) -> Option<Self> {
        let (from, to) = (Beat(from.0.min(to.0)), Beat(from.0.max(to.0)));
        let cut = |cue: &Cue| part(cue, Beat(cue.at.0.max(from.0)), Beat(cue.end().0.min(to.0)));
        Self::of(dance, dance.cues.iter().filter_map(cut), from, to.since(from))
    }

    /// One cue as it is; `None` where there is none of that index.
    #[must_use]
    pub fn cue(dance: &Dance, index: usize) -> Option<Self> {
        let cue = dance.cues.get(index)?;
        Self::of(dance, [cue.clone()], cue.at, cue.counts)
    }

    fn of(dance: &Dance, cues: impl IntoIterator<Item = Cue>, from: Beat, counts: Counts) -> Option<Self> {
        let cues: Vec<Cue> =
            cues.into_iter().map(|cue| Cue { at: Beat(rounded(cue.at.since(from).0)), ..cue }).collect();
        let named = |entry: &&Move| cues.iter().any(|cue| cue.movement.as_ref() == Some(&entry.id));
        let moves = dance.moves.iter().filter(named).cloned().collect();
        (!cues.is_empty()).then_some(Self { cues, moves, counts })
    }

    /// How many counts it takes.
    #[must_use]
    pub fn counts(&self) -> Counts {
        self.counts
    }

    /// Whether it is one cue and nothing besides.
    #[must_use]
    pub fn is_one_cue(&self) -> bool {
        matches!(&self.cues[..], [cue] if cue.at.0 == 0.0 && cue.counts == self.counts)
    }

    /// The words of its first cue.
    #[must_use]
    pub fn words(&self) -> &str {
        let Some(cue) = self.cues.first() else { return "" };
        let entry = self.moves.iter().find(|entry| cue.movement.as_ref() == Some(&entry.id));
        let id = cue.movement.as_ref().map_or("", |id| &id.0);
        cue.words.as_deref().unwrap_or_else(|| entry.map_or(id, |entry| &entry.words))
    }

    /// What it is called: its one cue's words, or how many moves there are.
    #[must_use]
    pub fn name(&self) -> String {
        match self.cues.len() {
            1 => format!("'{}'", self.words()),
            many => format!("{many} moves"),
        }
    }

    /// The moves that its cues name, as the dance had them.
    pub(super) fn moves(&self) -> &[Move] {
        &self.moves
    }

    /// Puts a copy down, no more counts of it than `room` and than the music has left, over what stands there. Gives the
    /// index of its first cue.
    pub(super) fn put(
        &self,
        dance: &Dance,
        cues: &mut Vec<Cue>,
        at: Beat,
        room: Counts,
    ) -> Result<usize, EditError> {
        let what = self.words();
        let at = position(dance, at, what)?;
        let counts = length(dance, at, Counts(self.counts.0.min(room.0)), what)?;
        let end = at.plus(counts);
        let copy: Vec<Cue> = self
            .cues
            .iter()
            .map(|cue| Cue { at: Beat(rounded(at.0 + cue.at.0)), ..cue.clone() })
            .filter_map(|cue| part(&cue, cue.at, Beat(cue.end().0.min(end.0))))
            .collect();
        let Some(first) = copy.first().map(|cue| cue.at) else {
            return Err(EditError::NoLength { what: what.to_owned() });
        };
        erase(cues, at, end);
        let index = cues.partition_point(|other| other.at <= first);
        for cue in copy {
            let index = cues.partition_point(|other| other.at <= cue.at);
            cues.insert(index, cue);
        }
        Ok(index)
    }
}
