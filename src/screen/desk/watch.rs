//! Looking, on a thread of its own, whether a dance that another program edits is free again.

use crate::shelf::{Lock, Places};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::Duration;

/// How often it looks. Our choice: she is told before she has gone back to her chair, and a network drive is left in peace.
const EVERY: Duration = Duration::from_secs(1);

/// A dance that is watched. The thread ends soon after this is dropped.
#[derive(Debug)]
pub struct Watch {
    free: Arc<AtomicBool>,
}

impl Watch {
    /// Watches a dance whose lock lies in these places.
    #[must_use]
    pub fn start(places: Places) -> Self {
        let free = Arc::new(AtomicBool::new(false));
        let seen = Arc::downgrade(&free);
        // Without a thread she opens the dance once more, as she would have to anyway.
        let _ = thread::Builder::new().name("watching".into()).spawn(move || {
            while let Some(free) = seen.upgrade() {
                free.store(Lock::is_free(&places), Ordering::Relaxed);
                drop(free);
                thread::sleep(EVERY);
            }
        });
        Self { free }
    }

    /// Whether nobody edits the dance, as of a moment ago.
    #[must_use]
    pub fn is_free(&self) -> bool {
        self.free.load(Ordering::Relaxed)
    }
}
