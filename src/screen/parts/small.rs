//! Draws the page for a window that is too small.

use crate::screen::{SMALLEST, Theme};
use ratatui::Frame;
use ratatui::layout::Rect;

/// Draws the request for a larger window.
pub(in crate::screen) fn draw(frame: &mut Frame, theme: Theme, area: Rect) {
    let text = format!(
        "This window is {}×{}; {}×{} or more shows the page. Playing goes on.",
        area.width, area.height, SMALLEST.0, SMALLEST.1
    );
    let lines = super::wrapped(&text, area.width);
    for (row, line) in lines.iter().enumerate() {
        let y = area.y + row as u16;
        super::put(frame.buffer_mut(), area, area.x, y, line, theme.plain());
    }
}
