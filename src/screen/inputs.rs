//! What wakes the loops of the editors, and what asks any loop to end.

use super::ScreenError;
use super::run::keys;
use crossterm::event::Event;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread;

/// What wakes an editor's loop.
pub(super) enum Input {
    /// A key, or another size of the window.
    Event(Event),
    /// A worker has an answer.
    Answer,
}

/// The channel on which keys come, and its other end for workers. A thread passes the keys on and ends with the keyboard's;
/// without it the channel closes when the workers' end does.
pub(super) fn inputs() -> (Sender<Input>, Receiver<Input>) {
    let (sender, receiver) = channel();
    let (events, passed_on) = (keys(), sender.clone());
    let _ = thread::Builder::new().name("events".into()).spawn(move || {
        for event in events {
            if passed_on.send(Input::Event(event)).is_err() {
                return;
            }
        }
    });
    (sender, receiver)
}

/// Watches for the system asking the program to end, for as long as what is returned lives; it says whether it was asked.
///
/// # Errors
/// [`ScreenError::Terminal`] when the system refuses.
pub(super) fn asked_to_end() -> Result<impl Fn() -> bool, ScreenError> {
    #[cfg(unix)]
    {
        let signals = super::unix::EndSignals::watch().map_err(ScreenError::Terminal)?;
        Ok(move || signals.asked())
    }
    #[cfg(not(unix))]
    Ok(|| false)
}
