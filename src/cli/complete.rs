//! `completions` and `manual`: made from the same table as the help.

use super::{Outcome, Output, Problem, command};

/// Prints completions for `shell`.
pub(super) fn completions(shell: clap_complete::Shell, output: &mut Output) -> Result<Outcome, Problem> {
    let mut text = Vec::new();
    clap_complete::generate(shell, &mut command(), "farandole", &mut text);
    output.print(&String::from_utf8_lossy(&text))?;
    Ok(Outcome::Clean)
}

/// Prints the manual page: the program, then every command.
pub(super) fn manual(output: &mut Output) -> Result<Outcome, Problem> {
    let mut text = Vec::new();
    clap_mangen::Man::new(command()).render(&mut text)?;
    output.print(&String::from_utf8_lossy(&text))?;
    Ok(Outcome::Clean)
}
