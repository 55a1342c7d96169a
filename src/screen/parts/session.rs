//! Draws the session's page. Between two parts it shows the result of the last part, the next part
//! in large figures, and when that begins. After the last part it shows the results of the whole
//! session on one screen.

use super::{figures, fitted, frame, put, wrapped};
use crate::app::{Came, Model, Outcome, Session, Stands, part_words};
use crate::planning::SessionPart;
use crate::practice::Rung;
use crate::screen::Theme;
use crate::units::spell_fraction;
use crate::wording;
use ratatui::Frame;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use unicode_width::UnicodeWidthStr as _;

/// Draws the page.
pub(in crate::screen) fn draw(model: &Model, theme: Theme, target: &mut Frame, whole: Rect) {
    let Some(session) = model.session() else {
        return;
    };
    let buffer = target.buffer_mut();
    let area = frame::within(whole);
    if session.stands() == Stands::Over {
        frame::head(buffer, whole, "Session", "over", theme);
        over(session, theme, buffer, area);
    } else {
        let head = format!(
            "Session · {} of {}",
            session.at() + 1,
            session.parts().len()
        );
        let ahead = wording::count(session.minutes_ahead() as usize, "minute", "minutes");
        frame::head(buffer, whole, &head, &format!("{ahead} ahead"), theme);
        between(model, session, theme, buffer, area);
    }
}

/// The row at height `y` of the area.
fn row(area: Rect, y: u16) -> Rect {
    Rect {
        y,
        height: 1,
        ..area
    }
}

fn between(model: &Model, session: &Session, theme: Theme, buffer: &mut Buffer, area: Rect) {
    let Some(part) = session.part() else {
        return;
    };
    let roomy = area.height >= 20;
    let gap = u16::from(area.height >= 14);
    let mut y = area.y + 1 + gap;
    let last = session
        .outcomes()
        .last()
        .map(|outcome| said(&outcome.part, &outcome.came));
    let urgent = model.notice().filter(|notice| notice.urgent);
    if let Some(text) = urgent.map(|notice| notice.text.clone()).or(last) {
        let style = if urgent.is_some() {
            theme.warning()
        } else {
            theme.plain()
        };
        let mut lines = wrapped(&text, area.width);
        if lines.len() > 2 {
            let short = |one: &Outcome| in_a_row(&one.part, &one.came, area.width);
            let short = session
                .outcomes()
                .last()
                .filter(|_| urgent.is_none())
                .map(short);
            lines = short.unwrap_or(lines);
        }
        for line in lines.iter().take(2) {
            put(buffer, area, area.x, y, line, style);
            y += 1;
        }
        y += gap;
    }
    put(buffer, area, area.x, y, "next", theme.plain());
    y += 1;
    for line in wrapped(&part_words(part), area.width).iter().take(2) {
        put(buffer, area, area.x, y, line, theme.strong());
        y += 1;
    }
    if let SessionPart::Cell(item) = part {
        let why = item
            .why
            .split_once(": ")
            .map_or(item.why.as_str(), |(_, why)| why);
        // two rows are kept free: one for where the next part begins, and one for what follows it
        let left = area.bottom().saturating_sub(y + 3);
        let rows = if roomy {
            3
        } else {
            usize::from(left.clamp(1, 2))
        };
        let lines = wrapped(why, area.width);
        for (row, line) in lines.iter().take(rows).enumerate() {
            let line = if row + 1 == rows && lines.len() > rows {
                fitted(&lines[row..].join(" "), area.width)
            } else {
                line.clone()
            };
            put(buffer, area, area.x, y, &line, theme.plain());
            y += 1;
        }
    }
    let seconds = session.seconds_to_begin(session.now_ms()).unwrap_or(0);
    let foot = area.bottom().saturating_sub(1);
    if roomy {
        numbers(part, seconds, theme, buffer, area, y + 1);
    } else if y < foot {
        let text = format!("{}begins in {}", rung_words(part), clock(seconds));
        put(
            buffer,
            area,
            area.x,
            y,
            &fitted(&text, area.width),
            theme.plain(),
        );
        y += 1;
    }
    let after: Vec<String> = session
        .parts()
        .iter()
        .skip(session.at() + 1)
        .map(part_words)
        .collect();
    if !after.is_empty() && y + 1 < foot {
        let then = format!("then {}", after.join(" · "));
        let lines = wrapped(&then, area.width);
        let rows = if roomy { 2 } else { 1 };
        let top = foot.saturating_sub(1 + rows.min(lines.len() as u16));
        for (row, line) in lines.iter().take(usize::from(rows)).enumerate() {
            let cut = row + 1 == usize::from(rows) && lines.len() > usize::from(rows);
            let line = if cut {
                fitted(&lines[row..].join(" "), area.width)
            } else {
                line.clone()
            };
            put(buffer, area, area.x, top + row as u16, &line, theme.plain());
        }
    }
    let keys = [
        ("right/enter", "begins"),
        ("left/x", "leaves out"),
        ("q", "leave"),
        ("?", "keys"),
    ];
    frame::keys(buffer, row(area, foot), &keys, theme);
}

