//! The movement explained in full, over the practise page.

use super::put;
use crate::app::Model;
use crate::screen::Theme;
use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::widgets::{Clear, Widget};

/// The explanation in lines of at most `width` columns where words allow.
pub(in crate::screen) fn lines(model: &Model, width: usize) -> Vec<String> {
    let explanations = model
        .practising
        .as_ref()
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

/// Draws as much of it as there is room for; gives the first line shown.
pub(in crate::screen) fn draw(model: &Model, theme: Theme, frame: &mut Frame, area: Rect) -> u16 {
    let buffer = frame.buffer_mut();
    Clear.render(area, buffer);
    let lines = lines(model, usize::from(area.width.saturating_sub(2)));
    let room = usize::from(area.height.saturating_sub(2));
    let first = usize::from(model.over_scroll).min(lines.len().saturating_sub(room));
    for (y, text) in (area.y..).zip(lines.iter().skip(first).take(room)) {
        // Headings stand at the margin, what they head is indented.
        let heads = !text.starts_with(' ');
        let style = if heads {
            theme.heading()
        } else {
            theme.plain()
        };
        put(buffer, area, area.x + 1, y, text, style);
    }
    let last = (first + room).min(lines.len());
    let foot = if lines.len() > room {
        format!(
            "q closes   lines {} to {last} of {}   up, down, page up, page down",
            first + 1,
            lines.len()
        )
    } else {
        "q closes".to_owned()
    };
    let foot = super::fitted(&foot, area.width.saturating_sub(2));
    put(
        buffer,
        area,
        area.x + 1,
        area.bottom().saturating_sub(1),
        &foot,
        theme.faint(),
    );
    first as u16
}
