//! `progress`: how the weeks went.

use super::{Outcome, Ran, today, tune};
use crate::app::scores;
use crate::journal::{Journal, JournalError};
use crate::planning::{
    Digest, Earlier, HeardApart, Known, Played, PointedWeek, Progress, heard_apart, is_part_of,
    progress, work_on, work_on_words,
};
use crate::score::Score;
use crate::services::{Failure, library, open, output, plan, settings};
use crate::units::Milliseconds;
use crate::wording;
use jiff::civil::Date;
use std::path::PathBuf;

mod glance;
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

/// The drills that are meant: one by name, or all of a movement.
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

/// The tunes that are meant with the bars to work on in each; a drill of some bars of another tune is
/// that tune's.
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

/// The music that was marked under a drill's name and stands in none of these drills as they are
/// now.
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
        output::ready_to_write(target, arguments.force)?;
        if !matches!(
            target.extension().and_then(|end| end.to_str()),
            Some("svg" | "png" | "html")
        ) {
            return Err(Failure(format!(
                "`{}` does not say what to write: end it with .svg, .png or .html",
                target.display()
            )));
        }
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
        output::print(&apart_csv(&found.heard_apart))?;
    } else if arguments.csv {
        output::print(&csv(&found))?;
    } else if alone && arguments.output.is_none() {
        let text = apart_text(&found.heard_apart);
        output::print(if text.is_empty() {
            "nothing was heard apart yet: `gracerung hear DRILL` begins\n"
        } else {
            text.trim_start()
        })?;
    } else if arguments.output.is_none() {
        let failing = failing(arguments.what.as_deref());
        let nothing = found.days.is_empty() && found.cells.is_empty();
        output::print(&if arguments.details || nothing {
            text(&found, &failing, plan::date())
        } else {
            glance::text(&found, &drills, &failing, plan::date())
        })?;
    }
    if let Some(target) = &arguments.output {
        let title_of = |name: &str| {
            let known = drills.iter().find(|drill| drill.name == name);
            known.map_or_else(|| name.to_owned(), |drill| drill.title.clone())
        };
        let title = match (drills.as_slice(), arguments.what.as_deref()) {
            ([drill], Some(_)) => drill.title.clone(),
            (_, what) => what.unwrap_or("every drill").to_owned(),
        };
        let shown = picture::Shown::of(&wording::capital(&title), &found, title_of);
        let svg = |width| picture::svg(&shown, width).map_err(Failure);
        let bytes = match target.extension().and_then(|end| end.to_str()) {
            Some("svg") => svg(picture::WIDE)?.into_bytes(),
            Some("png") => picture::png(&shown).map_err(Failure)?,
            _ => {
                let failing = failing(arguments.what.as_deref());
                let text = text(&found, &failing, plan::date());
                let pictures = [svg(picture::WIDE)?, svg(picture::NARROW)?];
                let [wide, narrow] = &pictures;
                picture::html(&title, [wide, narrow], &text).into_bytes()
            }
        };
        output::write_bytes(target, arguments.force, &bytes)?;
        if !arguments.json && !arguments.csv {
            output::wrote(target, &format!("how the weeks went, {title}"))?;
        }
    }
    Ok(Outcome::Done)
}

/// A field of CSV (RFC 4180).
fn field(text: &str) -> String {
    if text.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.to_owned()
    }
}

fn csv(found: &Progress) -> String {
    use std::fmt::Write as _;
    let mut text =
        "drill,stage,tempo,clean,of,chance,low,high,cleared,last,due,held,by_heart\r\n".to_owned();
    for cell in &found.cells {
        let day = |day: Option<Date>| day.map_or_else(String::new, |day| day.to_string());
        let _ = write!(
            text,
            "{},{},{},{},{},{:.4},{:.4},{:.4},{},{},{},{},{}\r\n",
            field(&cell.drill),
            field(&cell.stage),
            cell.rung,
            cell.chance.clean,
            cell.chance.of,
            cell.chance.mean,
            cell.chance.low,
            cell.chance.high,
            day(cell.cleared),
            cell.last,
            day(cell.due),
            day(cell.held),
            cell.by_heart,
        );
    }
    text
}

