//! Progress as lines for a terminal, with all details.

use crate::planning::{HeardApart, PointedWeek, Progress};
use crate::units::Milliseconds;
use crate::wording;
use jiff::civil::Date;
use std::fmt::Write as _;

/// The smallest faults that the player hears, by kind of fault, in at most 78 columns; empty where
/// there are none.
pub(super) fn heard_apart(lines: &[HeardApart]) -> String {
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

/// The pointing of each tune in its last weeks, in at most 78 columns; empty where no pairs of
/// notes were heard.
fn pointed(weeks: &[PointedWeek]) -> String {
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

/// A bar of block characters for a share from 0 to 1, in steps of an eighth of a column.
pub(super) fn bar(share: f64, width: usize) -> String {
    let eighths = (share.clamp(0.0, 1.0) * width as f64 * 8.0).round() as usize;
    let rest = ["", "▏", "▎", "▍", "▌", "▋", "▊", "▉"][eighths % 8];
    format!("{}{rest}", "█".repeat(eighths / 8))
}

/// The weeks as lines of at most 78 columns. `failing` lists tunes with the bars to work on.
pub(super) fn text(found: &Progress, failing: &[(String, String)], date: Date) -> String {
    let apart = heard_apart(&found.heard_apart);
    if found.days.is_empty() && found.cells.is_empty() {
        return unplayed(failing, &apart);
    }
    let mut text = days(found);
    text.push_str(&climbed(found));
    text.push_str(&cells(found));
    text.push_str(&held(found));
    for (title, words) in failing {
        let _ = writeln!(text, "\n{title}: {words}");
    }
    text.push_str(&heard(found));
    text.push_str(&pointed(&found.pointed));
    text.push_str(&apart);
    text.push_str(&stale(found, date));
    for said in &found.too_little {
        let _ = writeln!(text, "\n{said}");
    }
    text
}

/// The lines for a player who played none of the drills themselves.
fn unplayed(failing: &[(String, String)], apart: &str) -> String {
    if !apart.is_empty() {
        return apart.trim_start().to_owned();
    }
    if failing.is_empty() {
        return "nothing was played yet, so there is nothing to show\n".to_owned();
    }
    // the player may have practised drills of single bars of a tune
    let lines = failing
        .iter()
        .map(|(title, words)| format!("{title}: {words}\n"));
    lines.collect()
}

/// The last fourteen days: the minutes played, and the share that was clean.
fn days(found: &Progress) -> String {
    let mut text = "minutes by day, and how much of it was clean\n".to_owned();
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
    text
}

/// The ten rungs reached last.
fn climbed(found: &Progress) -> String {
    let mut text = String::new();
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
    text
}

/// The twelve cells played last, by drill: how often each was clean, and how likely the next
/// repetition is to be.
fn cells(found: &Progress) -> String {
    let mut text = String::new();
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
    text
}

/// How many cells were still clean on a later day.
fn held(found: &Progress) -> String {
    let mut text = String::new();
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
    text
}

/// What the microphone measured on the last ten days.
fn heard(found: &Progress) -> String {
    let mut text = String::new();
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
    text
}

/// How many cells were due before a date.
fn stale(found: &Progress, date: Date) -> String {
    let mut text = String::new();
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
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bar_is_eight_times_finer_than_a_column() {
        assert_eq!(bar(0.5, 3), "█▌");
        assert_eq!(bar(2.0, 3), "███");
    }
}
