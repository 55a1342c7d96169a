//! The command line: one file for each subcommand, with typed arguments and exit codes.
//!
//! This room is the shell around the core: files, folders, the clock and streams are used here and
//! not in the rooms below. The exit code is 0 for done, 1 for done with findings, and 2 for a
//! command that could not run.

mod arguments;
mod blow;
mod book;
mod calibrate;
mod check;
mod completions;
mod devices;
mod drills;
mod explain;
mod export;
mod first;
mod groups;
mod handout;
mod hear;
mod homework;
mod import;
mod journal;
mod licences;
mod listen;
mod make;
mod manual;
mod movements;
mod practise;
mod progress;
mod recognise;
mod render;
mod schema;
mod screen_arguments;
mod settings;
mod sheet;
mod takes;
mod timeline;
mod today;
mod tune;
mod warmup;

use crate::services::{Failure, output, terminal};
use clap::{CommandFactory as _, FromArgMatches as _, Parser, Subcommand};
use std::ffi::OsString;
use std::process::ExitCode;

/// The result of a command that ran to its end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Outcome {
    /// The command found nothing to report.
    Done,
    /// The command ran, and found something that the caller asked about, such as a problem in a
    /// file.
    Findings,
}

/// The return type of every command.
pub(crate) type Ran = Result<Outcome, Failure>;

#[derive(Parser)]
#[command(
    name = "gracerung",
    // without it the help on Windows shows the name with `.exe`
    bin_name = "gracerung",
    version,
    about = "Metronome-locked drills for pipers",
    long_about = "Metronome-locked drills for pipers: take a movement apart into written-out \
                  stages, play each with the click until it comes clean several times running, \
                  climb the tempo ladder, step back when it falls apart.",
    after_help = "Exit codes: 0 done, 1 done with findings, 2 could not run.",
    arg_required_else_help = false,
    propagate_version = true
)]
struct Cli {
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Subcommand)]
enum Command {
    /// Practise a drill: the screen, the click, the board.
    #[command(alias = "practice")]
    Practise(practise::Arguments),
    /// List the drills: those inside the program and your own.
    Drills(drills::Arguments),
    /// Read drill files and tell every problem in them.
    Check(check::Arguments),
    /// Write a stage into a WAV file.
    Render(render::Arguments),
    /// Draw drills for the music stand: PDF, SVG or PNG.
    Sheet(sheet::Arguments),
    /// Write a drill as a page for a browser that plays, works offline and takes ticks.
    Handout(handout::Arguments),
    /// Print what sounds when, to the frame.
    Timeline(timeline::Arguments),
    /// Name a run of gracenotes between two notes.
    #[command(alias = "recognize")]
    Recognise(recognise::Arguments),
    /// Explain a movement: what, why, which fingers, when, what to listen for.
    Explain(explain::Arguments),
    /// Make a drill file of a movement, of the crossings or of one finger.
    Make(make::Arguments),
    /// List a tune's movements, hardest first; make a drill of a bar or a movement of it.
    Tune(tune::Arguments),
    /// List and search the movements; print the catalogue.
    Movements(movements::Arguments),
    /// Hear a recording: which notes, and how they compare with a drill.
    Listen(listen::Arguments),
    /// Hear a take again that was kept while practising: beside the reference, at half speed.
    Takes(takes::Arguments),
    /// Write a drill for other programs: ABC, MIDI or MusicXML.
    Export(export::Arguments),
    /// Make a drill of another program's file: ABC, MIDI or MusicXML.
    Import(import::Arguments),
    /// List the sound devices and the microphones.
    Devices(devices::Arguments),
    /// Measure how late the microphone hears what is played, for marking by ear.
    Calibrate(calibrate::Arguments),
    /// What to practise now, and why.
    Today(today::Arguments),
    /// How the weeks went: tempi climbed, clean rates, minutes, lengths.
    Progress(progress::Arguments),
    /// The note you hold: its pitch, how evenly, how long. For blowing evenly.
    Blow(blow::Arguments),
    /// Train the ear: a movement is played, clean or with one fault, and you say which.
    Hear(hear::Arguments),
    /// A warm-up that runs by itself and marks nothing.
    Warmup(warmup::Arguments),
    /// Write homework: drills to work on, what to reach, by when.
    Assign(homework::assign::Arguments),
    /// Write a report on homework for the teacher.
    Report(homework::report::Arguments),
    /// Show the reports of a class: who is stuck, where, since when.
    Review(homework::review::Arguments),
    /// Look after the journal: check, export, import, back up, merge.
    Journal(journal::Arguments),
    /// Show each setting, its value and where it comes from.
    Settings(settings::Arguments),
    /// Print the JSON Schema of a drill file, for editors.
    Schema(schema::Arguments),
    /// Print the licences of the program, its fonts and its libraries.
    #[command(alias = "licenses")]
    Licences(licences::Arguments),
    /// Print a completion script for a shell.
    Completions(completions::Arguments),
    /// Print the manual page, or write all of them into a folder.
    Manual(manual::Arguments),
}