/// The rung and the minutes in words, such as `52, 3 min, `, where there is no room for figures.
fn rung_words(part: &SessionPart) -> String {
    match part {
        SessionPart::Cell(item) => format!("{}, {} min, ", item.rung.spoken(), item.minutes),
        other => format!("{} min, ", other.minutes()),
    }
}

fn clock(seconds: i64) -> String {
    if seconds < 60 {
        format!("{seconds} s")
    } else {
        format!("{}:{:02}", seconds / 60, seconds % 60)
    }
}

/// Draws the rung, the minutes and the seconds until the part begins, in large figures.
fn numbers(
    part: &SessionPart,
    seconds: i64,
    theme: Theme,
    buffer: &mut Buffer,
    area: Rect,
    y: u16,
) {
    let mut all = Vec::new();
    if let SessionPart::Cell(item) = part {
        all.push(match item.rung {
            Rung::Tempo(tempo) => (spell_fraction(&tempo.value()), "tempo"),
            Rung::Opened { tone, .. } => (spell_fraction(&tone.0), "ms a tone"),
        });
    }
    all.push((part.minutes().to_string(), "minutes"));
    all.push(if seconds < 100 {
        (seconds.to_string(), "seconds to begin")
    } else {
        ((seconds / 60).to_string(), "minutes to begin")
    });
    let mut x = area.x;
    // as large as the room between the name of the next part and what follows it allows
    let wide = |size: figures::Size| -> u16 {
        let columns = all
            .iter()
            .map(|(text, label)| size.columns(text).max(label.len() as u16) + size.gap());
        columns.sum()
    };
    let tall = area.bottom().saturating_sub(y + 6);
    let size = (1..=tall / 5)
        .rev()
        .map(figures::Size::Times)
        .find(|size| wide(*size) <= area.width + size.gap())
        .unwrap_or(figures::Size::Times(1));
    for (text, label) in &all {
        let style = theme.strong();
        figures::draw(buffer, area, (x, y), size, text, label, (style, theme));
        x += size.columns(text).max(label.len() as u16) + size.gap();
    }
}

fn over(session: &Session, theme: Theme, buffer: &mut Buffer, area: Rect) {
    let mut y = area.y + 1 + u16::from(area.height >= 14);
    let foot = area.bottom().saturating_sub(1);
    let room = usize::from(foot.saturating_sub(y));
    let rows = |lines: &[Vec<String>]| lines.iter().map(Vec::len).sum::<usize>();
    let mut lines: Vec<Vec<String>> = summary(session)
        .iter()
        .map(|line| wrapped(line, area.width))
        .collect();
    if rows(&lines) > room {
        lines = told(session)
            .into_iter()
            .map(|(part, came)| in_a_row(part, came, area.width))
            .collect();
    }
    if rows(&lines) > room {
        lines = in_groups(lines, area.width);
    }
    let all = rows(&lines);
    let mut shown = 0;
    for (at, line) in lines.iter().enumerate() {
        let left = room.saturating_sub(shown);
        let kept = usize::from(all > room);
        if line.len() + kept > left {
            let more = lines.len() - at;
            put(
                buffer,
                area,
                area.x,
                y,
                &format!("and {more} more"),
                theme.plain(),
            );
            break;
        }
        for (row, text) in line.iter().enumerate() {
            let style = if row == 0 && at == 0 {
                theme.strong()
            } else {
                theme.plain()
            };
            put(buffer, area, area.x, y, text, style);
            y += 1;
        }
        shown += line.len();
    }
    let keys = [("right/left/enter", "leaves"), ("?", "keys")];
    frame::keys(buffer, row(area, foot), &keys, theme);
}

