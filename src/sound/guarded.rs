//! A fault of ours in the sound must not end a lesson: it is caught where it happens, and the sound begins again.

use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicBool, Ordering};

/// Whether the next buffer is to fail.
static FAIL: AtomicBool = AtomicBool::new(false);

thread_local! {
    /// Whether this thread is in work whose faults are caught.
    static GUARDED: Cell<bool> = const { Cell::new(false) };
}

/// Does `work`; `None` when it panics. What `work` left half done must not be used again.
pub(super) fn guarded<T>(work: impl FnOnce() -> T) -> Option<T> {
    let before = GUARDED.replace(true);
    let done = catch_unwind(AssertUnwindSafe(work)).ok();
    GUARDED.set(before);
    done
}

/// Whether a panic of this thread, now, is caught by the sound itself, so that nothing else need be done about it.
#[must_use]
pub fn fault_is_caught() -> bool {
    GUARDED.get()
}

/// Makes the audio callback panic at its next buffer, once: for trials of what a fault of ours does to a lesson.
#[doc(hidden)]
pub fn fail_next_buffer() {
    FAIL.store(true, Ordering::Relaxed);
}

/// Panics when it was asked for. It looks before it writes, so that in every other buffer this is one read.
#[cfg_attr(not(feature = "playback"), allow(dead_code, reason = "only a device's callback fails"))]
pub(super) fn fail_if_asked() {
    assert!(!(FAIL.load(Ordering::Relaxed) && FAIL.swap(false, Ordering::Relaxed)), "asked to fail");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fault_is_caught_and_the_thread_is_as_before() {
        assert!(!fault_is_caught());
        assert_eq!(guarded(|| 3), Some(3));
        let caught = guarded(|| {
            assert!(fault_is_caught());
            // Without a message: no hook of another test is to be bothered.
            std::panic::resume_unwind(Box::new(()));
        });
        assert_eq!(caught, None);
        assert!(!fault_is_caught());
    }
}
