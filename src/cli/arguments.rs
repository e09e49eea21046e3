//! What can be said on the command line. This one table also makes the help, the completions and the manual page.

use crate::screen::FloorOptions;
use clap::{Args, CommandFactory, Parser, Subcommand};
use std::path::PathBuf;

/// Teach music by movement: find the counts of a recording, pin moves to them, check them, lead a class.
#[derive(Debug, Parser)]
#[command(name = "farandole", version, about, long_about = None, disable_help_subcommand = false)]
#[command(after_help = "Exit codes: 0 clean, 1 the check found something, 2 it could not be done.\n\
FARANDOLE_CACHE_DIR names the folder in which what was heard is remembered.")]
pub struct Arguments {
    /// What to do.
    #[command(subcommand)]
    pub(super) command: Option<Command>,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Open the shelf: the dances of a folder, found by what they teach (the same as farandole alone)
    Shelf(Shelf),
    /// Say what a recording does: beats, bars, phrases, faster and slower, louder and softer
    Listen(Listen),
    /// Make a first dance for a recording, to be edited
    Draft(Draft),
    /// Check a dance: does every cue land, can it be read in time, can children do it
    Check(Check),
    /// Write a dance: pin moves to counts, phrase by phrase
    Sheet(Sheet),
    /// Correct the beats of a dance by ear: tap along, halve, double, shift, set count one
    Repair(Repair),
    /// Lead a class from the full screen, in step with the sound
    Lead(Lead),
    /// Find the three recordings that differ most in tempo, loudness and articulation
    Contrast(Contrast),
    /// Put a dance on paper, on the wall, into the children's bags: count sheet and more
    #[command(name = "hand-out")]
    HandOut(HandOut),
    /// Carry a dance across to another performance of the same piece
    Carry(Carry),
    /// Add up a lesson: dances in order with minutes and notes; or lead it
    Programme(Programme),
    /// Put a dance and its recording into one file for a colleague
    Pack(Pack),
    /// Take a colleague's file apart again
    Unpack(Unpack),
    /// Show the move book
    Moves(Moves),
    /// Lead the demo dance, from a scratch copy
    Demo(Demo),
    /// Print completions for a shell
    Completions {
        /// Which shell
        shell: clap_complete::Shell,
    },
    /// Print the manual page (roff)
    #[command(name = "manual")]
    Manual,
}

/// Options of `shelf`.
#[derive(Debug, Args, Default)]
pub(super) struct Shelf {
    /// The folder [default: that of last time]
    pub(super) folder: Option<PathBuf>,
    /// Words to begin with: only dances that have them all are shown
    pub(super) words: Vec<String>,
    /// Print a list instead of opening the screen
    #[arg(long)]
    pub(super) list: bool,
    /// Print the list as JSON
    #[arg(long)]
    pub(super) json: bool,
    /// Lead and write without sound
    #[arg(long)]
    pub(super) silent: bool,
    /// Black words on a light ground
    #[arg(long)]
    pub(super) light: bool,
    #[command(flatten)]
    pub(super) hearing: Hearing,
}

/// How hearing is done.
#[derive(Debug, Args, Clone, Default)]
pub(super) struct Hearing {
    /// Listen anew, and remember nothing
    #[arg(long)]
    pub(super) no_cache: bool,
}

/// Who the dance is for.
#[derive(Debug, Args, Clone, Default)]
pub(super) struct Class {
    /// Age of the youngest pupils, in years
    #[arg(long, value_parser = clap::value_parser!(u8).range(3..=99))]
    pub(super) age: Option<u8>,
    /// Metres from the screen to the pupil furthest from it
    #[arg(long, value_parser = metres)]
    pub(super) distance: Option<f64>,
}

/// Options of `listen`.
#[derive(Debug, Args)]
pub(super) struct Listen {
    /// The recording: WAV, FLAC, MP3, Ogg Vorbis, AAC or M4A, AIFF
    pub(super) recording: PathBuf,
    /// Print everything as JSON
    #[arg(long)]
    pub(super) json: bool,
    #[command(flatten)]
    pub(super) hearing: Hearing,
}

