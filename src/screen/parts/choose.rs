//! The list of drills.

use super::{fitted, put, put_right, wrapped};
use crate::app::Model;
use crate::screen::Theme;
use ratatui::Frame;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

/// Draws the list, the marked drill's purpose below it.
pub(in crate::screen) fn draw(model: &Model, theme: Theme, frame: &mut Frame, area: Rect) {
    let buffer = frame.buffer_mut();
    put(
        buffer,
        area,
        area.x + 1,
        area.y,
        "gracerung",
        theme.heading(),
    );
    put_right(
        buffer,
        Rect {
            width: area.width.saturating_sub(1),
            ..area
        },
        area.y,
        "choose a drill",
        theme.faint(),
    );
    let shown = model.choose.shown();
    let foot: u16 = if area.height >= 16 { 6 } else { 3 };
    let today = draw_today(model, theme, buffer, area);
    let head = 2 + today;
    let room = area.height.saturating_sub(head + foot);
    let first = model
        .choose
        .marked
        .saturating_sub(usize::from(room) / 2)
        .min(shown.len().saturating_sub(usize::from(room)));
    for (row, drill) in shown.iter().skip(first).take(usize::from(room)).enumerate() {
        let y = area.y + head + row as u16;
        let marked = first + row == model.choose.marked;
        let style = if marked { theme.here() } else { theme.plain() };
        let sign = if marked { "▸ " } else { "  " };
        let wide = area.width >= 70;
        let title_width = if wide {
            34
        } else {
            area.width.saturating_sub(4)
        };
        let x = put(buffer, area, area.x + 1, y, sign, style);
        let title = format!(
            "{:<1$}",
            fitted(&drill.title, title_width),
            usize::from(title_width)
        );
        let x = put(buffer, area, x, y, &title, style);
        if wide {
            let side = if drill.playable {
                format!("{}  {}", drill.extent, drill.progress)
            } else {
                "cannot be played: see below".to_owned()
            };
            let side = fitted(&side, area.right().saturating_sub(x + 2));
            put(buffer, area, x + 1, y, &side, theme.faint());
        }
    }
    if shown.is_empty() {
        put(
            buffer,
            area,
            area.x + 3,
            area.y + head,
            "no drill has these letters",
            theme.faint(),
        );
    }
    let foot_top = area.bottom().saturating_sub(foot);
    let width = area.width.saturating_sub(2);
    let below = shown.len().saturating_sub(first + usize::from(room));
    if below > 0 && foot > 3 {
        let more = format!("{below} more below");
        put(buffer, area, area.x + 3, foot_top, &more, theme.faint());
    }
    if foot > 3
        && let Some(drill) = model.choose.current()
    {
        let about = wrapped(&drill.about, width);
        for (row, line) in about.iter().take(2).enumerate() {
            put(
                buffer,
                area,
                area.x + 1,
                foot_top + 1 + row as u16,
                line,
                theme.plain(),
            );
        }
        put(
            buffer,
            area,
            area.x + 1,
            foot_top + 3,
            &fitted(&format!("gracerung practise {}", drill.name), width),
            theme.faint(),
        );
    }
    let line = area.bottom().saturating_sub(2);
    if let Some(notice) = &model.notice {
        let style = if notice.urgent {
            theme.urgent()
        } else {
            theme.plain()
        };
        let first_line = notice.text.lines().next().unwrap_or_default();
        put(
            buffer,
            area,
            area.x + 1,
            line,
            &fitted(first_line, width),
            style,
        );
    } else if model.choose.searching || !model.choose.search.is_empty() {
        let text = format!("/{}▏", model.choose.search);
        put(
            buffer,
            area,
            area.x + 1,
            line,
            &fitted(&text, width),
            theme.heading(),
        );
    }
    let keys = if area.width >= 70 {
        if model.choose.searching {
            "enter practise   letters look for a drill   esc ends the search"
        } else {
            "t session   enter practise   / look for   ? keys   q leave"
        }
    } else {
        "t session  enter practise  / find  ? q"
    };
    put(
        buffer,
        area,
        area.x + 1,
        area.bottom().saturating_sub(1),
        keys,
        theme.faint(),
    );
}

/// What to practise today and why, above the list; gives the rows it took. A small screen shows the
/// first thing only.
fn draw_today(model: &Model, theme: Theme, buffer: &mut Buffer, area: Rect) -> u16 {
    let today = &model.choose.today;
    if today.is_empty() || model.choose.searching {
        return 0;
    }
    let most = match area.height {
        ..14 => 1,
        14..20 => 2,
        _ => 4,
    };
    let minutes: u32 = today.iter().map(|line| line.minutes).sum();
    let mut y = area.y + 1;
    let width = area.width.saturating_sub(2);
    if most > 1 {
        let head = format!("t  today's session, {minutes} minutes");
        put(buffer, area, area.x + 1, y, &head, theme.heading());
        y += 1;
    }
    for (row, line) in today.iter().take(most).enumerate() {
        let sign = if row == 0 && most == 1 { "t" } else { " " };
        let text = fitted(
            &format!("{sign} {:2} min  {}", line.minutes, line.why),
            width,
        );
        put(buffer, area, area.x + 1, y, &text, theme.plain());
        y += 1;
    }
    // The list's own head leaves a row between.
    (y - area.y).saturating_sub(1)
}
