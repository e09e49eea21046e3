//! The commands: arguments in, plain words out. One file a command.
//!
//! Results go to standard output, everything else to standard error. Exit codes: 0 clean, 1 the check found
//! something, 2 it could not be done.

mod again;
mod arguments;
mod beats;
mod carry;
mod check;
mod check_report;
mod complete;
mod contrast;
mod demo;
mod draft;
mod hand_out;
mod hear;
mod lead;
mod listen;
mod listen_report;
mod moves;
mod output;
mod pack;
mod problem;
mod programme;
mod repair;
mod sheet;
mod shelf;
mod unpack;

pub use arguments::{Arguments, command};
pub use output::Output;
pub use problem::Problem;

use arguments::Command;
use clap::Parser;
use std::io::{self, IsTerminal};
use std::process::ExitCode;

/// How a command ended, when it could be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// Nothing to complain about.
    Clean,
    /// The check found something.
    Found,
}

/// Parses the arguments of this process, runs the command, prints the error if there is one, and gives the exit code.
#[must_use]
pub fn main() -> ExitCode {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(refused) => {
            // clap prints help and version to standard output, mistakes to standard error.
            let code = if refused.use_stderr() { 2 } else { 0 };
            let _ = refused.print();
            return ExitCode::from(code);
        }
    };
    let mut output = Output::of_this_process();
    match run(arguments, &mut output) {
        Ok(Outcome::Clean) => ExitCode::SUCCESS,
        Ok(Outcome::Found) => ExitCode::from(1),
        // Whoever reads our output has seen enough (`farandole moves | head`).
        Err(Problem::Output(error)) if error.kind() == io::ErrorKind::BrokenPipe => ExitCode::SUCCESS,
        Err(problem) => {
            output.complain(&problem);
            ExitCode::from(2)
        }
    }
}

/// Runs one command.
///
/// # Errors
/// [`Problem`]: what could not be done and the way out, in one sentence.
pub fn run(arguments: Arguments, output: &mut Output) -> Result<Outcome, Problem> {
    match arguments.command {
        None if io::stdin().is_terminal() && io::stdout().is_terminal() => {
            shelf::run(&arguments::Shelf::default(), output)
        }
        None => {
            output.print(WELCOME)?;
            Ok(Outcome::Clean)
        }
        Some(Command::Shelf(options)) => shelf::run(&options, output),
        Some(Command::Listen(options)) => listen::run(&options, output),
        Some(Command::Draft(options)) => draft::run(&options, output),
        Some(Command::Check(options)) => check::run(&options, output),
        Some(Command::HandOut(options)) => hand_out::run(&options, output),
        Some(Command::Sheet(options)) => sheet::run(&options, output),
        Some(Command::Repair(options)) => repair::run(&options, output),
        Some(Command::Lead(options)) => lead::run(&options, output),
        Some(Command::Contrast(options)) => contrast::run(&options, output),
        Some(Command::Demo(options)) => demo::run(&options, output),
        Some(Command::Carry(options)) => carry::run(&options, output),
        Some(Command::Programme(options)) => programme::run(&options, output),
        Some(Command::Pack(options)) => pack::run(&options, output),
        Some(Command::Unpack(options)) => unpack::run(&options, output),
        Some(Command::Moves(options)) => moves::run(&options, output),
        Some(Command::Completions { shell }) => complete::completions(shell, output),
        Some(Command::Manual) => complete::manual(output),
    }
}

/// What is said when no command is given.
const WELCOME: &str = "\
Farandole: teach music by movement.

  farandole shelf lessons             open the shelf: all dances of a folder, found by what they teach
  farandole demo                      lead the demo dance
  farandole listen song.mp3           what does this recording do?
  farandole draft song.mp3            make a first dance for it
  farandole sheet song.dance.json     write it: pin moves to counts
  farandole check song.dance.json     does it land, can it be read, can it be done?
  farandole repair song.dance.json    the beat is wrong here: correct it by ear
  farandole lead song.dance.json      lead the class from a full screen
  farandole lead --free song.mp3      no moves: words follow the music
  farandole contrast FOLDER           which three recordings differ most?
  farandole hand-out song.dance.json  print it: count sheet and more
  farandole carry song.dance.json other.mp3
                                      the same dance for another performance
  farandole pack song.dance.json      put it into one file for a colleague

'farandole help' lists everything; 'farandole help lead' explains one command.
";
