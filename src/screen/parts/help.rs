//! Draws the help in groups, those of the present page first, from the table in `keys`.

use super::{fitted, frame, put, wrapped};
use crate::app::{Model, Page, Practising};
use crate::screen::Theme;
use crate::screen::keys::{HelpGroup, KeyPlace, help_of};
use ratatui::Frame;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::widgets::{Clear, Widget};

/// The width of the keys' names in columns.
const KEYS: u16 = 15;
/// The least width of the keys' names together with what the keys do, in columns.
const COLUMN: u16 = 39;

/// A row of the help.
enum Row {
    Headline(&'static str),
    Key(&'static str, &'static str),
    Words(String),
    Blank,
}

/// Draws the help over the page, in as many columns as fit. Returns the first row shown, from 0.
pub(in crate::screen) fn draw(model: &Model, theme: Theme, target: &mut Frame, area: Rect) -> u16 {
    let place = match model.page() {
        Page::Choose => KeyPlace::List,
        Page::Practise => KeyPlace::Practice,
        Page::Session => KeyPlace::Session,
    };
    let mut legends = Vec::new();
    if place == KeyPlace::Practice {
        legends.push(super::board::LEGEND);
        let map = |practising: &Practising| super::bars::rows(practising) > 0;
        if model.practising().is_some_and(map) {
            legends.push(super::bars::LEGEND);
        }
    }
    let groups: Vec<&HelpGroup> = help_of(place).collect();
    let buffer = target.buffer_mut();
    page(&groups, &legends, model.over_scroll(), theme, buffer, area)
}

/// Draws groups of keys. Returns the first row shown, from 0.
pub(in crate::screen) fn page(
    groups: &[&HelpGroup],
    legends: &[&str],
    scroll: u16,
    theme: Theme,
    buffer: &mut Buffer,
    whole: Rect,
) -> u16 {
    Clear.render(whole, buffer);
    let area = frame::within(whole);
    let columns = usize::from((area.width / COLUMN).clamp(1, 3)).min(groups.len().max(1));
    let width = area.width / columns as u16;
    // the words are cut so that a blank column remains before the next key
    let does_room = width.saturating_sub(KEYS + u16::from(columns > 1));
    let room = usize::from(area.height.saturating_sub(2));
    let legends: Vec<String> = legends
        .iter()
        .flat_map(|legend| wrapped(legend, area.width))
        .collect();
    let tallest = |split: &[Vec<Row>]| split.iter().map(Vec::len).max().unwrap_or(0);
    // the help is tried with blank rows and the legend, then with the legend only; where neither
    // fits, everything can be scrolled
    let mut shown = room.saturating_sub(legends.len());
    let mut shelf = split(rows(groups, true), columns);
    if tallest(&shelf) > shown {
        shelf = split(rows(groups, false), columns);
    }
    let stays = tallest(&shelf) <= shown;
    if !stays {
        shown = room;
        let mut all = rows(groups, false);
        all.push(legends.iter().cloned().map(Row::Words).collect());
        shelf = split(all, columns);
    }
    let first = usize::from(scroll).min(tallest(&shelf).saturating_sub(shown));
    frame::head(buffer, whole, "Keys", "", theme);
    for (column, rows) in (0..).zip(&shelf) {
        let x = area.x + column * width;
        for (y, row) in (area.y + 1..).zip(rows.iter().skip(first).take(shown)) {
            match row {
                Row::Headline(text) => put(buffer, area, x, y, text, theme.good()),
                Row::Key(key, does) => {
                    put(buffer, area, x, y, key, theme.strong());
                    put(
                        buffer,
                        area,
                        x + KEYS,
                        y,
                        &fitted(does, does_room),
                        theme.plain(),
                    )
                }
                Row::Words(text) => put(buffer, area, x, y, text, theme.plain()),
                Row::Blank => x,
            };
        }
    }
    if stays {
        let top = area.bottom().saturating_sub(1 + legends.len() as u16);
        for (y, text) in (top..).zip(&legends) {
            put(buffer, area, area.x, y, text, theme.plain());
        }
    }
    let foot = Rect {
        y: area.bottom().saturating_sub(1),
        height: 1,
        ..area
    };
    let mut keys = vec![("?", "closes")];
    if tallest(&shelf) > shown {
        keys.insert(0, ("up/down", "more"));
    }
    frame::keys(buffer, foot, &keys, theme);
    first as u16
}

/// The rows of each group, followed by a blank row where `blanks` is true.
fn rows(groups: &[&HelpGroup], blanks: bool) -> Vec<Vec<Row>> {
    let rows_of = |group: &&HelpGroup| {
        let mut rows = vec![Row::Headline(group.headline)];
        rows.extend(group.rows.iter().map(|(key, does)| Row::Key(key, does)));
        rows.extend(blanks.then_some(Row::Blank));
        rows
    };
    groups.iter().map(rows_of).collect()
}

/// Distributes the groups over columns of nearly equal height. No group is divided.
fn split(groups: Vec<Vec<Row>>, columns: usize) -> Vec<Vec<Row>> {
    let all: usize = groups.iter().map(Vec::len).sum();
    let tall = all.div_ceil(columns);
    let mut shelf: Vec<Vec<Row>> = vec![Vec::new()];
    for group in groups {
        let now = shelf.last().map_or(0, Vec::len);
        // a group goes into the column that makes the heights more equal
        let over = (now + group.len()).saturating_sub(tall);
        if now > 0 && shelf.len() < columns && over > group.len() / 2 {
            shelf.push(Vec::new());
        }
        if let Some(last) = shelf.last_mut() {
            last.extend(group);
        }
    }
    shelf
}
