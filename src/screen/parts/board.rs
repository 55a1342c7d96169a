//! The board: stages across, the ladder up.
//!
//! ```text
//!        1   2   3   4
//!   54   ·   ·   ·   ·
//!   52   ○   ·   ·   ·
//! ▸ 50   ■  [2]  ○   ·
//! ```

use super::{fitted, put};
use crate::app::Practising;
use crate::practice::{Cell, CellStatus, Held};
use crate::screen::Theme;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// The sign of a cell: held, held or clear with assumed marks, clear, passed, open with its streak, closed.
fn sign(cell: &Cell) -> String {
    match cell.status {
        CellStatus::Clear if cell.held == Held::Said => "◆".to_owned(),
        CellStatus::Clear if cell.held == Held::Assumed => "◈".to_owned(),
        CellStatus::Clear if cell.assumed => "▣".to_owned(),
        CellStatus::Clear => "■".to_owned(),
        CellStatus::Passed => "▪".to_owned(),
        CellStatus::Open if cell.tally.streak > 0 => cell.tally.streak.min(99).to_string(),
        CellStatus::Open => "○".to_owned(),
        CellStatus::Closed => "·".to_owned(),
    }
}

fn style(cell: &Cell, theme: Theme) -> Style {
    match cell.status {
        CellStatus::Clear => theme.done(),
        CellStatus::Open => theme.heading(),
        CellStatus::Passed => theme.plain(),
        CellStatus::Closed => theme.faint(),
    }
}

/// What the signs mean.
pub(super) const LEGEND: &str = "◆ held  ◈ held by an assumed mark  ■ clear  ▣ clear by assumed marks  ▪ passed  ○ open  · closed  [ ] here";

/// Draws as many rungs around the present one as there is room for, the present one among them.
pub(super) fn draw(buffer: &mut Buffer, theme: Theme, area: Rect, practising: &Practising) {
    let board = practising.state.board();
    let here = practising.cell();
    let tempo = practising.tempo();
    let stages = board.stages();
    let rungs = board.rungs();
    if area.height < 2 || stages == 0 || rungs == 0 {
        return;
    }
    let room = usize::from(area.height - 1);
    let present = practising
        .rungs
        .iter()
        .position(|rung| *rung >= tempo)
        .unwrap_or(rungs - 1);
    let lowest = present
        .saturating_sub(room / 2)
        .min(rungs.saturating_sub(room));
    let highest = (lowest + room).min(rungs);
    let label = 8;
    let width = ((area.width.saturating_sub(label)) / stages as u16).clamp(3, 5);
    let shown = usize::from((area.width.saturating_sub(label)) / width).min(stages);
    let first = practising
        .stage()
        .saturating_sub(shown / 2)
        .min(stages.saturating_sub(shown));
    for stage in first..first + shown {
        let x = area.x + label + (stage - first) as u16 * width;
        let style = if stage == practising.stage() {
            theme.heading()
        } else {
            theme.faint()
        };
        put(buffer, area, x, area.y, &format!(" {}", stage + 1), style);
    }
    for (row, rung) in (lowest..highest).rev().enumerate() {
        let y = area.y + 1 + row as u16;
        let now = practising
            .rungs
            .get(rung)
            .is_some_and(|rung| *rung == tempo);
        let mark = if now { "▸" } else { " " };
        let name = practising
            .rungs
            .get(rung)
            .map_or_else(String::new, |rung| fitted(&rung.to_string(), 5));
        let label_style = if now { theme.strong() } else { theme.faint() };
        put(
            buffer,
            area,
            area.x,
            y,
            &format!("{mark}{name:>5}"),
            label_style,
        );
        for stage in first..first + shown {
            let Some(cell) = board.cell(stage, rung) else {
                continue;
            };
            let x = area.x + label + (stage - first) as u16 * width;
            let text = sign(cell);
            if here == Some(cell.key) {
                put(buffer, area, x, y, &format!("[{text}]"), theme.here());
            } else {
                put(buffer, area, x + 1, y, &text, style(cell, theme));
            }
        }
    }
}
