//! Taking the terminal and giving it back: on leaving, on an error, on a signal and on a panic in any thread.

use super::ScreenError;
use crossterm::terminal::{EnterAlternateScreen, LeaveAlternateScreen, disable_raw_mode, enable_raw_mode};
use crossterm::{cursor, execute};
use ratatui::backend::CrosstermBackend;
use ratatui::layout::{Position, Rect};
use ratatui::{Frame, Terminal};
use std::io::{self, BufWriter, Stdout, Write};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, Once, TryLockError};
use std::thread;
use std::time::Duration;

/// Whether the terminal is ours, and must be given back.
static TAKEN: AtomicBool = AtomicBool::new(false);
/// Whether a thread has panicked since the terminal was taken.
static FAULT: AtomicBool = AtomicBool::new(false);
/// Whether the terminal tells us of the mouse, and must be told to stop.
static MOUSE: AtomicBool = AtomicBool::new(false);
/// Held while a picture is written, so that a panic elsewhere does not give the terminal back in the middle of one.
static WRITING: Mutex<()> = Mutex::new(());

/// The terminal while it is ours; dropping it gives it back.
#[derive(Debug)]
pub(super) struct Screen {
    terminal: Terminal<CrosstermBackend<BufWriter<Stdout>>>,
}

impl Screen {
    /// Takes the terminal.
    pub(super) fn take() -> Result<Self, ScreenError> {
        super::require_terminal()?;
        give_back_on_panic();
        FAULT.store(false, Ordering::SeqCst);
        // Set first: whatever fails below is undone by `give_back`.
        TAKEN.store(true, Ordering::SeqCst);
        let taken = || {
            enable_raw_mode()?;
            execute!(io::stdout(), EnterAlternateScreen, cursor::Hide)?;
            let backend = CrosstermBackend::new(BufWriter::with_capacity(1 << 16, io::stdout()));
            Terminal::new(backend)
        };
        match taken() {
            Ok(terminal) => {
                quiet();
                Ok(Self { terminal })
            }
            Err(error) => {
                give_back();
                Err(ScreenError::Terminal(error))
            }
        }
    }

    /// Asks the terminal to tell of the mouse, until it is given back.
    pub(super) fn watch_the_mouse(&mut self) -> Result<(), ScreenError> {
        // Set first, as above.
        MOUSE.store(true, Ordering::SeqCst);
        mouse(true).map_err(ScreenError::Terminal)
    }

    /// Draws one picture, unless a panic has already given the terminal back.
    pub(super) fn draw(&mut self, picture: impl FnOnce(&mut Frame<'_>)) -> Result<(), ScreenError> {
        let _writing = WRITING.lock().unwrap_or_else(|broken| broken.into_inner());
        if FAULT.load(Ordering::SeqCst) {
            return Err(ScreenError::Fault);
        }
        self.terminal.draw(picture).map(drop).map_err(ScreenError::Terminal)
    }

    /// Draws everything anew with the next picture: after a change of size the terminal may have moved things.
    ///
    /// Not by `Terminal::clear`, which asks the terminal where its cursor is: the answer would go to the thread that
    /// reads keys.
    pub(super) fn forget(&mut self) -> Result<(), ScreenError> {
        let size = self.terminal.size().map_err(ScreenError::Terminal)?;
        self.terminal.resize(Rect::from((Position::ORIGIN, size))).map_err(ScreenError::Terminal)
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        give_back();
    }
}

/// Whether a thread has panicked.
pub(super) fn fault() -> bool {
    FAULT.load(Ordering::SeqCst)
}

/// Throws away a picture that waits for a terminal which does not read, so that the loop comes free and can end. What gives
/// the terminal back is not a picture; it is thrown away only with `all`.
#[cfg(unix)]
pub(super) fn drop_stuck_picture(all: bool) {
    if all || matches!(WRITING.try_lock(), Err(TryLockError::WouldBlock)) {
        super::unix::discard_unread();
    }
}

/// Gives the terminal back if it is ours. Errors are ignored: there is nothing left to tell them to.
fn give_back() {
    if TAKEN.swap(false, Ordering::SeqCst) {
        loud();
        if MOUSE.swap(false, Ordering::SeqCst) {
            let _ = mouse(false);
        }
        let _ = execute!(io::stdout(), LeaveAlternateScreen, cursor::Show);
        let _ = disable_raw_mode();
        let _ = io::stdout().flush();
    }
}

/// Lets the terminal tell of clicks, drags and the wheel, or not any more.
fn mouse(on: bool) -> io::Result<()> {
    #[cfg(unix)]
    return super::unix::mouse(on);
    #[cfg(not(unix))]
    if on {
        execute!(io::stdout(), crossterm::event::EnableMouseCapture)
    } else {
        execute!(io::stdout(), crossterm::event::DisableMouseCapture)
    }
}

/// Once in the program: before any panic message is written, the terminal is given back.
fn give_back_on_panic() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let before = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |panic| {
            // The sound looks after its own faults: the screen says "no sound", and the dance goes on.
            if crate::sound::fault_is_caught() {
                return;
            }
            FAULT.store(true, Ordering::SeqCst);
            // Wait for a picture that is being written, but not for ever: the panic may be in its own drawing.
            for _ in 0..20 {
                match WRITING.try_lock() {
                    Err(TryLockError::WouldBlock) => thread::sleep(Duration::from_millis(10)),
                    Ok(_) | Err(TryLockError::Poisoned(_)) => break,
                }
            }
            give_back();
            before(panic);
        }));
    });
}

/// While the terminal is ours, sound libraries must not write over the picture.
fn quiet() {
    #[cfg(unix)]
    super::unix::quiet_errors();
}

fn loud() {
    #[cfg(unix)]
    super::unix::loud_errors();
}
