//! `manual`: prints the manual pages, which are made from the definition of the command line.

use super::{Cli, Outcome, Ran, groups};
use crate::services::{Failure, output};
use clap::{Command, CommandFactory};
use clap_mangen::Man;
use clap_mangen::roff::{Roff, bold, roman};
use std::path::PathBuf;

/// Arguments of `manual`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  gracerung manual | man -l -\n  gracerung manual -o ~/.local/share/man/man1"
)]
pub(crate) struct Arguments {
    /// A folder to write every page into: gracerung.1 and one for each command.
    #[arg(short, long, value_name = "FOLDER")]
    output: Option<PathBuf>,
}

/// Runs `manual`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    let Some(folder) = &arguments.output else {
        output::print(&page(None)?)?;
        return Ok(Outcome::Done);
    };
    output::make_folder(folder)?;
    let command = Cli::command();
    let names: Vec<&str> = command.get_subcommands().map(Command::get_name).collect();
    for name in [None].into_iter().chain(names.iter().copied().map(Some)) {
        let file = folder.join(match name {
            None => "gracerung.1".to_owned(),
            Some(name) => format!("gracerung-{name}.1"),
        });
        output::write_bytes(&file, true, page(name)?.as_bytes())?;
    }
    output::print(&format!(
        "{}: gracerung.1 and {} more manual pages\n",
        folder.display(),
        names.len()
    ))?;
    Ok(Outcome::Done)
}

/// The manual page of the program, or of one subcommand.
fn page(name: Option<&str>) -> Result<String, Failure> {
    let told = |error: std::io::Error| Failure(format!("cannot write the manual: {error}"));
    let mut whole = Cli::command().disable_help_subcommand(true);
    whole.build();
    let mut bytes = Vec::new();
    let man = |command: Command| {
        Man::new(command)
            .title("GRACERUNG")
            .source(concat!("gracerung ", env!("CARGO_PKG_VERSION")))
            .manual("gracerung")
    };
    if let Some(name) = name {
        let command = whole.find_subcommand(name).cloned();
        let command = command.ok_or_else(|| Failure(format!("there is no command `{name}`")))?;
        man(command).render(&mut bytes).map_err(told)?;
    } else {
        let man = man(whole.clone());
        man.render_title(&mut bytes).map_err(told)?;
        man.render_name_section(&mut bytes).map_err(told)?;
        man.render_synopsis_section(&mut bytes).map_err(told)?;
        man.render_description_section(&mut bytes).map_err(told)?;
        own_sections(&whole).to_writer(&mut bytes).map_err(told)?;
        man.render_options_section(&mut bytes).map_err(told)?;
        man.render_version_section(&mut bytes).map_err(told)?;
    }
    Ok(escaped(&String::from_utf8_lossy(&bytes)))
}

/// Escapes characters outside ASCII as `\[uXXXX]`, which every reader of manual pages knows
/// (groff_char).
fn escaped(text: &str) -> String {
    use std::fmt::Write as _;
    let mut out = String::with_capacity(text.len());
    for sign in text.chars() {
        if sign.is_ascii() {
            out.push(sign);
        } else {
            let _ = write!(out, "\\[u{:04X}]", u32::from(sign));
        }
    }
    out
}

/// The sections that are written by hand: commands in groups, files, environment and exit codes.
fn own_sections(whole: &Command) -> Roff {
    let mut roff = Roff::new();
    roff.control("SH", ["COMMANDS"]);
    for group in groups::GROUPS {
        roff.control("SS", [group.headline]);
        for name in group.commands {
            roff.control("TP", []);
            roff.text([bold(format!("gracerung-{name}")), roman("(1)")]);
            roff.text([roman(groups::about(whole, name))]);
        }
    }
    let sections: [(&str, &[(&str, &str)]); 3] = [
        (
            "FILES",
            &[
                ("~/.local/share/gracerung/drills", "your own drills"),
                (
                    "~/.local/share/gracerung/journal.sqlite",
                    "what was clean, and when",
                ),
                ("~/.config/gracerung/settings.toml", "your settings"),
            ],
        ),
        (
            "ENVIRONMENT",
            &[
                (
                    "GRACERUNG_LA, GRACERUNG_CLICK and the like",
                    "a setting; `gracerung settings` lists them",
                ),
                (
                    "XDG_DATA_HOME, XDG_CONFIG_HOME",
                    "where the folders above lie",
                ),
                ("NO_COLOR", "no colours"),
            ],
        ),
        (
            "EXIT STATUS",
            &[
                ("0", "done"),
                ("1", "done with findings"),
                ("2", "could not run"),
            ],
        ),
    ];
    for (head, rows) in sections {
        roff.control("SH", [head]);
        for (what, means) in rows {
            roff.control("TP", []);
            roff.text([bold(*what)]);
            roff.text([roman(*means)]);
        }
    }
    roff
}
