//! The program: reads arguments and leaves the rest to the library.

use std::process::ExitCode;

fn main() -> ExitCode {
    gracerung::commands::run(std::env::args_os())
}
