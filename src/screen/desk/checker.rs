//! Checking a dance on a thread of its own: with a thousand cues it takes longer than a key may.

use crate::check::{Report, check_with};
use crate::dance::{Dance, MoveBook};
use crate::listening::Listening;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread;

/// A dance to be checked, and the number of its state.
struct Request {
    number: u64,
    dance: Dance,
    heard: Option<Arc<Listening>>,
}

/// A thread that checks. It ends when this is dropped, after what it has in hand.
#[derive(Debug)]
pub struct Checker {
    /// `None` when the thread could not be had.
    ask: Option<Sender<Request>>,
    told: Receiver<(u64, Report)>,
    /// Where moves that fit better are looked for.
    book: Arc<MoveBook>,
}

impl Checker {
    /// Starts the thread. Moves that fit better are offered from `book`, the one that the sheet is edited with. `wake` is called on it whenever an answer is ready.
    #[must_use]
    pub fn start(book: MoveBook, wake: impl Fn() + Send + 'static) -> Self {
        let book = Arc::new(book);
        let at_hand = Arc::clone(&book);
        let (ask, asked) = channel::<Request>();
        let (tell, told) = channel();
        let thread = thread::Builder::new().name("checking".into()).spawn(move || {
            while let Ok(mut request) = asked.recv() {
                while let Ok(newer) = asked.try_recv() {
                    request = newer;
                }
                let report = check_with(&request.dance, request.heard.as_deref(), &at_hand);
                if tell.send((request.number, report)).is_err() {
                    return;
                }
                wake();
            }
        });
        Self { ask: thread.is_ok().then_some(ask), told, book }
    }

    /// Asks to check a dance; of several requests only the newest is answered. Gives the answer at once, and waits for
    /// it, only where there is no thread.
    pub fn begin(&self, number: u64, dance: &Dance, heard: Option<&Arc<Listening>>) -> Option<(u64, Report)> {
        let request = Request { number, dance: dance.clone(), heard: heard.cloned() };
        let request = match &self.ask {
            Some(ask) => ask.send(request).err()?.0,
            None => request,
        };
        Some((number, check_with(&request.dance, request.heard.as_deref(), &self.book)))
    }

    /// The next answer, if there is one. It never waits.
    #[must_use]
    pub fn answer(&self) -> Option<(u64, Report)> {
        self.told.try_recv().ok()
    }
}