/// The result of a part in one sentence, with the important word first.
fn said(part: &str, came: &Came) -> String {
    match came {
        Came::Held(when) => format!("held: {part}; {when}"),
        Came::NotHeld(when) => format!("not held: {part}; {when}"),
        Came::StillClean(when) => format!("still clean: {part}; {when}"),
        Came::Climbed(cells) => match cells.last() {
            Some(last) if cells.len() > 1 => {
                format!("climbed: {part}; {} clear, up to {last}", cells.len())
            }
            _ => format!("clear: {part}"),
        },
        Came::Reached(file) => {
            format!("homework reached: {part}; send it: gracerung report {file}")
        }
        Came::Worked { of: 0, .. } => format!("not marked: {part}"),
        Came::Worked { clean, of } if clean == of => format!("begun: {part}; {clean} clean"),
        Came::Worked { clean, of } => format!("work on: {part}; {clean} of {of} clean"),
        Came::Done => format!("done: {part}"),
        Came::LeftOut => format!("left out: {part}"),
    }
}

/// The result of a part in one row for a small window: without the drill's name, and with only the
/// day of a date. The advice on sending homework keeps all its rows.
fn in_a_row(part: &str, came: &Came, width: u16) -> Vec<String> {
    let whole = wrapped(&said(part, came), width);
    if whole.len() == 1 || matches!(came, Came::Reached(_)) {
        return whole;
    }
    let cell = part.split_once(", ").map_or(part, |(_, cell)| cell);
    let named = said(cell, came);
    let what = named
        .split_once("; ")
        .map_or(named.as_str(), |(what, _)| what);
    let day = match came {
        Came::Held(when) | Came::StillClean(when) | Came::NotHeld(when) => {
            when.rsplit(' ').next().unwrap_or(when)
        }
        _ => named.split_once("; ").map_or("", |(_, rest)| rest),
    };
    let both = format!("{what}; {day}");
    if day.is_empty() || both.width() > usize::from(width) {
        vec![fitted(what, width)]
    } else {
        vec![both]
    }
}

/// Joins lines that begin with the same word: the first line stays, with the number of the others.
fn in_groups(lines: Vec<Vec<String>>, width: u16) -> Vec<Vec<String>> {
    let word = |line: &[String]| {
        line.first()?
            .split_once(':')
            .map(|(word, _)| word.to_owned())
    };
    let mut groups: Vec<(Vec<String>, usize)> = Vec::new();
    for line in lines {
        match groups.last_mut() {
            Some((first, more)) if word(first) == word(&line) && first.len() == 1 => *more += 1,
            _ => groups.push((line, 0)),
        }
    }
    let told = |(line, more): (Vec<String>, usize)| match more {
        0 => line,
        more => {
            let more = format!(", {more} more");
            let first = line.join(" ");
            let what = first
                .split_once("; ")
                .map_or(first.as_str(), |(what, _)| what);
            let room = width.saturating_sub(more.width() as u16);
            vec![format!("{}{more}", fitted(what, room))]
        }
    };
    groups.into_iter().map(told).collect()
}

/// The result of the last part in a sentence.
pub(in crate::screen) fn last_said(session: &Session) -> Option<String> {
    let last = session.outcomes().last()?;
    Some(said(&last.part, &last.came))
}

/// The results of a session in sentences.
pub(in crate::screen) fn summary(session: &Session) -> Vec<String> {
    let lines: Vec<String> = told(session)
        .into_iter()
        .map(|(part, came)| said(part, came))
        .collect();
    if lines.is_empty() {
        return vec!["nothing was marked: play what you like".to_owned()];
    }
    lines
}

