//! `completions`: a script for a shell.

use super::{Cli, Outcome, Ran, output};
use clap::CommandFactory;
use clap_complete::Shell;

/// Arguments of `completions`.
#[derive(clap::Args)]
#[command(
    after_help = "Example:\n  gracerung completions bash > ~/.local/share/bash-completion/completions/gracerung"
)]
pub(crate) struct Arguments {
    /// Which shell.
    shell: Shell,
}

/// Runs `completions`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    let mut script = Vec::new();
    clap_complete::generate(
        arguments.shell,
        &mut Cli::command(),
        "gracerung",
        &mut script,
    );
    output::print(&String::from_utf8_lossy(&script))?;
    Ok(Outcome::Done)
}
