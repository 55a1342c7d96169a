//! `drills`: lists drills, archives one, or restores it.

mod archive;

use super::{Outcome, Ran};
use crate::drill::BUILT_IN;
use crate::services::{
    Failure,
    library::{Listed, list},
    output,
    table::table,
};
use crate::wording;

/// Arguments of `drills`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  gracerung drills\n  gracerung drills --show grip-from-d > my-grip.yaml\n  \
    gracerung drills --archive lamp-on-the-slipway-bars-5-8\n\n\
    A drill that is put away is moved into the folder `archive` beside your own drills: it is out of the\n\
    list and of the plan, and nothing of it is lost."
)]
pub(crate) struct Arguments {
    /// Print as JSON.
    #[arg(long)]
    json: bool,
    /// Print the file of a built-in drill, to start one of your own from.
    #[arg(long, value_name = "NAME", conflicts_with = "json")]
    show: Option<String>,
    /// Put a drill of your own away. Its marks stay in the journal.
    #[arg(long, value_name = "NAME", conflicts_with_all = ["json", "show"])]
    archive: Option<String>,
    /// Do not ask before it is put away.
    #[arg(long, requires = "archive")]
    yes: bool,
    /// Take a drill back that was put away.
    #[arg(long, value_name = "NAME", conflicts_with_all = ["json", "show", "archive"])]
    restore: Option<String>,
}

/// Runs `drills`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    if let Some(name) = &arguments.archive {
        return archive::put_away(name, arguments.yes);
    }
    if let Some(name) = &arguments.restore {
        return archive::take_back(name);
    }
    if let Some(name) = &arguments.show {
        let Some(drill) = crate::drill::built_in(name) else {
            let names = BUILT_IN.iter().map(|drill| drill.name);
            let hint = wording::nearest(name, names).map_or_else(String::new, |nearest| {
                format!("; did you mean `{nearest}`?")
            });
            return Err(Failure(format!(
                "no built-in drill is called `{name}`{hint}; without --show they are listed"
            )));
        };
        output::print(drill.text)?;
        return Ok(Outcome::Done);
    }
    let all = list();
    if arguments.json {
        output::print_json(&all)?;
        return Ok(Outcome::Done);
    }
    let rows: Vec<[String; 4]> = all.iter().map(row).collect();
    output::print(&table(["drill", "stages", "tempo", "what for"], &rows))?;
    Ok(Outcome::Done)
}

fn row(listed: &Listed) -> [String; 4] {
    let tempi = listed
        .tempi
        .as_ref()
        .map_or_else(String::new, |(from, to)| format!("{from} to {to}"));
    let about = match (&listed.about, listed.problems) {
        (_, problems) if problems > 0 => format!(
            "cannot be played: {}; see `gracerung check`",
            wording::count(problems, "problem", "problems")
        ),
        (Some(about), _) => about.clone(),
        (None, _) => listed.title.clone(),
    };
    [
        listed.name.clone(),
        listed.stages.len().to_string(),
        tempi,
        about,
    ]
}
