//! The board: stages across, rungs up, and what each cell is.
//!
//! A pure function of the plan and the marks that stand; knows nothing of the session.

use super::cold::{Held, cold_tries};
use super::history::{History, Order, Tally};
use super::plan::{CellKey, Plan};
use crate::units::Bpm;

/// What a cell is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum CellStatus {
    /// Not to be climbed yet: a cell before it is neither clear nor passed. It can be played
    /// freely.
    Closed,
    /// To be climbed: the cells before it are clear or passed.
    Open,
    /// Counts as done because a later cell was cleared in free play; looks different from clear.
    Passed,
    /// Cleared by enough clean repetitions in a row.
    Clear,
}

/// One cell as it is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cell {
    /// Which.
    pub key: CellKey,
    /// What it is.
    pub status: CellStatus,
    /// Clear only with the help of assumed marks; looks different.
    pub assumed: bool,
    /// It is held only after a clean cold try.
    pub asked_cold: bool,
    /// Whether it is; looks different from clear.
    pub held: Held,
    /// The day of its last cold try, counted from 1970.
    pub last_cold: Option<i64>,
    /// What its marks come to.
    pub tally: Tally,
}

/// All cells of the grid.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Board {
    stages: usize,
    rungs: usize,
    /// Row by row, a row a rung, the lowest first.
    cells: Vec<Cell>,
    /// Cells whose clearing counts, by stage and tempo: on the grid and between its rungs.
    counted: Vec<(usize, Bpm)>,
}

/// True when the first is the second or lies before it: no later stage, no higher tempo.
fn reaches(cell: (usize, Bpm), up_to: (usize, Bpm)) -> bool {
    cell.0 <= up_to.0 && cell.1 <= up_to.1
}

impl Board {
    pub(super) fn of(plan: &Plan, history: &History) -> Self {
        let counted = counted(plan, history);
        let mut board = Self {
            stages: plan.stages.len(),
            rungs: plan.rungs.len(),
            cells: Vec::with_capacity(plan.stages.len() * plan.rungs.len()),
            counted,
        };
        let tries = history.first_tries(&plan.stages);
        for tempo in &plan.rungs {
            for (stage, print) in plan.stages.iter().enumerate() {
                let key = CellKey {
                    stage: *print,
                    tempo: *tempo,
                };
                let tally = history.tally(key);
                let status = board.status_at(plan, stage, *tempo);
                let asked_cold = plan.asks_cold(key);
                let cold = match tally.reached_on {
                    Some(day) if asked_cold && status == CellStatus::Clear => {
                        cold_tries(key, day, &tries)
                    }
                    _ => super::ColdTries::default(),
                };
                board.cells.push(Cell {
                    key,
                    status,
                    assumed: status == CellStatus::Clear && !tally.reached_said,
                    asked_cold,
                    held: cold.held,
                    last_cold: cold.last,
                    tally,
                });
            }
        }
        board
    }

    /// How many stages, across.
    pub fn stages(&self) -> usize {
        self.stages
    }

    /// How many rungs, up.
    pub fn rungs(&self) -> usize {
        self.rungs
    }

    /// The cell of a stage and a rung, both from 0.
    pub fn cell(&self, stage: usize, rung: usize) -> Option<&Cell> {
        (stage < self.stages)
            .then(|| self.cells.get(rung * self.stages + stage))
            .flatten()
    }

    /// Every cell, row by row, a row a rung, the lowest first.
    pub fn cells(&self) -> &[Cell] {
        &self.cells
    }

    /// True when every cell is clear or passed, and there is one.
    pub fn is_complete(&self) -> bool {
        !self.cells.is_empty()
            && self
                .cells
                .iter()
                .all(|cell| matches!(cell.status, CellStatus::Clear | CellStatus::Passed))
    }

    /// The status of any cell of the plan's stages, also between its rungs; a stage the plan does
    /// not have is closed.
    pub(super) fn status(&self, plan: &Plan, key: CellKey) -> CellStatus {
        plan.stage_index(key.stage)
            .map_or(CellStatus::Closed, |stage| {
                self.status_at(plan, stage, key.tempo)
            })
    }

    fn status_at(&self, plan: &Plan, stage: usize, tempo: Bpm) -> CellStatus {
        if self.counted.contains(&(stage, tempo)) {
            return CellStatus::Clear;
        }
        if self.is_done((stage, tempo)) {
            return CellStatus::Passed;
        }
        // What is done reaches all that lies before it, so the neighbours speak for the rest.
        let rung_below = super::ladder::below(&plan.rungs, tempo);
        let below_done = rung_below.is_none_or(|below| self.is_done((stage, below)));
        let on_or_below = if plan.rungs.contains(&tempo) {
            Some(tempo)
        } else {
            rung_below
        };
        let before_done = match (stage.checked_sub(1), on_or_below) {
            (Some(before), Some(tempo)) => self.is_done((before, tempo)),
            _ => true,
        };
        if below_done && before_done {
            CellStatus::Open
        } else {
            CellStatus::Closed
        }
    }

    fn is_done(&self, cell: (usize, Bpm)) -> bool {
        self.counted.iter().any(|clear| reaches(cell, *clear))
    }

    /// True for a clear cell.
    pub(super) fn is_clear(&self, plan: &Plan, key: CellKey) -> bool {
        self.status(plan, key) == CellStatus::Clear
    }
}

/// The cleared cells that count. One cleared in free play does by itself. One that was climbed
/// does unless a cell it was climbed over was un-cleared since: what that opened is closed and
/// keeps its marks. A rung or stage put in since was never cleared, so it takes nothing away.
fn counted(plan: &Plan, history: &History) -> Vec<(usize, Bpm)> {
    let mut placed: Vec<(usize, Bpm)> = Vec::new();
    let mut climbed: Vec<((usize, Bpm), Option<Order>)> = Vec::new();
    let mut lost: Vec<((usize, Bpm), Option<Order>)> = Vec::new();
    for (key, cell) in history.cells() {
        for (stage, print) in plan.stages.iter().enumerate() {
            if *print != key.stage {
                continue;
            }
            let place = (stage, key.tempo);
            if cell.tally.reached_freely {
                placed.push(place);
            } else if cell.tally.reached {
                climbed.push((place, cell.once));
            } else if cell.once.is_some() && plan.rungs.contains(&key.tempo) {
                lost.push((place, cell.once));
            }
        }
    }
    lost.retain(|(cell, _)| !placed.iter().any(|clear| reaches(*cell, *clear)));
    let stands = |(cell, reached): &((usize, Bpm), Option<Order>)| {
        !lost
            .iter()
            .any(|(gone, once)| reaches(*gone, *cell) && once < reached)
    };
    let climbed = climbed.iter().filter(|clear| stands(clear));
    placed.extend(climbed.map(|(cell, _)| *cell));
    placed
}
