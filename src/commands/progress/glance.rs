//! The weeks on one screen that can be read in ten seconds: the days, the ladders, what is due and
//! what holds.

use crate::planning::{CellLine, Known, Progress};
use crate::wording;
use jiff::ToSpan;
use jiff::civil::Date;
use std::fmt::Write as _;

/// How many days are shown.
const DAYS: i64 = 14;
/// How many drills' ladders are shown, the most recently played first.
const LADDERS: usize = 8;
/// The width of a ladder's bar in columns.
const BAR: usize = 16;
/// How many cells or drills are named where there are more.
const NAMED: usize = 3;

/// The whole text, of at most 22 rows and 78 columns.
pub(super) fn text(
    found: &Progress,
    drills: &[Known],
    failing: &[(String, String)],
    today: Date,
) -> String {
    let mut text = days(found, today);
    let pointed = pointed(found);
    let rows = LADDERS - usize::from(pointed.is_some());
    ladders(found, drills, rows, &mut text);
    let due = |cell: &&CellLine| cell.due.is_some_and(|due| due <= today);
    let all: Vec<&CellLine> = found.cells.iter().filter(due).collect();
    let next = found
        .cells
        .iter()
        .filter_map(|cell| Some((cell.due?, cell)));
    let line = match (all.is_empty(), next.min_by_key(|(due, _)| *due)) {
        (false, _) => format!("due        {}", named(&all)),
        (true, Some((due, cell))) => format!("due        nothing; next {} on {due}", name(cell)),
        (true, None) => "due        nothing yet".to_owned(),
    };
    let _ = writeln!(text, "{}", fitted(&line));
    let mut held: Vec<&CellLine> = found
        .cells
        .iter()
        .filter(|cell| cell.held.is_some())
        .collect();
    held.sort_by_key(|cell| std::cmp::Reverse(cell.held));
    let line = match (found.held.of, held.is_empty()) {
        (0, _) => {
            "holds      nothing was asked cold yet, on another day than it was cleared".to_owned()
        }
        (of, true) => format!("holds      none of {of} that were asked cold"),
        (of, false) => format!("holds      {} of {of}: {}", found.held.held, named(&held)),
    };
    let _ = writeln!(text, "{}", fitted(&line));
    if let Some(line) = by_heart(found) {
        let _ = writeln!(text, "{}", fitted(&line));
    }
    if let Some(line) = pointed {
        let _ = writeln!(text, "{line}");
    }
    for (title, words) in failing.iter().take(2) {
        let _ = writeln!(text, "{}", fitted(&format!("work on    {title}: {words}")));
    }
    text.push_str("\n`gracerung today --play` goes on from here; --details has the statistics\n");
    text
}

/// The minutes of the last two weeks as a row of bars, and their sum.
fn days(found: &Progress, today: Date) -> String {
    let first = today.checked_sub((DAYS - 1).days()).unwrap_or(today);
    let lately: Vec<_> = found
        .days
        .iter()
        .filter(|day| day.day >= first && day.day <= today)
        .collect();
    let Some(most) = lately.iter().map(|day| day.minutes).reduce(f64::max) else {
        let last = found
            .days
            .last()
            .map_or_else(String::new, |day| format!("; last on {}", day.day));
        return format!("two weeks  not played{last}\n");
    };
    let height = |minutes: f64| match (minutes / most.max(1.0) * 8.0).ceil() as usize {
        0 => '·',
        eighths => ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'][(eighths - 1).min(7)],
    };
    let row: String = (0..DAYS)
        .filter_map(|at| first.checked_add(at.days()).ok())
        .map(|date| {
            let day = lately.iter().find(|day| day.day == date);
            day.map_or('·', |day| height(day.minutes))
        })
        .collect();
    let minutes: f64 = lately.iter().map(|day| day.minutes).sum();
    let clean: u32 = lately.iter().map(|day| day.clean).sum();
    let said: u32 = lately.iter().map(|day| day.clean + day.not_clean).sum();
    format!(
        "two weeks  {row}  {minutes:.0} minutes on {}, {clean} of {said} clean\n\n",
        wording::count(lately.len(), "day", "days")
    )
}

