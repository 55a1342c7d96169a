//! Draws the board: a column for each stage and a row for each rung of the ladder. In a stage that
//! opens the movement the rows are its tone lengths. Seen from another stage, such a stage is a
//! single sign at its tempo.
//!
//! ```text
//!        1   2   3   4          1   2   3   4
//!   54       ·   ·   ·    73 ms         ·
//!   52   ○   ·       ·   104 ms         ○
//! ▸ 50   ■  [2]  ○   ·  ▸148 ms        [2]
//! ```

use super::{fitted, put};
use crate::app::Practising;
use crate::practice::{Board, Cell, CellStatus, Held, Rung};
use crate::screen::Theme;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// The sign of a cell. The first that applies is taken: the homework's goal until it is reached;
/// held, or held with an assumed mark; clear with assumed marks; clear; passed; open with its
/// streak; closed.
fn sign(cell: &Cell, goal: bool) -> String {
    match cell.status {
        CellStatus::Open | CellStatus::Closed if goal && cell.tally.streak == 0 => "◎".to_owned(),
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
        CellStatus::Clear => theme.good(),
        CellStatus::Open => theme.not_yet(),
        CellStatus::Passed => theme.plain(),
        CellStatus::Closed => theme.quiet(),
    }
}

/// The width of the rungs' labels in columns.
pub(super) const LABEL: u16 = 8;

/// What the signs mean.
pub(super) const LEGEND: &str = "◆\u{a0}held  ◈\u{a0}held by an assumed mark  ■\u{a0}clear  ▣\u{a0}clear by assumed marks  ▪\u{a0}passed  ○\u{a0}open  ·\u{a0}closed  ◎\u{a0}homework  [\u{a0}]\u{a0}here";

/// The whole board in small: one row for each tempo, the highest first, with one sign for each
/// stage. A stage that opens the movement has only one sign, at its tempo.
pub fn rows(board: &Board) -> Vec<(String, String)> {
    let mut tempi: Vec<Rung> = board
        .cells()
        .map(|cell| Rung::Tempo(cell.key.rung.tempo()))
        .collect();
    tempi.sort_unstable();
    tempi.dedup();
    let signs = |row: Rung| -> String {
        (0..board.stages())
            .map(|stage| match standing(board.stage(stage), row) {
                Some(cell) => sign(cell, false),
                None => " ".to_owned(),
            })
            .map(|sign| format!(" {}", sign.chars().next().unwrap_or(' ')))
            .collect()
    };
    tempi
        .into_iter()
        .rev()
        .map(|row| (row.to_string(), signs(row)))
        .collect()
}

/// The rungs of the rows, the lowest first: the tone lengths of the present stage where it opens
/// the movement, or else every tempo of the drill.
fn rungs_shown(board: &Board, stage: usize, present: Rung) -> Vec<Rung> {
    if present.is_opened() {
        return board
            .stage(stage)
            .iter()
            .map(|cell| cell.key.rung)
            .collect();
    }
    let tempi = board.cells().map(|cell| cell.key.rung.tempo());
    let mut rows: Vec<Rung> = tempi.map(Rung::Tempo).collect();
    rows.sort_unstable();
    rows.dedup();
    rows
}

/// The cell that a row shows for a stage: the stage's cell on that rung. An opened movement has no
/// cell on a tempo's rung; the cell of the tone length that it has reached is shown instead.
fn standing(cells: &[Cell], row: Rung) -> Option<&Cell> {
    if let Some(cell) = cells.iter().find(|cell| cell.key.rung == row) {
        return Some(cell);
    }
    let opened = |cell: &&Cell| cell.key.rung.is_opened() && cell.key.rung.tempo() == row.tempo();
    let mut lengths = cells.iter().filter(opened).filter(|_| !row.is_opened());
    let open = |cell: &&Cell| matches!(cell.status, CellStatus::Open | CellStatus::Closed);
    lengths.clone().find(open).or_else(|| lengths.next_back())
}

/// Draws the rungs around the present one, as many as there is room for.
pub(super) fn draw(buffer: &mut Buffer, theme: Theme, area: Rect, practising: &Practising) {
    let board = practising.state().board();
    let here = practising.shown_cell();
    let at = practising.rung();
    let stages = board.stages();
    let rows = rungs_shown(board, practising.stage(), at);
    if area.height < 2 || stages == 0 || rows.is_empty() {
        return;
    }
    let room = usize::from(area.height - 1);
    let present = rows.iter().position(|rung| *rung >= at);
    let lowest = present
        .unwrap_or(rows.len() - 1)
        .saturating_sub(room / 2)
        .min(rows.len().saturating_sub(room));
    let highest = (lowest + room).min(rows.len());
    let label = LABEL;
    let width = ((area.width.saturating_sub(label)) / stages as u16).clamp(3, 5);
    let shown = usize::from((area.width.saturating_sub(label)) / width).min(stages);
    let first = practising
        .stage()
        .saturating_sub(shown / 2)
        .min(stages.saturating_sub(shown));
    for stage in first..first + shown {
        let x = area.x + label + (stage - first) as u16 * width;
        let style = if stage == practising.stage() {
            theme.strong()
        } else {
            theme.plain()
        };
        put(buffer, area, x, area.y, &format!(" {}", stage + 1), style);
    }
    for (line, row) in rows[lowest..highest].iter().rev().enumerate() {
        let y = area.y + 1 + line as u16;
        let now = *row == at;
        let mark = if now { "▸" } else { " " };
        let name = if row.is_opened() {
            format!("{mark}{:>6}", row.spoken())
        } else {
            format!("{mark}{:>5}", fitted(&row.to_string(), 5))
        };
        let label_style = if now { theme.strong() } else { theme.plain() };
        put(buffer, area, area.x, y, &name, label_style);
        for stage in first..first + shown {
            let Some(cell) = standing(board.stage(stage), *row) else {
                continue;
            };
            let x = area.x + label + (stage - first) as u16 * width;
            let text = sign(cell, practising.is_goal(cell.key));
            if here == Some(cell.key) {
                put(buffer, area, x, y, &format!("[{text}]"), theme.accent());
            } else if cell.status == CellStatus::Clear {
                put(buffer, area, x, y, &format!(" {text} "), theme.good());
            } else {
                put(buffer, area, x + 1, y, &text, style(cell, theme));
            }
        }
    }
}
