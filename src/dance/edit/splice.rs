//! Replacing a run of a list's items by others: the smallest exact change that has an exact inverse.

use serde::{Deserialize, Serialize};

/// Items that leave a list and items that come in their place.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Splice<T> {
    /// Index of the first item that leaves, or of the item before which others come; at most the list's length.
    pub from: usize,
    /// How many items leave.
    pub out: usize,
    /// The items that come, in order.
    #[serde(rename = "in")]
    pub items: Vec<T>,
}

impl<T> Splice<T> {
    /// Makes the change and returns the one that takes it back; `None`, and no change, when the list is too short.
    pub(super) fn apply(self, list: &mut Vec<T>) -> Option<Self> {
        let to = self.from.checked_add(self.out).filter(|to| *to <= list.len())?;
        let inverse_out = self.items.len();
        let items = list.splice(self.from..to, self.items).collect();
        Some(Self { from: self.from, out: inverse_out, items })
    }
}

/// The changes that make `new` of `old`, to be made in this order; empty when they are equal.
///
/// Lists of one length give a splice for each run of items that differ, other lists one splice in all. Not always
/// the fewest items, but always exact, and one item changed is one item spliced.
pub(super) fn differences<T: PartialEq + Clone>(old: &[T], new: &[T]) -> Vec<Splice<T>> {
    let differs = |index: usize| old[index] != new[index];
    let mut splices = Vec::new();
    if old.len() == new.len() {
        let mut index = 0;
        while index < old.len() {
            let from = index;
            while index < old.len() && differs(index) {
                index += 1;
            }
            if index > from {
                splices.push(Splice { from, out: index - from, items: new[from..index].to_vec() });
            }
            index += 1;
        }
        return splices;
    }
    let shorter = old.len().min(new.len());
    let head = (0..shorter).take_while(|&index| !differs(index)).count();
    let same_from_the_end = old.iter().rev().zip(new.iter().rev()).take_while(|(a, b)| a == b).count();
    let tail = same_from_the_end.min(shorter - head);
    vec![Splice { from: head, out: old.len() - tail - head, items: new[head..new.len() - tail].to_vec() }]
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn one_changed_item_is_one_spliced_item() {
        let splice = |from, out, items: &[i32]| Splice { from, out, items: items.to_vec() };
        assert_eq!(differences(&[1, 2, 3], &[1, 9, 3]), [splice(1, 1, &[9])]);
        assert_eq!(differences(&[1, 2, 3], &[8, 2, 9]), [splice(0, 1, &[8]), splice(2, 1, &[9])]);
        assert_eq!(differences(&[1, 1], &[1, 1, 1]), [splice(2, 0, &[1])]);
        assert_eq!(differences(&[1, 2, 3], &[1, 3]), [splice(1, 1, &[])]);
        assert_eq!(differences(&[1], &[1]), []);
    }

    #[test]
    fn a_splice_past_the_end_changes_nothing() {
        let mut list = vec![1, 2];
        assert_eq!(Splice { from: 1, out: 2, items: vec![9] }.apply(&mut list), None);
        assert_eq!(Splice { from: 3, out: 0, items: vec![9] }.apply(&mut list), None);
        assert_eq!(Splice { from: usize::MAX, out: 2, items: vec![9] }.apply(&mut list), None);
        assert_eq!(list, [1, 2]);
    }

    proptest! {
        #[test]
        fn the_differences_make_the_new_list_of_the_old(
            old in prop::collection::vec(0..4u8, 0..9),
            new in prop::collection::vec(0..4u8, 0..9),
        ) {
            let mut list = old.clone();
            for splice in differences(&old, &new) {
                prop_assert!(splice.apply(&mut list).is_some());
            }
            prop_assert_eq!(list, new);
        }
    }
}
