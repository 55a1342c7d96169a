//! Between two things of a session: what came of the last, what comes next, large, and when. After
//! the last: what the session came to, on one screen.

use super::{figures, fitted, frame, put, wrapped};
use crate::app::{Came, Model, Session, Stands, part_words};
use crate::planning::SessionPart;
use crate::practice::Rung;
use crate::screen::Theme;
use crate::units::spell_fraction;
use crate::wording;
use ratatui::Frame;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

/// Draws the page.
pub(in crate::screen) fn draw(model: &Model, theme: Theme, target: &mut Frame, whole: Rect) {
    let Some(session) = &model.session else {
        return;
    };
    let buffer = target.buffer_mut();
    let area = frame::within(whole);
    if session.stands == Stands::Over {
        frame::head(buffer, whole, "Session", "over", theme);
        over(session, theme, buffer, area);
    } else {
        let head = format!("Session · {} of {}", session.at + 1, session.parts.len());
        let ahead = wording::count(session.minutes_ahead() as usize, "minute", "minutes");
        frame::head(buffer, whole, &head, &format!("{ahead} ahead"), theme);
        between(model, session, theme, buffer, area);
    }
}

/// One row.
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
        .outcomes
        .last()
        .map(|outcome| said(&outcome.part, &outcome.came));
    let urgent = model.notice.as_ref().filter(|notice| notice.urgent);
    if let Some(text) = urgent.map(|notice| notice.text.clone()).or(last) {
        let style = if urgent.is_some() {
            theme.warning()
        } else {
            theme.plain()
        };
        for line in wrapped(&text, area.width).iter().take(2) {
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
        let rows = if roomy { 3 } else { 1 };
        for line in wrapped(why, area.width).iter().take(rows) {
            put(buffer, area, area.x, y, line, theme.plain());
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
        .parts
        .iter()
        .skip(session.at + 1)
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
        ("left/x", "leaves it out"),
        ("q", "leave"),
        ("?", "keys"),
    ];
    frame::keys(buffer, row(area, foot), &keys, theme);
}

/// `52, 3 min, `: what the figures say where there is no room for them.
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

/// The rung, the minutes and the seconds until it begins, large.
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
    // as large as the room between what is next and what comes then
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
    let lines: Vec<Vec<String>> = summary(session)
        .iter()
        .map(|line| wrapped(line, area.width))
        .collect();
    let room = usize::from(foot.saturating_sub(y));
    let all: usize = lines.iter().map(Vec::len).sum();
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

/// What came of a part, one sentence with the important word first.
fn said(part: &str, came: &Came) -> String {
    match came {
        Came::Held(when) => format!("held: {part}; {when}"),
        Came::NotHeld(when) => format!("not held: {part}; {when}"),
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

/// What a session came to, the weightiest first: what holds, what was climbed, what was reached,
/// what to work on. What only ran to its end is not told.
pub(in crate::screen) fn summary(session: &Session) -> Vec<String> {
    let rank = |came: &Came| match came {
        Came::Reached(_) => 0,
        Came::Held(_) => 1,
        Came::Climbed(_) => 2,
        Came::NotHeld(_) => 3,
        Came::Worked { .. } => 4,
        Came::LeftOut => 5,
        Came::Done => 6,
    };
    let mut told: Vec<&crate::app::Outcome> = session
        .outcomes
        .iter()
        .filter(|outcome| outcome.came != Came::Done)
        .collect();
    told.sort_by_key(|outcome| rank(&outcome.came));
    let lines: Vec<String> = told
        .into_iter()
        .map(|outcome| said(&outcome.part, &outcome.came))
        .collect();
    if lines.is_empty() {
        return vec!["nothing was marked: play what you like".to_owned()];
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::Outcome;
    use crate::practice::Moment;

    /// Homework that is reached and what holds must not stand below what was left out.
    #[test]
    fn the_summary_has_the_weightiest_first() {
        let outcome = |part: &str, came| Outcome {
            part: part.to_owned(),
            came,
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
        let session = Session::new(Vec::new(), 0, outcomes, at);
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
}
