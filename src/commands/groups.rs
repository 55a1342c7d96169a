//! The subcommands in groups, each with a headline, as `--help` and the manual list them.

use crate::services::terminal;
use clap::Command;
use std::fmt::Write as _;
use std::io::IsTerminal as _;

/// Subcommands that belong together.
pub(crate) struct Group {
    /// The headline: what the commands are for.
    pub(crate) headline: &'static str,
    /// The commands' names, in the order in which they are listed.
    pub(crate) commands: &'static [&'static str],
}

const fn group(headline: &'static str, commands: &'static [&'static str]) -> Group {
    Group { headline, commands }
}

/// All groups.
pub(crate) const GROUPS: &[Group] = &[
    group(
        "Practise",
        &[
            "practise", "today", "warmup", "hear", "blow", "takes", "progress",
        ],
    ),
    group("Look a movement up", &["explain", "movements", "recognise"]),
    group(
        "Drills and tunes",
        &["drills", "make", "tune", "check", "import", "export"],
    ),
    group(
        "On paper and as sound",
        &["sheet", "handout", "render", "timeline"],
    ),
    group("Teach and learn", &["assign", "report", "review"]),
    group(
        "Hear a recording, set the sound up",
        &["listen", "calibrate", "devices"],
    ),
    group(
        "Look after it",
        &[
            "settings",
            "journal",
            "schema",
            "completions",
            "manual",
            "licences",
        ],
    ),
];

/// The purpose of a subcommand, in one line.
pub(crate) fn about(command: &Command, name: &str) -> String {
    command
        .find_subcommand(name)
        .and_then(Command::get_about)
        .map(ToString::to_string)
        .unwrap_or_default()
}

/// The width of the help in columns where standard output is no terminal. A terminal's own width is
/// used up to this.
const COLUMNS: usize = 100;
/// The width of the column of names.
const NAMES: usize = 15;

/// The command line with its help in groups.
pub(crate) fn grouped(command: Command) -> Command {
    let columns = if std::io::stdout().is_terminal() {
        terminal::columns().clamp(40, COLUMNS)
    } else {
        COLUMNS
    };
    let headline = *command.get_styles().get_header();
    let literal = *command.get_styles().get_literal();
    let mut listed = String::new();
    for group in GROUPS {
        let _ = writeln!(listed, "{headline}{}:{headline:#}", group.headline);
        for name in group.commands {
            let indent = " ".repeat(NAMES);
            let options = textwrap::Options::new(columns - NAMES)
                .word_splitter(textwrap::WordSplitter::NoHyphenation);
            let about =
                textwrap::wrap(&about(&command, name), options).join(&format!("\n{indent}"));
            let room = " ".repeat((NAMES - 2).saturating_sub(name.len()));
            let _ = writeln!(listed, "  {literal}{name}{literal:#}{room}{about}");
        }
        listed.push('\n');
    }
    command.help_template(format!(
        "{{about-with-newline}}\n{{usage-heading}} {{usage}}\n\n{listed}\
         {headline}Options:{headline:#}\n{{options}}{{after-help}}"
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::commands::Cli;
    use clap::CommandFactory;

    /// A command in no group would not be found by anybody who reads the help.
    #[test]
    fn every_command_stands_in_one_group() {
        let mut grouped: Vec<&str> = GROUPS
            .iter()
            .flat_map(|group| group.commands)
            .copied()
            .collect();
        grouped.sort_unstable();
        let command = Cli::command();
        let mut all: Vec<&str> = command.get_subcommands().map(Command::get_name).collect();
        all.sort_unstable();
        assert_eq!(grouped, all);
    }
}
