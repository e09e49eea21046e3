//! What only Unix has: signals, and a standard error that C libraries write to without asking.

use signal_hook::SigId;
use signal_hook::consts::{SIGHUP, SIGINT, SIGQUIT, SIGTERM};
use std::fs::File;
use std::io::{self, IsTerminal};
use std::os::fd::{AsFd, OwnedFd};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};

/// The real standard error while it is muted.
static ERRORS: Mutex<Option<OwnedFd>> = Mutex::new(None);

/// Mutes standard error if it is the terminal. The sound libraries of Linux complain there about every missing device, on
/// threads of their own, and would write over the picture.
pub(super) fn quiet_errors() {
    if !io::stderr().is_terminal() {
        return;
    }
    let Ok(mut kept) = ERRORS.lock() else { return };
    if kept.is_some() {
        return;
    }
    let (Ok(real), Ok(nothing)) =
        (io::stderr().as_fd().try_clone_to_owned(), File::options().write(true).open("/dev/null"))
    else {
        return;
    };
    if rustix::stdio::dup2_stderr(&nothing).is_ok() {
        *kept = Some(real);
    }
}

/// Gives standard error its voice back.
pub(super) fn loud_errors() {
    if let Ok(mut kept) = ERRORS.lock()
        && let Some(real) = kept.take()
    {
        // Nothing can be said when this fails: the voice is what failed.
        let _ = rustix::stdio::dup2_stderr(&real);
    }
}

/// Notices the signals that ask a program to end, so that it can give the terminal back first.
#[derive(Debug)]
pub(super) struct EndSignals {
    asked: Arc<AtomicBool>,
    handlers: Vec<SigId>,
}

impl EndSignals {
    pub(super) fn watch() -> io::Result<Self> {
        let asked = Arc::new(AtomicBool::new(false));
        let handlers = [SIGTERM, SIGHUP, SIGINT, SIGQUIT]
            .into_iter()
            .map(|signal| signal_hook::flag::register(signal, Arc::clone(&asked)))
            .collect::<io::Result<_>>()?;
        Ok(Self { asked, handlers })
    }

    pub(super) fn asked(&self) -> bool {
        self.asked.load(Ordering::SeqCst)
    }
}

impl Drop for EndSignals {
    fn drop(&mut self) {
        for handler in self.handlers.drain(..) {
            signal_hook::low_level::unregister(handler);
        }
    }
}
