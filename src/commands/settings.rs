//! `settings`: shows each setting with its value and source, and loads the settings for the other
//! commands.

use super::{Outcome, Ran};
use crate::services::{Failure, calibration, folders, output, settings, table::table};
use crate::settings::{Origin, Value};
use crate::wording;
use serde::Serialize;

/// Arguments of `settings`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  gracerung settings\n  gracerung settings --json\n  \
    gracerung settings --write    (a file with every default, to edit)\n  \
    GRACERUNG_LA=238 gracerung settings\n\n\
    A flag wins over the environment, that over the file, that over the default.\n\
    Exit 0: read. Exit 1: problems were found."
)]
pub(crate) struct Arguments {
    /// Print as JSON.
    #[arg(long)]
    json: bool,
    /// Write a settings file with every default as a comment, where there is none yet.
    #[arg(long, conflicts_with = "json")]
    write: bool,
}

#[derive(Serialize)]
struct Row<'a> {
    name: &'a str,
    value: &'a Value,
    origin: Origin,
    variable: String,
    about: &'a str,
}

/// Runs `settings`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    let path = folders::settings()?;
    if arguments.write {
        if std::fs::symlink_metadata(&path).is_ok() {
            return Err(Failure(format!(
                "`{}` exists and was left as it is: edit it, or move it away first",
                path.display()
            )));
        }
        if let Some(folder) = path.parent() {
            output::make_folder(folder)?;
        }
        output::write_bytes(&path, false, settings::starter(&[]).as_bytes())?;
        output::wrote(&path, "every setting with its default, to edit")?;
        return Ok(Outcome::Done);
    }
    let (own, trouble) = settings::read_all(&[])?;
    for problem in &trouble {
        output::complain(&problem.text);
    }
    let rows: Vec<Row<'_>> = own
        .parts()
        .iter()
        .map(|part| Row {
            name: part.setting.name,
            value: &part.value,
            origin: part.origin,
            variable: part.setting.variable(),
            about: part.setting.about,
        })
        .collect();
    if arguments.json {
        output::print_json(&rows)?;
    } else {
        let there = if path.exists() {
            ""
        } else {
            " (not there: `gracerung settings --write` makes it)"
        };
        let rows: Vec<[String; 4]> = rows
            .iter()
            .map(|row| {
                [
                    row.name.to_owned(),
                    row.value.to_string(),
                    row.origin.name().to_owned(),
                    row.about.to_owned(),
                ]
            })
            .collect();
        let pairs = match calibration::stored() {
            Ok(pairs) if pairs.is_empty() => String::new(),
            Ok(pairs) => format!(
                "measured: {} (`gracerung calibrate --list`)\n",
                wording::count(pairs.len(), "pair of devices", "pairs of devices")
            ),
            Err(failure) => format!("measured: {failure}\n"),
        };
        let text = format!(
            "file: {}{there}\n{pairs}\n{}",
            path.display(),
            table(["setting", "value", "from", "what for"], &rows)
        );
        output::print(&text)?;
    }
    Ok(if trouble.is_empty() {
        Outcome::Done
    } else {
        Outcome::Findings
    })
}