/// Runs the program with these arguments, of which the first is the program's own name.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let arguments: Vec<OsString> = arguments.into_iter().collect();
    terminal::tell_panics_visibly();
    // Scripts ask for the version on every run, so it is answered before thirty subcommands are
    // built.
    if let [_, only] = arguments.as_slice()
        && (only == "--version" || only == "-V")
    {
        return match output::print(concat!("gracerung ", env!("CARGO_PKG_VERSION"), "\n")) {
            Ok(()) => ExitCode::SUCCESS,
            Err(_) => ExitCode::from(2),
        };
    }
    if completions::answered(&arguments) {
        return ExitCode::SUCCESS;
    }
    let parsed = groups::grouped(Cli::command())
        .try_get_matches_from(arguments)
        .and_then(|matches| Cli::from_arg_matches(&matches));
    let cli = match parsed {
        Ok(cli) => cli,
        Err(error) => {
            // Help is our own text and keeps its styles. An error repeats what was typed.
            if !error.use_stderr() {
                // A closed pipe must not cause a panic.
                let _ = error.print();
                return ExitCode::SUCCESS;
            }
            output::say_error(error.render().to_string().trim_end());
            return ExitCode::from(2);
        }
    };
    let ran = match cli.command {
        None => match first::ask() {
            Ok(true) => practise::choose(),
            Ok(false) => Ok(Outcome::Done),
            Err(failure) => Err(failure),
        },
        Some(Command::Practise(arguments)) => practise::run(&arguments),
        Some(Command::Drills(arguments)) => drills::run(&arguments),
        Some(Command::Check(arguments)) => check::run(&arguments),
        Some(Command::Render(arguments)) => render::run(&arguments),
        Some(Command::Sheet(arguments)) => sheet::run(&arguments),
        Some(Command::Handout(arguments)) => handout::run(&arguments),
        Some(Command::Timeline(arguments)) => timeline::run(&arguments),
        Some(Command::Recognise(arguments)) => recognise::run(&arguments),
        Some(Command::Explain(arguments)) => explain::run(&arguments),
        Some(Command::Make(arguments)) => make::run(&arguments),
        Some(Command::Tune(arguments)) => tune::run(&arguments),
        Some(Command::Movements(arguments)) => movements::run(&arguments),
        Some(Command::Listen(arguments)) => listen::run(&arguments),
        Some(Command::Takes(arguments)) => takes::run(&arguments),
        Some(Command::Export(arguments)) => export::run(&arguments),
        Some(Command::Import(arguments)) => import::run(&arguments),
        Some(Command::Devices(arguments)) => devices::run(&arguments),
        Some(Command::Calibrate(arguments)) => calibrate::run(&arguments),
        Some(Command::Today(arguments)) => today::run(&arguments),
        Some(Command::Progress(arguments)) => progress::run(&arguments),
        Some(Command::Blow(arguments)) => blow::run(&arguments),
        Some(Command::Hear(arguments)) => hear::run(&arguments),
        Some(Command::Warmup(arguments)) => warmup::run(&arguments),
        Some(Command::Assign(arguments)) => homework::assign::run(&arguments),
        Some(Command::Report(arguments)) => homework::report::run(&arguments),
        Some(Command::Review(arguments)) => homework::review::run(&arguments),
        Some(Command::Journal(arguments)) => journal::run(&arguments),
        Some(Command::Settings(arguments)) => settings::run(&arguments),
        Some(Command::Schema(arguments)) => schema::run(&arguments),
        Some(Command::Licences(arguments)) => licences::run(&arguments),
        Some(Command::Completions(arguments)) => completions::run(&arguments),
        Some(Command::Manual(arguments)) => manual::run(&arguments),
    };
    match ran {
        Ok(Outcome::Done) => ExitCode::SUCCESS,
        Ok(Outcome::Findings) => ExitCode::from(1),
        Err(failure) => {
            output::complain(&failure.0);
            ExitCode::from(2)
        }
    }
}
