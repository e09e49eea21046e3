//! Runs the program: arguments in, exit code out.

use std::process::ExitCode;

fn main() -> ExitCode {
    farandole::cli::main()
}
