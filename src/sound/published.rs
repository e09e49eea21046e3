//! A few numbers that one thread publishes whole and another reads whole, without a lock.

use std::sync::atomic::{AtomicU64, Ordering, fence};

/// `N` numbers that change together: a sequence lock over atomics. One writer; readers never make it wait.
#[derive(Debug)]
pub(super) struct Published<const N: usize> {
    /// Odd while the writer is at work.
    sequence: AtomicU64,
    words: [AtomicU64; N],
}

impl<const N: usize> Published<N> {
    pub(super) fn new(words: [u64; N]) -> Self {
        Self { sequence: AtomicU64::new(0), words: words.map(AtomicU64::new) }
    }

    /// Replaces the numbers. Only one thread may ever call this.
    pub(super) fn publish(&self, words: [u64; N]) {
        let sequence = self.sequence.load(Ordering::Relaxed);
        self.sequence.store(sequence.wrapping_add(1), Ordering::Relaxed);
        fence(Ordering::Release);
        for (slot, word) in self.words.iter().zip(words) {
            slot.store(word, Ordering::Relaxed);
        }
        self.sequence.store(sequence.wrapping_add(2), Ordering::Release);
    }

    /// The numbers, or `None` when the writer was at work each of a few times: keep what you had.
    pub(super) fn read(&self) -> Option<[u64; N]> {
        for _ in 0..8 {
            let before = self.sequence.load(Ordering::Acquire);
            let mut words = [0; N];
            for (word, slot) in words.iter_mut().zip(&self.words) {
                *word = slot.load(Ordering::Relaxed);
            }
            fence(Ordering::Acquire);
            if before.is_multiple_of(2) && self.sequence.load(Ordering::Relaxed) == before {
                return Some(words);
            }
            std::hint::spin_loop();
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Arc;
    use std::thread;

    #[test]
    fn numbers_published_together_are_never_read_apart() {
        let shared = Arc::new(Published::new([0; 3]));
        let writer = {
            let shared = Arc::clone(&shared);
            thread::spawn(move || (1..200_000).for_each(|n| shared.publish([n, 2 * n, 3 * n])))
        };
        let mut last = 0;
        while !writer.is_finished() {
            if let Some([a, b, c]) = shared.read() {
                assert_eq!((b, c), (2 * a, 3 * a));
                assert!(a >= last, "time does not run backwards");
                last = a;
            }
        }
        writer.join().expect("the writer does not panic");
        assert_eq!(shared.read(), Some([199_999, 399_998, 599_997]));
    }
}
