//! `progress`: shows the results of the past weeks.

use super::{Outcome, Ran, today, tune};
use crate::app::scores;
use crate::journal::{Journal, JournalError};
use crate::planning::{
    Digest, Earlier, Known, Played, Progress, heard_apart, is_part_of, progress, work_on,
    work_on_words,
};
use crate::score::Score;
use crate::services::{Failure, library, open, output, plan, settings};
use crate::wording;
use jiff::civil::Date;
use std::path::{Path, PathBuf};

mod csv;
mod glance;
mod lines;
mod paint;
mod picture;

/// Arguments of `progress`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  gracerung progress\n  gracerung progress --details\n  gracerung progress grip-from-d --since 2027-01-01\n  \
    gracerung progress birl -o birl.svg\n  gracerung progress -o progress.html\n  \
    gracerung progress --csv > progress.csv\n  gracerung progress --heard-apart --csv > ear.csv"
)]
pub(crate) struct Arguments {
    /// A drill by name or path, or a movement; else every drill.
    #[arg(value_name = "DRILL|MOVEMENT")]
    what: Option<String>,
    /// From this day on, such as 2027-01-15.
    #[arg(long, value_name = "DATE", value_parser = today::day)]
    since: Option<Date>,
    /// Print as JSON.
    #[arg(long)]
    json: bool,
    /// Print the cells as CSV.
    #[arg(long, conflicts_with = "json")]
    csv: bool,
    /// The statistics: minutes by day, clean rates by cell, lengths heard, what the ear tells apart.
    #[arg(long, conflicts_with_all = ["json", "csv"])]
    details: bool,
    /// Only what `hear` found: the smallest fault you hear, sitting by sitting.
    #[arg(long)]
    heard_apart: bool,
    /// Write a picture (.svg, .png) or a page (.html).
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Replace the file when it exists.
    #[arg(long)]
    force: bool,
}

/// The drills that the command line asks for: one by its name, or all drills of a movement.
fn meant(what: Option<&str>) -> Result<Vec<Known>, Failure> {
    let Some(what) = what else {
        return Ok(plan::all_known());
    };
    let unknown = match open::open(what) {
        Ok(opened) => return Ok(vec![plan::known(&opened)]),
        Err(failure) => failure,
    };
    let plain = what.to_lowercase().replace(['-', '_'], " ");
    let of_movement: Vec<Known> =
        library::list()
            .iter()
            .filter_map(|listed| open::open(&listed.name).ok())
            .filter(|opened| {
                opened.drill.movement.as_ref().is_some_and(|line| {
                    line.movement.name().to_lowercase().replace('-', " ") == plain
                })
            })
            .map(|opened| plan::known(&opened))
            .collect();
    if of_movement.is_empty() {
        Err(unknown)
    } else {
        Ok(of_movement)
    }
}

/// The titles of the tunes that the command line asks for, each with the bars to work on. The
/// results of a drill made of some bars of a tune count for that tune.
fn failing(what: Option<&str>) -> Vec<(String, String)> {
    let playable = library::playable();
    let named: Vec<_> = what
        .and_then(|what| open::open(what).ok())
        .into_iter()
        .collect();
    let meant = if what.is_some() { &named } else { &playable };
    let tunes: Vec<_> = meant
        .iter()
        .filter(|opened| opened.drill.is_tune())
        .filter_map(|opened| Some((opened, scores(&opened.drill).pop()?)))
        .collect();
    let whole = |score: &Score| {
        let longer = |other: &Score| other.notes.len() > score.notes.len();
        !tunes
            .iter()
            .any(|(_, other)| longer(other) && is_part_of(other, score))
    };
    tunes
        .iter()
        .filter(|(_, score)| whole(score))
        .filter_map(|(opened, _)| {
            let words = work_on_words(&work_on(&tune::failing(opened, 0, &playable)))?;
            Some((opened.drill.title.clone(), words))
        })
        .collect()
}

/// Music that was marked under a drill's name but is in none of these drills as they are now.
fn earlier(journal: &Journal, drills: &[Known]) -> Result<Vec<Earlier>, JournalError> {
    let mut found = Vec::new();
    for drill in drills {
        for stage in journal.stages_of(&drill.name)? {
            if !drills.iter().any(|drill| drill.prints().contains(&stage)) {
                found.push(Earlier {
                    drill: drill.name.clone(),
                    stage,
                });
            }
        }
    }
    Ok(found)
}