fn apart_csv(lines: &[HeardApart]) -> String {
    use std::fmt::Write as _;
    let mut text = "day,drill,fault,what,threshold_ms,low_ms,high_ms,right,answers\r\n".to_owned();
    for line in lines {
        let threshold = line
            .threshold
            .map_or_else(String::new, |ms| format!("{ms:.1}"));
        let _ = write!(
            text,
            "{},{},{},{},{threshold},{:.1},{:.1},{},{}\r\n",
            line.day,
            field(&line.drill),
            line.difference.name(),
            field(&line.what),
            line.low,
            line.high,
            line.right,
            line.answers,
        );
    }
    text
}

/// The smallest faults heard, fault by fault, at most 78 columns; empty where there are none.
fn apart_text(lines: &[HeardApart]) -> String {
    use std::fmt::Write as _;
    let mut text = String::new();
    let mut groups: Vec<(&str, &str)> = Vec::new();
    for line in lines {
        let group = (line.drill.as_str(), line.what.as_str());
        if !groups.contains(&group) {
            groups.push(group);
        }
    }
    if !groups.is_empty() {
        text.push_str(
            "\nthe smallest fault you hear, and between which sizes it lies (8 chances in 10)\n",
        );
    }
    for group in groups {
        let own: Vec<&HeardApart> = lines
            .iter()
            .filter(|line| (line.drill.as_str(), line.what.as_str()) == group)
            .collect();
        let _ = writeln!(text, "  {}, {}", group.0, group.1);
        let widest = own.iter().filter_map(|line| line.threshold);
        let widest = widest.fold(1.0_f64, |widest, found| widest.max(found.0));
        for line in own.iter().rev().take(8).rev() {
            let answers = format!("{} of {} right", line.right, line.answers);
            let _ = match line.threshold {
                Some(ms) => writeln!(
                    text,
                    "    {}  {ms:6.0} ms  {:20}  {:.0} to {:.0} ms, {answers}",
                    line.day,
                    bar(ms.0 / widest, 20),
                    line.low,
                    line.high
                ),
                None => writeln!(text, "    {}  not heard  {answers}", line.day),
            };
        }
    }
    text
}

/// How tunes were pointed, tune by tune, the last weeks of each, at most 78 columns; empty where nothing
/// was heard of pairs.
fn pointed_text(weeks: &[PointedWeek]) -> String {
    use std::fmt::Write as _;
    let mut text = String::new();
    for of_tune in weeks.chunk_by(PointedWeek::is_of_the_music_of) {
        let Some(last) = of_tune.last() else { continue };
        if text.is_empty() {
            text.push_str(
                "\npointed, week by week: the middle pair, and what half of them lie between\n",
            );
        }
        let stage = last.stage.as_ref();
        let stage = stage.map_or_else(String::new, |stage| format!(", {stage}"));
        let (what, wanted) = (last.what(), last.wanted_words());
        let _ = writeln!(text, "  {}{stage}, {what}, wanted {wanted}", last.drill);
        for week in of_tune.iter().rev().take(8).rev() {
            let pairs = wording::count(week.pairs, "pair", "pairs");
            let _ = writeln!(
                text,
                "    week of {}  {:>8}  {:.1} to {:.1}, {pairs}",
                week.week,
                week.spoken(),
                week.low,
                week.high
            );
        }
    }
    text
}

/// Eighths of a block, so that a bar is eight times finer than a column.
fn bar(share: f64, width: usize) -> String {
    let eighths = (share.clamp(0.0, 1.0) * width as f64 * 8.0).round() as usize;
    let rest = ["", "▏", "▎", "▍", "▌", "▋", "▊", "▉"][eighths % 8];
    format!("{}{rest}", "█".repeat(eighths / 8))
}

