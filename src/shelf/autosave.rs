//! When to save without being asked: a decision about times, which are passed in.

use std::time::Duration;

/// Decides when a dance with unsaved changes is saved by itself. The recovery journal has every change at once; this
/// is for the dance file, which other programs and people see.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Autosave {
    first_unsaved: Option<Duration>,
    latest: Duration,
    not_before: Duration,
}

impl Autosave {
    /// Saved when nothing was changed for so long. Our choice, and so are the others.
    pub const AFTER_QUIET: Duration = Duration::from_secs(5);
    /// Saved at the latest so long after the first unsaved change, however busy she is.
    pub const AT_THE_LATEST: Duration = Duration::from_secs(60);
    /// Tried again so long after a save failed.
    pub const AFTER_FAILURE: Duration = Duration::from_secs(10);

    /// Nothing to save yet.
    #[must_use]
    pub fn new() -> Self {
        Self { first_unsaved: None, latest: Duration::ZERO, not_before: Duration::ZERO }
    }

    /// Something was changed, undone or redone at `now`, the time since some fixed moment.
    pub fn changed(&mut self, now: Duration) {
        self.first_unsaved.get_or_insert(now);
        self.latest = now;
    }

    /// The file holds what is on the screen.
    pub fn saved(&mut self) {
        self.first_unsaved = None;
    }

    /// A save failed at `now`; she has been told, and is not told every second.
    pub fn failed(&mut self, now: Duration) {
        self.not_before = now.saturating_add(Self::AFTER_FAILURE);
    }

    /// When the next save is due; `None` when there is nothing to save.
    #[must_use]
    pub fn due(&self) -> Option<Duration> {
        let first = self.first_unsaved?;
        let quiet = self.latest.saturating_add(Self::AFTER_QUIET);
        Some(quiet.min(first.saturating_add(Self::AT_THE_LATEST)).max(self.not_before))
    }
}

impl Default for Autosave {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn s(seconds: u64) -> Duration {
        Duration::from_secs(seconds)
    }

    #[test]
    fn a_change_is_saved_once_she_pauses() {
        let mut policy = Autosave::new();
        assert_eq!(policy.due(), None);
        policy.changed(s(10));
        policy.changed(s(13));
        assert_eq!(policy.due(), Some(s(18)));
        policy.saved();
        assert_eq!(policy.due(), None);
    }

    #[test]
    fn someone_who_never_pauses_is_saved_every_minute() {
        let mut policy = Autosave::new();
        (0..100).for_each(|second| policy.changed(s(second)));
        assert_eq!(policy.due(), Some(s(60)));
    }

    #[test]
    fn a_failed_save_waits_before_it_is_tried_again() {
        let mut policy = Autosave::new();
        policy.changed(s(0));
        policy.failed(s(5));
        policy.changed(s(6));
        assert_eq!(policy.due(), Some(s(15)));
    }
}
