//! Saving on a thread of its own, so that a slow disk never holds the keys.

use crate::dance::Dance;
use crate::shelf::{self, SaveError, Stamp};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread;
use std::time::Duration;

/// Where dances are saved: the disk, or in tests something that fails.
pub trait Store: Send {
    /// Saves a dance if the file is still as `stamp` knew it, and gives the new stamp.
    ///
    /// # Errors
    /// As [`shelf::save`]; the file is then as it was.
    fn save(&mut self, path: &Path, dance: &Dance, stamp: Stamp) -> Result<Stamp, SaveError>;
}

/// The disk.
#[derive(Debug, Clone, Copy, Default)]
pub struct OnDisk;

impl Store for OnDisk {
    fn save(&mut self, path: &Path, dance: &Dance, stamp: Stamp) -> Result<Stamp, SaveError> {
        shelf::save(path, dance, stamp)
    }
}

/// One saving.
pub(super) struct Job {
    pub(super) path: PathBuf,
    pub(super) dance: Dance,
    pub(super) stamp: Stamp,
}

/// A thread that saves. Dropping it lets it finish what it has begun, without waiting.
#[derive(Debug)]
pub(super) struct Saver {
    /// `None` when the thread could not be had.
    ask: Option<Sender<Job>>,
    told: Receiver<Result<Stamp, SaveError>>,
    /// What it takes to answer without a thread.
    tell: Sender<Result<Stamp, SaveError>>,
}

impl Saver {
    pub(super) fn start(mut store: Box<dyn Store>) -> Self {
        let (ask, asked) = channel::<Job>();
        let (tell, told) = channel();
        let answer = tell.clone();
        let thread = thread::Builder::new().name("saving".into()).spawn(move || {
            for job in asked {
                if answer.send(store.save(&job.path, &job.dance, job.stamp)).is_err() {
                    return;
                }
            }
        });
        Self { ask: thread.is_ok().then_some(ask), told, tell }
    }

    /// Begins to save; exactly one answer comes.
    pub(super) fn begin(&self, job: Job) {
        let job = match &self.ask {
            Some(ask) => ask.send(job).err().map(|unsent| unsent.0),
            None => Some(job),
        };
        if let Some(job) = job {
            let source = io::Error::other("the system gives no more threads");
            let _ = self.tell.send(Err(SaveError::Refused { path: job.path, source }));
        }
    }

    /// The answer, if there is one.
    pub(super) fn answer(&self) -> Option<Result<Stamp, SaveError>> {
        self.told.try_recv().ok()
    }

    /// The answer, waited for.
    pub(super) fn wait(&self, at_most: Duration) -> Option<Result<Stamp, SaveError>> {
        self.told.recv_timeout(at_most).ok()
    }
}