/// The weeks as lines of a terminal, at most 78 columns.
fn text(found: &Progress, failing: &[(String, String)], date: Date) -> String {
    use std::fmt::Write as _;
    let mut text = String::new();
    let apart = apart_text(&found.heard_apart);
    if found.days.is_empty() && found.cells.is_empty() {
        if !apart.is_empty() {
            return apart.trim_start().to_owned();
        }
        // a tune of which its drills of single bars were practised
        let lines = failing
            .iter()
            .map(|(title, words)| format!("{title}: {words}\n"));
        let lines: String = lines.collect();
        return if lines.is_empty() {
            "nothing was played yet, so there is nothing to show\n".to_owned()
        } else {
            lines
        };
    }
    text.push_str("minutes by day, and how much of it was clean\n");
    let most = found.days.iter().map(|day| day.minutes).fold(1.0, f64::max);
    for day in found.days.iter().rev().take(14).rev() {
        let said = day.clean + day.not_clean;
        let clean = if said == 0 {
            String::new()
        } else {
            format!("{} of {said} clean", day.clean)
        };
        let _ = writeln!(
            text,
            "  {}  {:5.1}  {:30}  {clean}",
            day.day,
            day.minutes,
            bar(day.minutes / most, 30)
        );
    }
    if found.days.len() > 14 {
        let _ = writeln!(
            text,
            "  and {} before",
            wording::count(found.days.len() - 14, "day", "days")
        );
    }
    if !found.climbed.is_empty() {
        text.push_str("\nrungs reached\n");
        for rung in found.climbed.iter().rev().take(10).rev() {
            let reached = rung.rung.spoken();
            let _ = writeln!(
                text,
                "  {}  {reached:>6}  {}, {}",
                rung.day, rung.drill, rung.stage
            );
        }
    }
    if !found.cells.is_empty() {
        text.push_str("\nclean by cell, and how likely the next is clean (95 % sure)\n");
        let mut cells: Vec<_> = found.cells.iter().collect();
        cells.sort_by_key(|cell| std::cmp::Reverse(cell.last));
        cells.truncate(12);
        let mut drills: Vec<&str> = Vec::new();
        for cell in &cells {
            if !drills.contains(&cell.drill.as_str()) {
                drills.push(&cell.drill);
            }
        }
        for drill in drills {
            let _ = writeln!(text, "  {drill}");
            for cell in cells.iter().filter(|cell| cell.drill == drill) {
                let few = if cell.chance.of < 10 {
                    "  few marks"
                } else {
                    ""
                };
                let heart = match cell.by_heart {
                    0 => String::new(),
                    count => format!("\n{:37}{count} of them by heart", ""),
                };
                let _ = writeln!(
                    text,
                    "    {:24.24} {:>6} {:>3} of {:<3} {:8} {}{few}{heart}",
                    cell.stage,
                    cell.rung.spoken(),
                    cell.chance.clean,
                    cell.chance.of,
                    bar(cell.chance.mean, 8),
                    cell.chance.words(),
                );
            }
        }
    }
    if found.held.of > 0 {
        let assumed = match found.held.assumed {
            0 => String::new(),
            count => format!(", {count} of them by an assumed mark"),
        };
        let _ = writeln!(
            text,
            "\nheld, by a clean first try of another day: {} of {} asked{assumed}",
            found.held.held, found.held.of
        );
    }
    for (title, words) in failing {
        let _ = writeln!(text, "\n{title}: {words}");
    }
    let heard: Vec<_> = found.heard.iter().rev().take(10).rev().collect();
    if !heard.is_empty() {
        text.push_str("\nheard: median length of gracenotes, median distance of landings\n");
        for day in heard {
            let ms = |value: Option<Milliseconds>| {
                value.map_or_else(|| "–".to_owned(), |ms| format!("{ms:.0} ms"))
            };
            let _ = writeln!(
                text,
                "  {}  {:>7}  {:>7}",
                day.day,
                ms(day.gracenote),
                ms(day.landing)
            );
        }
    }
    text.push_str(&pointed_text(&found.pointed));
    text.push_str(&apart);
    let stale: Vec<_> = found
        .cells
        .iter()
        .filter(|cell| cell.due.is_some_and(|due| due < date))
        .collect();
    if !stale.is_empty() {
        let _ = writeln!(
            text,
            "\n{} gone stale: `gracerung today` takes them up",
            wording::count(stale.len(), "cell has", "cells have")
        );
    }
    for said in &found.too_little {
        let _ = writeln!(text, "\n{said}");
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_with_a_comma_stays_one_field() {
        assert_eq!(field("grip, light"), "\"grip, light\"");
        assert_eq!(field("say \"la\""), "\"say \"\"la\"\"\"");
        assert_eq!(bar(0.5, 3), "█▌");
        assert_eq!(bar(2.0, 3), "███");
    }
}