/// Options of `draft`.
#[derive(Debug, Args)]
pub(super) struct Draft {
    /// The recording
    pub(super) recording: PathBuf,
    /// Where to write the dance [default: beside the recording, ending in .dance.json]
    #[arg(short, long, value_name = "DANCE")]
    pub(super) output: Option<PathBuf>,
    /// What to call it [default: the recording's title]
    #[arg(long)]
    pub(super) title: Option<String>,
    /// A file with moves of your own
    #[arg(long, value_name = "FILE")]
    pub(super) moves: Option<PathBuf>,
    /// Take the beats from this file instead of hearing them: CSV, JAMS or a MIDI tempo map
    #[arg(long, value_name = "FILE")]
    pub(super) beats: Option<PathBuf>,
    /// Say why each move was chosen
    #[arg(long)]
    pub(super) why: bool,
    /// Replace a dance that is already there
    #[arg(long)]
    pub(super) replace: bool,
    #[command(flatten)]
    pub(super) class: Class,
    #[command(flatten)]
    pub(super) hearing: Hearing,
}

/// Options of `check`.
#[derive(Debug, Args)]
pub(super) struct Check {
    /// The dance
    pub(super) dance: PathBuf,
    /// Print the report as JSON
    #[arg(long)]
    pub(super) json: bool,
    /// Draw the landing chart too: loudness, tempo, articulation, cues and turns (.svg or .pdf)
    #[arg(long, value_name = "FILE")]
    pub(super) chart: Option<PathBuf>,
    /// Replace a chart that is already there
    #[arg(long, requires = "chart")]
    pub(super) replace: bool,
    #[command(flatten)]
    pub(super) class: Class,
    #[command(flatten)]
    pub(super) hearing: Hearing,
}

/// Options of `hand-out`. Each kind has a switch; none of them means all that is made for paper.
#[derive(Debug, Args)]
pub(super) struct HandOut {
    /// The dance
    pub(super) dance: PathBuf,
    /// The count sheet: phrases down, counts across, words in the boxes
    #[arg(long)]
    pub(super) sheet: bool,
    /// The listening map: the piece as a path, with room to write
    #[arg(long)]
    pub(super) map: bool,
    /// The listening map with its answers
    #[arg(long)]
    pub(super) answers: bool,
    /// A page for home, with the recording inside: plays in any browser, offline
    #[arg(long)]
    pub(super) page: bool,
    /// The calls as captions for a video player: WebVTT and SubRip
    #[arg(long)]
    pub(super) captions: bool,
    /// The beats as a table (CSV)
    #[arg(long)]
    pub(super) beats: bool,
    /// The cues as a table (CSV)
    #[arg(long)]
    pub(super) cues: bool,
    /// A MIDI file with the tempo map, phrases, turns and cues
    #[arg(long)]
    pub(super) midi: bool,
    /// Beats and phrases for research programs (JAMS)
    #[arg(long)]
    pub(super) jams: bool,
    /// Everything [default: what is made for paper]
    #[arg(long)]
    pub(super) all: bool,
    /// The folder to write into [default: beside the dance]
    #[arg(long, value_name = "FOLDER", conflicts_with = "output")]
    pub(super) to: Option<PathBuf>,
    /// Write one kind to this file; its ending chooses the form
    #[arg(short, long, value_name = "FILE")]
    pub(super) output: Option<PathBuf>,
    /// Replace files that are already there
    #[arg(long)]
    pub(super) replace: bool,
    /// The paper
    #[arg(long, value_enum, default_value_t = PaperName::A4)]
    pub(super) paper: PaperName,
    /// Print your notes, and why each cue is where it is, too
    #[arg(long)]
    pub(super) notes: bool,
    /// Year in which the recording was first published, for the note on rights
    #[arg(long, value_parser = clap::value_parser!(u16).range(1860..=2200))]
    pub(super) year: Option<u16>,
    #[command(flatten)]
    pub(super) class: Class,
    #[command(flatten)]
    pub(super) hearing: Hearing,
}