/// Runs `progress`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    if let Some(target) = &arguments.output {
        ready(target, arguments.force)?;
    }
    let drills = meant(arguments.what.as_deref())?;
    let rule = settings::rule(&plan::own_settings()?);
    let mut digest = Digest::default();
    let (mut measured, mut played, mut before) = (Vec::new(), Vec::new(), Vec::new());
    let mut apart = Vec::new();
    if let Some(journal) = plan::journal()? {
        let told = |error: JournalError| Failure(error.to_string());
        before = earlier(&journal, &drills).map_err(told)?;
        let stages: Vec<_> = drills
            .iter()
            .flat_map(Known::prints)
            .chain(before.iter().map(|one| one.stage))
            .collect();
        digest = plan::digest_of(&journal)?;
        measured = journal.measured(&stages).map_err(told)?;
        played = journal.playing(i64::MIN).map_err(told)?;
        apart = journal.discriminations().map_err(told)?;
        if arguments.what.is_some() {
            let ours = |stretch: &Played| drills.iter().any(|drill| drill.name == stretch.drill);
            played.retain(ours);
        }
    }
    let mut found = progress(
        &digest,
        &measured,
        &played,
        &drills,
        &before,
        arguments.since,
        &rule,
    );
    found.heard_apart = heard_apart(&apart, &drills, arguments.since);
    let alone = arguments.heard_apart;
    if arguments.json && alone {
        output::print_json(&found.heard_apart)?;
    } else if arguments.json {
        output::print_json(&found)?;
    } else if arguments.csv && alone {
        output::print(&csv::heard_apart(&found.heard_apart))?;
    } else if arguments.csv {
        output::print(&csv::cells(&found))?;
    } else if alone && arguments.output.is_none() {
        let text = lines::heard_apart(&found.heard_apart);
        output::print(if text.is_empty() {
            "nothing was heard apart yet: `gracerung hear DRILL` begins\n"
        } else {
            text.trim_start()
        })?;
    } else if arguments.output.is_none() {
        let failing = failing(arguments.what.as_deref());
        let nothing = found.days.is_empty() && found.cells.is_empty();
        output::print(&if arguments.details || nothing {
            lines::text(&found, &failing, plan::date())
        } else {
            glance::text(&found, &drills, &failing, plan::date())
        })?;
    }
    if let Some(target) = &arguments.output {
        let title = match (drills.as_slice(), arguments.what.as_deref()) {
            ([drill], Some(_)) => drill.title.clone(),
            (_, what) => what.unwrap_or("every drill").to_owned(),
        };
        let failing = || failing(arguments.what.as_deref());
        let bytes = pictured(target, &title, (&found, &drills), failing)?;
        output::write_bytes(target, arguments.force, &bytes)?;
        if !arguments.json && !arguments.csv {
            output::wrote(target, &format!("how the weeks went, {title}"))?;
        }
    }
    Ok(Outcome::Done)
}

/// Refuses a target that cannot be written, before the journal is read.
fn ready(target: &Path, force: bool) -> Result<(), Failure> {
    output::ready_to_write(target, force)?;
    match target.extension().and_then(|end| end.to_str()) {
        Some("svg" | "png" | "html") => Ok(()),
        _ => Err(Failure(format!(
            "`{}` does not say what to write: end it with .svg, .png or .html",
            target.display()
        ))),
    }
}

/// The file in the format of the target's extension: an SVG, a PNG, or an HTML page with the
/// picture in two widths and all lines.
fn pictured(
    target: &Path,
    title: &str,
    (found, drills): (&Progress, &[Known]),
    failing: impl Fn() -> Vec<(String, String)>,
) -> Result<Vec<u8>, Failure> {
    let title_of = |name: &str| {
        let known = drills.iter().find(|drill| drill.name == name);
        known.map_or_else(|| name.to_owned(), |drill| drill.title.clone())
    };
    let shown = picture::Shown::of(&wording::capital(title), found, title_of);
    let svg = |width| picture::svg(&shown, width).map_err(Failure);
    Ok(match target.extension().and_then(|end| end.to_str()) {
        Some("svg") => svg(picture::WIDE)?.into_bytes(),
        Some("png") => picture::png(&shown).map_err(Failure)?,
        _ => {
            let text = lines::text(found, &failing(), plan::date());
            let pictures = [svg(picture::WIDE)?, svg(picture::NARROW)?];
            let [wide, narrow] = &pictures;
            picture::html(title, [wide, narrow], &text).into_bytes()
        }
    })
}
