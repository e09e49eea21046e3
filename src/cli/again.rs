//! Running one command of this program from another, with the terminal for itself.

use super::Problem;
use std::ffi::OsString;
use std::io::{self, BufRead};
use std::process::Command;

/// Runs this program with other arguments until it ends, and says whether it could do what it was asked.
///
/// # Errors
/// [`Problem::File`] when the system does not start it.
pub(super) fn run(arguments: &[OsString]) -> Result<bool, Problem> {
    let program = std::env::current_exe();
    let failed = |source| Problem::File { what: "start", path: "farandole".into(), source };
    let status = Command::new(program.map_err(failed)?).args(arguments).status().map_err(failed)?;
    // 1 says that the check found something, which is no failure.
    Ok(matches!(status.code(), Some(0 | 1)))
}

/// Waits until she has read what stands there. Gives what she typed before enter, or `None` when the keyboard is gone.
pub(super) fn wait_for_enter() -> Option<String> {
    let mut line = String::new();
    match io::stdin().lock().read_line(&mut line) {
        Ok(1..) => Some(line.trim().to_owned()),
        _ => None,
    }
}
