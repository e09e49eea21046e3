//! Where words go: results to standard output, everything else to standard error.

use super::Problem;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::fmt::Display;
use std::io::{self, IsTerminal, Write};
use std::time::{Duration, Instant};

/// Work shorter than this shows no progress bar.
const PATIENCE: Duration = Duration::from_millis(500);

/// The two streams of the process, or stand-ins for tests.
pub struct Output {
    results: Box<dyn Write>,
    remarks: Box<dyn Write>,
    progress: bool,
}

impl std::fmt::Debug for Output {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Output").field("progress", &self.progress).finish_non_exhaustive()
    }
}

impl Output {
    /// Standard output and standard error of this process.
    #[must_use]
    pub fn of_this_process() -> Self {
        Self {
            results: Box::new(io::stdout()),
            remarks: Box::new(io::stderr()),
            progress: io::stderr().is_terminal(),
        }
    }

    /// Prints a result as it stands.
    ///
    /// # Errors
    /// [`Problem::Output`] when nobody reads or the disk is full.
    pub fn print(&mut self, text: &str) -> Result<(), Problem> {
        self.results.write_all(text.as_bytes())?;
        self.results.flush()?;
        Ok(())
    }

    /// Says something beside the result. A closed standard error is no reason to stop.
    pub fn remark(&mut self, text: impl Display) {
        let _ = writeln!(self.remarks, "{text}");
    }

    /// Says what could not be done.
    pub fn complain(&mut self, problem: &Problem) {
        let _ = writeln!(self.remarks, "farandole: {problem}");
    }

    /// A bar for work of unknown speed, drawn on a terminal once the work has taken half a second.
    #[must_use]
    pub fn progress(&self, what: &'static str) -> Progress {
        Progress { what, started: Instant::now(), wanted: self.progress, bar: None }
    }
}

/// A progress bar that appears late and leaves nothing behind.
#[derive(Debug)]
pub struct Progress {
    what: &'static str,
    started: Instant,
    wanted: bool,
    bar: Option<ProgressBar>,
}

impl Progress {
    /// Says how much is done, 0 to 1.
    pub fn done(&mut self, part: f32) {
        if !self.wanted || self.started.elapsed() < PATIENCE {
            return;
        }
        let bar = self.bar.get_or_insert_with(|| {
            let bar = ProgressBar::with_draw_target(Some(1_000), ProgressDrawTarget::stderr());
            if let Ok(style) = ProgressStyle::with_template("{msg} {bar:30} {percent} %") {
                bar.set_style(style);
            }
            bar.set_message(self.what);
            bar
        });
        bar.set_position((part.clamp(0.0, 1.0) * 1_000.0) as u64);
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        if let Some(bar) = &self.bar {
            bar.finish_and_clear();
        }
    }
}

/// `1 beat`, `2 beats`: a number with its noun, which takes an s.
#[must_use]
pub(super) fn count(number: usize, noun: &str) -> String {
    if number == 1 { format!("1 {noun}") } else { format!("{number} {noun}s") }
}
