//! Draws the full explanation of a movement, or a drill's problems, over the page.

use super::{frame, put};
use crate::app::{Model, Overlay};
use crate::screen::Theme;
use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::widgets::{Clear, Widget};

/// The lines of the explanation, at most `width` columns wide. A longer word keeps a line of its
/// own.
pub(in crate::screen) fn lines(model: &Model, width: usize) -> Vec<String> {
    let explanations = model
        .practising()
        .map(crate::app::Practising::explanations)
        .unwrap_or_default();
    if explanations.is_empty() {
        return vec![
            "No movement stands in this drill: every note is reached by the fingers alone."
                .to_owned(),
        ];
    }
    let pages: Vec<String> = explanations
        .iter()
        .map(|explanation| explanation.write(width))
        .collect();
    pages.join("\n").lines().map(str::to_owned).collect()
}

/// Every problem of the marked drill, with its line in the file and how to mend it.
pub(in crate::screen) fn problems(model: &Model) -> Vec<String> {
    let told = model.choose().current().map_or("", |line| &line.in_full);
    told.lines().map(str::to_owned).collect()
}

/// Draws the lines that fit the window. Returns the first line shown, from 0.
pub(in crate::screen) fn draw(model: &Model, theme: Theme, target: &mut Frame, area: Rect) -> u16 {
    let buffer = target.buffer_mut();
    Clear.render(area, buffer);
    let (name, lines) = match model.over() {
        Some(Overlay::Problems) => ("What keeps it from being played", problems(model)),
        _ => (
            "The movement",
            lines(model, usize::from(area.width.saturating_sub(2))),
        ),
    };
    let room = usize::from(area.height.saturating_sub(3));
    let first = usize::from(model.over_scroll()).min(lines.len().saturating_sub(room));
    let last = (first + room).min(lines.len());
    let beside = if lines.len() > room {
        format!("lines {} to {last} of {}", first + 1, lines.len())
    } else {
        String::new()
    };
    frame::head(buffer, area, name, &beside, theme);
    for (y, text) in (area.y + 1..).zip(lines.iter().skip(first).take(room)) {
        // headings begin at the margin, and the text below them is indented
        let heads = !text.starts_with(' ');
        let style = if heads { theme.strong() } else { theme.plain() };
        put(buffer, area, area.x + 1, y, text, style);
    }
    let foot = Rect {
        y: area.bottom().saturating_sub(1),
        height: 1,
        ..frame::within(area)
    };
    let mut keys = vec![("q", "closes")];
    if lines.len() > room {
        keys.insert(0, ("page up/down", "a page"));
        keys.insert(0, ("up/down", "a line"));
    }
    frame::keys(buffer, foot, &keys, theme);
    first as u16
}
