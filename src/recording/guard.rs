//! Damaged files must not stop the program: a decoder that panics on one is a failed decode.

use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind};

thread_local! {
    static GUARDED: Cell<bool> = const { Cell::new(false) };
}

/// Whether this thread is inside a decoder whose panics are caught and turned into a [`DecodeError`] or
/// [`Warning`](super::Warning). A panic hook should neither print nor leave the screen while this holds.
///
/// [`DecodeError`]: super::DecodeError
#[must_use]
pub fn decoding_is_guarded() -> bool {
    GUARDED.get()
}

/// Runs `call`; `None` if it panicked.
///
/// What it worked on may be left half-changed: callers go on only with state that is safe to misread, and count
/// the packet as damaged.
pub(super) fn run<T>(call: impl FnOnce() -> T) -> Option<T> {
    GUARDED.set(true);
    let outcome = catch_unwind(AssertUnwindSafe(call));
    GUARDED.set(false);
    outcome.ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_is_caught_and_the_guard_is_lowered() {
        assert_eq!(
            run(|| {
                assert!(decoding_is_guarded());
                7
            }),
            Some(7)
        );
        assert_eq!(run(|| -> u8 { panic!("on purpose, in a test") }), None);
        assert!(!decoding_is_guarded());
    }
}
