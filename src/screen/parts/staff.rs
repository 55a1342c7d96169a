//! The music on a staff.

use super::line;
use super::practise::sounding;
use crate::app::Practising;
use crate::screen::Theme;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

/// Fewer rows than this hold no staff.
pub(super) const LEAST_ROWS: u16 = 7;

/// Draws the bars around the one that sounds.
pub(super) fn draw(buffer: &mut Buffer, theme: Theme, area: Rect, practising: &Practising) {
    if let Some(score) = practising.scores.get(practising.stage()) {
        let id = sounding(practising).now.map(|sounded| sounded.id);
        line::draw(buffer, theme, area, score, id);
    }
}
