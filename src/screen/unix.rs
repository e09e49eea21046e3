//! What only Unix has: signals, and a standard error that C libraries write to without asking.

use signal_hook::SigId;
use signal_hook::consts::{SIGHUP, SIGINT, SIGQUIT, SIGTERM};
use std::fs::File;
use std::io::{self, IsTerminal, Write};
use std::os::fd::{AsFd, OwnedFd};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, Weak};
use std::thread;
use std::time::{Duration, Instant};

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

/// Lets the terminal tell of clicks, drags and the wheel, or not any more. Source: xterm's control sequences, mouse
/// tracking: buttons (1000), movement while one is held (1002), places beyond column 223 (1006). Not every movement
/// (1003), which would wake the program for nothing.
pub(super) fn mouse(on: bool) -> io::Result<()> {
    let mut out = io::stdout().lock();
    let modes: &[u8] =
        if on { b"\x1b[?1000h\x1b[?1002h\x1b[?1006h" } else { b"\x1b[?1006l\x1b[?1002l\x1b[?1000l" };
    out.write_all(modes)?;
    out.flush()
}

/// Throws away what was written to the terminal and not read by it.
pub(super) fn discard_unread() {
    // A terminal that is gone needs nothing.
    let _ = rustix::termios::tcflush(io::stdout(), rustix::termios::QueueSelector::OFlush);
    // A thread that waits to write is not told that there is room again; a signal makes it look. This one means another
    // size of the window, for which the picture is drawn anew at worst.
    let _ = rustix::process::kill_process(rustix::process::getpid(), rustix::process::Signal::WINCH);
}

/// How often it is looked whether the program was asked to end.
const LOOK: Duration = Duration::from_millis(250);
/// How long a loop that was asked to end may take before its picture is taken for stuck.
const PATIENCE: Duration = Duration::from_secs(1);
/// And how long until it must end even with the terminal not given back in full.
const LONGEST: Duration = Duration::from_secs(5);

/// Helps a loop to end that was asked to and is held up by a terminal which does not read. Ends with `asked`.
fn help_to_end(asked: &Weak<AtomicBool>) {
    let mut since = None;
    // When nobody else holds it, the loop has ended.
    while let Some(asked) = asked.upgrade() {
        if asked.load(Ordering::SeqCst) {
            let since = *since.get_or_insert_with(Instant::now);
            if since.elapsed() > PATIENCE {
                super::terminal::drop_stuck_picture(since.elapsed() > LONGEST);
            }
            drop(asked);
            thread::sleep(Duration::from_millis(20));
        } else {
            drop(asked);
            thread::sleep(LOOK);
        }
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
        let watched = Arc::downgrade(&asked);
        // Without a thread it ends as soon as the terminal reads.
        let _ = thread::Builder::new().name("ending".to_owned()).spawn(move || help_to_end(&watched));
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
