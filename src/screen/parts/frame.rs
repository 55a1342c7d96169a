//! Draws the frame of every page: a head with the page's name and a text beside it, a row of keys
//! at the bottom, and a margin of one column.

use super::{fitted, put};
use crate::screen::Theme;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use unicode_width::UnicodeWidthStr as _;

/// The area inside the margins.
pub(super) fn within(whole: Rect) -> Rect {
    Rect {
        x: whole.x + 1,
        width: whole.width.saturating_sub(2),
        ..whole
    }
}

/// The text beside a name is left out where it would have fewer columns than this.
const LEAST_BESIDE: u16 = 8;

/// Draws the first row: the page's name, and a text at the right end, which is cut where it does
/// not fit.
pub(super) fn head(buffer: &mut Buffer, whole: Rect, name: &str, beside: &str, theme: Theme) {
    let style = theme.accent();
    let blank = " ".repeat(usize::from(whole.width));
    put(buffer, whole, whole.x, whole.y, &blank, style);
    let area = within(whole);
    let name = fitted(name, area.width);
    put(buffer, area, area.x, area.y, &name, style);
    let room = area.width.saturating_sub(name.width() as u16 + 2);
    if room >= LEAST_BESIDE.min(beside.width() as u16) {
        super::put_right(buffer, area, area.y, &fitted(beside, room), style);
    }
}

/// Draws the last row: each key with what it does. Where not all entries fit, only the first of
/// several keys for the same action is named. Entries that still do not fit are left out from the
/// end. The very last entry is kept, because it leads to all others, unless it would leave no room
/// for the two pedals, which are the first entries.
pub(super) fn keys(buffer: &mut Buffer, area: Rect, all: &[(&str, &str)], theme: Theme) {
    let width = |item: &(&str, &str)| (item.0.width() + 1 + item.1.width()) as u16;
    let gap = if area.width >= 70 { 3 } else { 2 };
    let whole: u16 = all.iter().map(|item| width(item) + gap).sum();
    let short = |key: &str| match key.split_once('/') {
        Some((first, _)) if ["right", "left", "space"].contains(&first) => first.len(),
        _ => key.len(),
    };
    let all: Vec<(&str, &str)> = all
        .iter()
        .map(|(key, does)| {
            let kept = if whole > area.width + gap {
                short(key)
            } else {
                key.len()
            };
            (&key[..kept], *does)
        })
        .collect();
    let Some((last, before)) = all.split_last() else {
        return;
    };
    let is_pedal = |item: &&(&str, &str)| item.0.starts_with("right") || item.0.starts_with("left");
    let pedals = before.iter().take(2).take_while(is_pedal);
    let pedals: u16 = pedals.map(|item| width(item) + gap).sum();
    let leads_on = pedals + width(last) <= area.width;
    let kept = if leads_on { width(last) } else { 0 };
    // no gap is needed after the last entry that is shown
    let mut room = (area.width + if leads_on { 0 } else { gap }).saturating_sub(kept);
    let mut shown: Vec<&(&str, &str)> = Vec::new();
    for item in before {
        let Some(left) = room.checked_sub(width(item) + gap) else {
            break;
        };
        room = left;
        shown.push(item);
    }
    if leads_on {
        shown.push(last);
    }
    let mut x = area.x;
    for (key, does) in shown {
        x = put(buffer, area, x, area.y, key, theme.strong());
        x = put(buffer, area, x + 1, area.y, does, theme.plain()) + gap;
    }
}