/// The results of a session, the most important first: what is held, what was climbed, which goals
/// were reached, and what to work on. A part that merely ran to its end is left out. A cell beyond
/// the part's own that its climb began is listed with the part.
fn told(session: &Session) -> Vec<(&str, &Came)> {
    let rank = |came: &Came| match came {
        Came::Reached(_) => 0,
        Came::Held(_) => 1,
        Came::StillClean(_) => 2,
        Came::Climbed(_) => 2,
        Came::NotHeld(_) => 3,
        Came::Worked { .. } => 4,
        Came::LeftOut => 5,
        Came::Done => 6,
    };
    let mut told: Vec<(&str, &Came)> = session
        .outcomes()
        .iter()
        .flat_map(|outcome| {
            let beyond = outcome.beyond.as_ref();
            let beyond = beyond.map(|(cell, came)| (cell.as_str(), came));
            std::iter::once((outcome.part.as_str(), &outcome.came)).chain(beyond)
        })
        .filter(|(_, came)| **came != Came::Done)
        .collect();
    told.sort_by_key(|(_, came)| rank(came));
    // a part that was played twice is listed once, with the better result
    let mut parts = std::collections::BTreeSet::new();
    told.retain(|(part, _)| parts.insert(*part));
    told
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::SessionPlan;
    use crate::practice::Moment;

    /// Homework that was reached and cells that are held must not be listed below parts that were
    /// left out.
    #[test]
    fn the_summary_has_the_weightiest_first() {
        let outcome = |part: &str, came| Outcome {
            part: part.to_owned(),
            came,
            beyond: None,
        };
        let at = Moment {
            utc_us: 0,
            offset_s: 0,
            heard_ms: 0,
        };
        let outcomes = vec![
            outcome("warm up the hands", Came::Done),
            outcome("A, whole at 60", Came::LeftOut),
            outcome("B, whole at 60", Came::Worked { clean: 2, of: 5 }),
            outcome(
                "C, whole at 60",
                Came::Held("comes again tomorrow".to_owned()),
            ),
            outcome("D, whole at 60", Came::Reached("week3.yaml".to_owned())),
        ];
        let plan = SessionPlan {
            parts: Vec::new(),
            at: 0,
            outcomes,
            minutes: 0,
            used_ms: 0,
            ..SessionPlan::default()
        };
        let session = Session::new(plan, at);
        assert_eq!(
            summary(&session),
            [
                "homework reached: D, whole at 60; send it: gracerung report week3.yaml",
                "held: C, whole at 60; comes again tomorrow",
                "work on: B, whole at 60; 2 of 5 clean",
                "left out: A, whole at 60",
            ]
        );
    }

    /// Even in the smallest window the end of a session names every part.
    #[test]
    fn a_row_is_enough_for_what_came_of_a_part() {
        let row = |part: &str, came: Came| in_a_row(part, &came, 38);
        let when = || "comes again in 2 days, on 2027-03-04".to_owned();
        let part = "Single gracenotes, D gracenotes at 50";
        assert_eq!(
            row(part, Came::Held(when())),
            ["held: D gracenotes at 50; 2027-03-04"]
        );
        assert_eq!(
            row(part, Came::StillClean(when())),
            ["still clean: D gracenotes at 50"]
        );
        assert_eq!(
            row(part, Came::Worked { clean: 2, of: 5 }),
            ["work on: D gracenotes at 50"]
        );
        assert_eq!(row(part, Came::LeftOut), ["left out: D gracenotes at 50"]);
        assert!(row(part, Came::Reached("week3.yaml".to_owned())).len() > 1);
        let lines = [
            "held: A at 60; 2027-03-04",
            "clear: B at 60",
            "clear: C at 60",
            "clear: D at 60",
        ];
        let lines = lines.map(|line| vec![line.to_owned()]).to_vec();
        let grouped: Vec<String> = in_groups(lines, 38).concat();
        assert_eq!(
            grouped,
            ["held: A at 60; 2027-03-04", "clear: B at 60, 2 more"]
        );
    }
}
