//! Forcing a journal to the disk on a thread of its own, so that a slow disk never holds the keys.

use super::medium::Force;
use std::io;
use std::sync::mpsc::{self, Sender};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::{self, JoinHandle};

/// A thread that forces whenever asked; asking again while it is busy costs one more round, not many.
#[derive(Debug)]
pub(super) struct Forcing {
    /// `None` only while it is being dropped.
    ask: Option<Sender<()>>,
    thread: Option<JoinHandle<()>>,
    trouble: Arc<Mutex<Option<io::Error>>>,
}

impl Forcing {
    /// Starts the thread.
    pub(super) fn start(mut force: Force) -> io::Result<Self> {
        let (ask, asked) = mpsc::channel();
        let trouble = Arc::new(Mutex::new(None));
        let report = Arc::clone(&trouble);
        let thread = thread::Builder::new().name("journal".into()).spawn(move || {
            while asked.recv().is_ok() {
                while asked.try_recv().is_ok() {}
                if let Err(error) = force() {
                    *report.lock().unwrap_or_else(PoisonError::into_inner) = Some(error);
                }
            }
        })?;
        Ok(Self { ask: Some(ask), thread: Some(thread), trouble })
    }

    /// Asks for everything that was appended so far to be forced; returns at once.
    pub(super) fn ask(&self) {
        if let Some(ask) = &self.ask {
            // The thread only ends when this is dropped.
            let _ = ask.send(());
        }
    }

    /// What went wrong since last asked.
    pub(super) fn trouble(&self) -> Option<io::Error> {
        self.trouble.lock().unwrap_or_else(PoisonError::into_inner).take()
    }
}

impl Drop for Forcing {
    /// Waits until everything asked for has been forced.
    fn drop(&mut self) {
        self.ask = None;
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}
