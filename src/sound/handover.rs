//! Other clicks for a stream that plays: handed into the callback, and the old ones handed out again, so that inside it
//! no memory is taken or given back.
//!
//! Both ways are a standard channel with room for one, of which each side only ever *tries*: then its other side never
//! waits either, nothing is locked, and the room was set aside when the stream was made.

use super::Click;
use std::sync::mpsc::{Receiver, SyncSender, TrySendError, sync_channel};

/// Clicks, and the frame at which each begins, ascending.
pub(super) type Placed = Vec<(f64, Click)>;

/// The side that looks after the device.
#[derive(Debug)]
pub(super) struct Giving {
    new: SyncSender<Placed>,
    old: Receiver<Placed>,
    /// What the callback had no room for yet.
    waiting: Option<Placed>,
}

/// The side inside the callback.
#[derive(Debug)]
pub(super) struct Taking {
    new: Receiver<Placed>,
    old: SyncSender<Placed>,
    /// What could not be handed out yet.
    spent: Option<Placed>,
}

/// Both sides.
pub(super) fn handover() -> (Giving, Taking) {
    let (new, taken) = sync_channel(1);
    let (old, back) = sync_channel(1);
    (Giving { new, old: back, waiting: None }, Taking { new: taken, old, spent: None })
}

/// Where clicks begin, in frames at `rate` frames a second.
pub(super) fn placed(clicks: &[Click], rate: u32) -> Placed {
    clicks.iter().map(|click| ((click.at.0 * f64::from(rate)).round(), *click)).collect()
}

impl Giving {
    /// Hands clicks in; of several that the callback has not taken yet, the first and then the last.
    pub(super) fn give(&mut self, clicks: Placed) {
        self.waiting = Some(clicks);
        self.tend();
    }

    /// Frees what came back and hands in what waits; to be called now and then.
    pub(super) fn tend(&mut self) {
        while self.old.try_recv().is_ok() {}
        if let Some(clicks) = self.waiting.take()
            && let Err(TrySendError::Full(clicks)) = self.new.try_send(clicks)
        {
            self.waiting = Some(clicks);
        }
    }
}

impl Taking {
    /// Puts new clicks in the place of `clicks`, if there are any and the old ones can go; whether it did.
    pub(super) fn take(&mut self, clicks: &mut Placed) -> bool {
        self.hand_out();
        if self.spent.is_some() {
            return false;
        }
        let Ok(new) = self.new.try_recv() else { return false };
        self.spent = Some(std::mem::replace(clicks, new));
        self.hand_out();
        true
    }

    fn hand_out(&mut self) {
        if let Some(spent) = self.spent.take()
            && let Err(TrySendError::Full(spent) | TrySendError::Disconnected(spent)) =
                self.old.try_send(spent)
        {
            self.spent = Some(spent);
        }
    }
}