/// A size of paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum PaperName {
    /// 210 by 297 mm
    A4,
    /// 8.5 by 11 inches
    Letter,
}

/// How the editors show and sound.
#[derive(Debug, Args)]
pub(super) struct Editor {
    /// Play no sound; the beats still go by on the screen
    #[arg(long)]
    pub(super) silent: bool,
    /// Sound comes this many milliseconds later than the device says [default: what is remembered for the device]
    #[arg(long, value_name = "MS", allow_negative_numbers = true,
          value_parser = clap::value_parser!(i32).range(-500..=1000))]
    pub(super) trim: Option<i32>,
    /// Black words on a light ground
    #[arg(long)]
    pub(super) light: bool,
    /// Leave the mouse to the terminal, which then selects and copies text as usual
    #[arg(long)]
    pub(super) no_mouse: bool,
}

impl Editor {
    /// The same for the screen.
    pub(super) fn floor(&self) -> FloorOptions {
        FloorOptions {
            silent: self.silent,
            trim_ms: self.trim,
            light: self.light,
            mouse: !self.no_mouse,
            ..FloorOptions::default()
        }
    }
}

/// Options of `sheet`.
#[derive(Debug, Args)]
pub(super) struct Sheet {
    /// The dance
    pub(super) dance: PathBuf,
    /// A file with moves of your own
    #[arg(long, value_name = "FILE")]
    pub(super) moves: Option<PathBuf>,
    #[command(flatten)]
    pub(super) editor: Editor,
    #[command(flatten)]
    pub(super) hearing: Hearing,
}

/// Options of `repair`.
#[derive(Debug, Args)]
pub(super) struct Repair {
    /// The dance
    pub(super) dance: PathBuf,
    /// Begin with the beats of this file: CSV, JAMS or a MIDI tempo map; your own corrections make way
    #[arg(long, value_name = "FILE")]
    pub(super) beats: Option<PathBuf>,
    /// Let your own corrections hold against the file's beats
    #[arg(long, requires = "beats")]
    pub(super) keep: bool,
    #[command(flatten)]
    pub(super) editor: Editor,
    #[command(flatten)]
    pub(super) hearing: Hearing,
}

/// Options of `lead`.
#[derive(Debug, Args)]
pub(super) struct Lead {
    /// The dance; with --free, a recording
    #[arg(value_name = "DANCE")]
    pub(super) dance: PathBuf,
    /// A free dance: no moves, the words say what the music does, and the class decides
    #[arg(long)]
    pub(super) free: bool,
    #[command(flatten)]
    pub(super) class: Class,
    #[command(flatten)]
    pub(super) floor: Floor,
    #[command(flatten)]
    pub(super) hearing: Hearing,
}

/// How the floor behaves.
#[derive(Debug, Args, Clone, Default)]
pub(super) struct Floor {
    /// Play no sound; the screen keeps time by itself
    #[arg(long)]
    pub(super) silent: bool,
    /// Show the picture this many milliseconds later (Bluetooth speakers: try 150) or, negative, earlier
    /// [default: what is remembered for the device]
    #[arg(long, value_name = "MS", allow_negative_numbers = true,
          value_parser = clap::value_parser!(i32).range(-500..=1000))]
    pub(super) trim: Option<i32>,
    /// Begin with the page that brings sound and picture in step
    #[arg(long, conflicts_with = "silent")]
    pub(super) in_step: bool,
    /// Black words on a light ground
    #[arg(long)]
    pub(super) light: bool,
    /// Begin with the gentle versions for the whole class
    #[arg(long)]
    pub(super) gentle: bool,
}

