//! The keys of the page, from the one table.

use super::put;
use crate::app::{Model, Page, Practising};
use crate::screen::Theme;
use crate::screen::keys::{BINDINGS, Binding, Place};
use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::widgets::{Clear, Widget};

/// Draws the keys over the page, in two columns where one does not hold them; gives the first row
/// shown.
pub(in crate::screen) fn draw(model: &Model, theme: Theme, frame: &mut Frame, area: Rect) -> u16 {
    let buffer = frame.buffer_mut();
    Clear.render(area, buffer);
    put(buffer, area, area.x + 1, area.y, "keys", theme.heading());
    let place = match model.page {
        Page::Choose => Place::List,
        Page::Practise => Place::Practice,
        Page::Session => Place::Session,
    };
    let bindings: Vec<&Binding> = BINDINGS
        .iter()
        .filter(|row| row.place == place || row.place == Place::Everywhere)
        .collect();
    let legend_fits = super::board::LEGEND.chars().count() < usize::from(area.width);
    let below = if place == Place::Practice && legend_fits {
        3
    } else {
        1
    };
    let room = usize::from(area.height.saturating_sub(1 + below));
    let columns = if bindings.len() > room && area.width >= 110 {
        2
    } else {
        1
    };
    let width = area.width / columns as u16;
    let key_width = if width < 50 { 13 } else { 23 };
    let mut rows = rows(&bindings, key_width, width.saturating_sub(key_width + 3));
    if place == Place::Practice && !legend_fits {
        let words = super::wrapped(super::board::LEGEND, area.width.saturating_sub(2));
        rows.extend(words.into_iter().map(|words| (None, words)));
    }
    let map = |practising: &Practising| super::bars::rows(practising) > 0;
    if place == Place::Practice && model.practising.as_ref().is_some_and(map) {
        let words = super::wrapped(super::bars::LEGEND, area.width.saturating_sub(2));
        rows.extend(words.into_iter().map(|words| (None, words)));
    }
    let per_column = rows.len().div_ceil(columns).max(1);
    let first = if columns == 1 {
        usize::from(model.over_scroll).min(rows.len().saturating_sub(room))
    } else {
        usize::from(model.over_scroll).min(per_column.saturating_sub(room))
    };
    for column in 0..columns {
        let x = area.x + 1 + column as u16 * width;
        for (row, (key, does)) in rows
            .iter()
            .skip(column * per_column)
            .take(per_column)
            .skip(first)
            .take(room)
            .enumerate()
        {
            let y = area.y + 1 + row as u16;
            let within = Rect {
                width: width * (column as u16 + 1),
                ..area
            };
            let beside = match key {
                Some(key) => {
                    put(buffer, within, x, y, key, theme.heading());
                    x + key_width + 1
                }
                None => x,
            };
            put(buffer, within, beside, y, does, theme.plain());
        }
    }
    let legend = Rect {
        y: area.bottom().saturating_sub(2),
        height: 1,
        ..area
    };
    if place == Place::Practice && legend_fits {
        put(
            buffer,
            legend,
            area.x + 1,
            legend.y,
            super::board::LEGEND,
            theme.faint(),
        );
    }
    let foot = if rows.len() > room * columns {
        "up and down show more   ? or esc closes"
    } else {
        "? or esc closes"
    };
    put(
        buffer,
        area,
        area.x + 1,
        area.bottom().saturating_sub(1),
        foot,
        theme.faint(),
    );
    first as u16
}

/// Rows of a key and what it does; what is longer than its column goes on in the next row.
fn rows(bindings: &[&Binding], key_width: u16, width: u16) -> Vec<(Option<String>, String)> {
    let mut rows = Vec::new();
    for binding in bindings {
        let keys = super::wrapped(binding.shown, key_width);
        let does = super::wrapped(binding.does, width);
        for row in 0..keys.len().max(does.len()) {
            let at = |lines: &[String]| lines.get(row).cloned().unwrap_or_default();
            rows.push((Some(at(&keys)), at(&does)));
        }
    }
    rows
}