/// How far the player has come in each drill, the most recently played drill first.
fn ladders(found: &Progress, drills: &[Known], rows: usize, text: &mut String) {
    let of = |name: &str| {
        found
            .cells
            .iter()
            .filter(|cell| cell.drill == name)
            .collect::<Vec<_>>()
    };
    let mut played: Vec<(&Known, Vec<&CellLine>)> = drills
        .iter()
        .map(|drill| (drill, of(&drill.name)))
        .filter(|(_, cells)| !cells.is_empty())
        .collect();
    played.sort_by_key(|(_, cells)| std::cmp::Reverse(cells.iter().map(|cell| cell.last).max()));
    for (drill, cells) in played.iter().take(rows) {
        let all: usize = drill.stages.iter().map(|stage| stage.rungs.len()).sum();
        let known = |cell: &&&CellLine| drill.stage_names.contains(&cell.stage);
        let clear: Vec<&&CellLine> = cells
            .iter()
            .filter(known)
            .filter(|cell| cell.cleared.is_some())
            .collect();
        let full = (clear.len() * BAR).checked_div(all).unwrap_or(0).min(BAR);
        let full = full.max(usize::from(!clear.is_empty()));
        let bar = format!("{}{}", "▰".repeat(full), "▱".repeat(BAR - full));
        let stage = |cell: &CellLine| {
            drill
                .stage_names
                .iter()
                .position(|name| *name == cell.stage)
        };
        let stands = clear
            .iter()
            .max_by_key(|cell| (stage(cell), cell.rung))
            .map(|cell| format!("{} at {}", cell.stage, cell.rung.spoken()));
        let earlier = || {
            cells
                .iter()
                .find(|cell| !drill.stage_names.contains(&cell.stage))
        };
        let stands = stands
            .or_else(|| earlier().map(|cell| cell.stage.clone()))
            .unwrap_or_else(|| "nothing clear yet".to_owned());
        let line = format!(
            "{:22.22} {bar} {:>3} of {all:<3} {stands}",
            drill.name,
            clear.len()
        );
        let _ = writeln!(text, "{}", fitted(&line));
    }
    if played.len() > rows {
        let _ = writeln!(
            text,
            "and {} more",
            wording::count(played.len() - rows, "drill", "drills")
        );
    }
    if !played.is_empty() {
        text.push('\n');
    }
}

/// The drills with clean repetitions by heart, those with the most first; none where there are
/// none.
fn by_heart(found: &Progress) -> Option<String> {
    let mut counts: Vec<(&str, u32)> = Vec::new();
    for cell in found.cells.iter().filter(|cell| cell.by_heart > 0) {
        match counts.iter_mut().find(|(drill, _)| *drill == cell.drill) {
            Some((_, count)) => *count += cell.by_heart,
            None => counts.push((&cell.drill, cell.by_heart)),
        }
    }
    counts.sort_by_key(|(_, count)| std::cmp::Reverse(*count));
    let more = counts.len().saturating_sub(NAMED);
    let mut words: Vec<String> = counts
        .iter()
        .take(NAMED)
        .map(|(drill, count)| format!("{drill} {count} clean"))
        .collect();
    if more > 0 {
        words.push(format!("{more} more"));
    }
    (!words.is_empty()).then(|| format!("by heart   {}", words.join("; ")))
}

/// The pointing of the most recently heard tune, in its last week and in the one before, in one
/// row.
fn pointed(found: &Progress) -> Option<String> {
    let last = found.pointed.iter().max_by_key(|week| week.last)?;
    let mut earlier = found
        .pointed
        .iter()
        .filter(|week| week.is_of_the_music_of(last));
    let before = earlier.rfind(|week| week.week < last.week);
    let before = before.map_or_else(String::new, |week| format!(", {:.1} before", week.ratio));
    Some(format!(
        "pointed    {:.26}: {} {}{before}; wanted {}",
        last.drill,
        last.what(),
        last.spoken(),
        last.wanted_words()
    ))
}

fn name(cell: &CellLine) -> String {
    format!("{}, {} at {}", cell.drill, cell.stage, cell.rung.spoken())
}

/// The names of the first few cells, and how many more there are.
fn named(cells: &[&CellLine]) -> String {
    let mut names: Vec<String> = cells.iter().take(NAMED).map(|cell| name(cell)).collect();
    if cells.len() > NAMED {
        names.push(format!("{} more", cells.len() - NAMED));
    }
    names.join("; ")
}

/// A line broken at 78 columns, with its continuation indented.
fn fitted(line: &str) -> String {
    // a date or a drill's name must not be broken at its hyphens
    let options = textwrap::Options::new(78)
        .word_separator(textwrap::WordSeparator::AsciiSpace)
        .word_splitter(textwrap::WordSplitter::NoHyphenation)
        .subsequent_indent("           ");
    textwrap::fill(line, options)
}