/// Options of `contrast`.
#[derive(Debug, Args)]
pub(super) struct Contrast {
    /// Recordings, or folders with recordings
    #[arg(required = true)]
    pub(super) recordings: Vec<PathBuf>,
    /// Print everything as JSON
    #[arg(long, conflicts_with = "lead")]
    pub(super) json: bool,
    /// Lead the three as free dances, one after the other
    #[arg(long)]
    pub(super) lead: bool,
    #[command(flatten)]
    pub(super) floor: Floor,
    #[command(flatten)]
    pub(super) class: Class,
    #[command(flatten)]
    pub(super) hearing: Hearing,
}

/// Options of `carry`.
#[derive(Debug, Args)]
pub(super) struct Carry {
    /// The dance, with its own recording where it says
    pub(super) dance: PathBuf,
    /// The other performance
    pub(super) recording: PathBuf,
    /// Where to write the new dance [default: beside the new recording, ending in .dance.json]
    #[arg(short, long, value_name = "DANCE")]
    pub(super) output: Option<PathBuf>,
    /// Replace a dance that is already there
    #[arg(long)]
    pub(super) replace: bool,
    #[command(flatten)]
    pub(super) hearing: Hearing,
}

/// Options of `programme`.
#[derive(Debug, Args)]
pub(super) struct Programme {
    /// The lesson: one item a line, as in '10 goats.dance.json twice' or '3 water'; or JSON
    pub(super) file: PathBuf,
    /// Print the report as JSON
    #[arg(long, conflicts_with = "lead")]
    pub(super) json: bool,
    /// Lead the dances one after another, with a pause between
    #[arg(long)]
    pub(super) lead: bool,
    #[command(flatten)]
    pub(super) floor: Floor,
    #[command(flatten)]
    pub(super) hearing: Hearing,
}

/// Options of `pack`.
#[derive(Debug, Args)]
pub(super) struct Pack {
    /// The dance
    pub(super) dance: PathBuf,
    /// The file to write [default: beside the dance, ending in .farandole.zip]
    #[arg(short, long, value_name = "FILE")]
    pub(super) output: Option<PathBuf>,
    /// Leave the recording out, where you may not pass it on
    #[arg(long)]
    pub(super) without_recording: bool,
    /// Take your notes to yourself along
    #[arg(long)]
    pub(super) notes: bool,
    /// Replace a file that is already there
    #[arg(long)]
    pub(super) replace: bool,
    #[command(flatten)]
    pub(super) hearing: Hearing,
}

/// Options of `unpack`.
#[derive(Debug, Args)]
pub(super) struct Unpack {
    /// The file that a colleague has packed
    pub(super) file: PathBuf,
    /// The folder to write into; made if it is not there [default: beside the file, named after it]
    #[arg(long, value_name = "FOLDER")]
    pub(super) to: Option<PathBuf>,
}

/// Options of `moves`.
#[derive(Debug, Args)]
pub(super) struct Moves {
    /// Show only moves that fit these letters
    pub(super) search: Option<String>,
    /// A file with moves of your own
    #[arg(long, value_name = "FILE")]
    pub(super) moves: Option<PathBuf>,
    /// Print the book as JSON, in the form of a file of your own moves
    #[arg(long)]
    pub(super) json: bool,
}

/// Options of `demo`.
#[derive(Debug, Args)]
pub(super) struct Demo {
    /// Which demo dance [default: the farandole]
    pub(super) name: Option<String>,
    /// List the demo dances
    #[arg(long)]
    pub(super) list: bool,
    /// Copy the demo recordings and dances into a folder of yours, and lead nothing
    #[arg(long, value_name = "FOLDER")]
    pub(super) copy_to: Option<PathBuf>,
    #[command(flatten)]
    pub(super) floor: Floor,
}

/// The whole command line as clap knows it, for help, completions and the manual page.
#[must_use]
pub fn command() -> clap::Command {
    Arguments::command()
}

/// A distance that fits in a hall.
fn metres(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(metres) if (0.3..=60.0).contains(&metres) => Ok(metres),
        _ => Err("give metres from 0.3 to 60".into()),
    }
}

#[cfg(test)]
mod tests {
    #[test]
    fn the_table_is_sound() {
        super::command().debug_assert();
    }
}
