//! The board: a column for each stage, a cell in it for each rung, and the status of each cell.
//!
//! A pure function of the plan and the marks that count. Knows nothing of the session.

use super::cell::CellKey;
use super::cold::{Held, cold_tries};
use super::history::{History, Order, Tally};
use super::plan::Plan;
use super::rung::{CellPlace, reaches};

/// The status of a cell.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum CellStatus {
    /// It cannot be climbed yet, because a cell before it is neither clear nor passed. It can be
    /// played freely.
    Closed,
    /// It can be climbed: the cells before it are clear or passed.
    Open,
    /// It counts as done because a later cell was cleared in free play. It is shown differently
    /// from a clear cell.
    Passed,
    /// Cleared by enough clean repetitions in a row.
    Clear,
}

/// One cell of the board with everything that is shown of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cell {
    /// Which cell.
    pub key: CellKey,
    /// Its status.
    pub status: CellStatus,
    /// True when it is clear only with the help of assumed marks. It is then shown differently.
    pub assumed: bool,
    /// True when it is held only after a clean cold try.
    pub asked_cold: bool,
    /// Whether it is held. A held cell is shown differently from a clear one.
    pub held: Held,
    /// The day of its last cold try, in days since 1970-01-01; none without a cold try.
    pub last_cold: Option<i64>,
    /// The tally of its marks.
    pub tally: Tally,
}

/// All cells of the grid.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Board {
    /// Stage by stage, the lowest rung first.
    stages: Vec<Vec<Cell>>,
    /// The cells whose clearing counts, on the rungs of the grid and between them.
    counted: Vec<CellPlace>,
}

impl Board {
    pub(super) fn of(plan: &Plan, history: &History) -> Self {
        let mut board = Self {
            stages: Vec::with_capacity(plan.stages.len()),
            counted: counted(plan, history),
        };
        let tries = history.first_tries(&plan.prints());
        for (stage, planned) in plan.stages.iter().enumerate() {
            let cells = planned.rungs.iter().map(|rung| {
                let key = CellKey {
                    stage: planned.print,
                    rung: *rung,
                };
                let tally = history.tally(key);
                let status = board.status_at(plan, (stage, *rung));
                let asked_cold = plan.asks_cold(key);
                let cold = match tally.reached_on {
                    Some(day) if asked_cold && status == CellStatus::Clear => {
                        cold_tries(key, day, &tries)
                    }
                    _ => super::ColdTries::default(),
                };
                Cell {
                    key,
                    status,
                    assumed: status == CellStatus::Clear && !tally.reached_said,
                    asked_cold,
                    held: cold.held,
                    last_cold: cold.last,
                    tally,
                }
            });
            let cells = cells.collect();
            board.stages.push(cells);
        }
        board
    }

    /// The number of stages.
    pub fn stages(&self) -> usize {
        self.stages.len()
    }

    /// The cells of a stage (from 0), the lowest rung first; empty when there is no such stage.
    pub fn stage(&self, stage: usize) -> &[Cell] {
        self.stages.get(stage).map_or(&[], Vec::as_slice)
    }

    /// The cell of a stage and a rung, both from 0; none when there is no such cell.
    pub fn cell(&self, stage: usize, rung: usize) -> Option<&Cell> {
        self.stage(stage).get(rung)
    }

    /// Every cell, stage by stage, the lowest rung first.
    pub fn cells(&self) -> impl Iterator<Item = &Cell> {
        self.stages.iter().flatten()
    }

    /// True when there is a cell and every cell is clear or passed.
    pub fn is_complete(&self) -> bool {
        self.cells().next().is_some()
            && self
                .cells()
                .all(|cell| matches!(cell.status, CellStatus::Clear | CellStatus::Passed))
    }

    /// The status of any cell of the plan's stages, including cells between rungs. A cell of a
    /// stage that the plan does not have is closed.
    pub(super) fn status(&self, plan: &Plan, key: CellKey) -> CellStatus {
        plan.stage_of(key).map_or(CellStatus::Closed, |stage| {
            self.status_at(plan, (stage, key.rung))
        })
    }

    fn status_at(&self, plan: &Plan, place: CellPlace) -> CellStatus {
        if self.counted.contains(&place) {
            return CellStatus::Clear;
        }
        if self.is_done(place) {
            return CellStatus::Passed;
        }
        // A done cell stands for every cell before it, so only the highest cell of each stage
        // before this one is checked. Stages may end at different tempi, so every stage is checked.
        let stages = plan.stages.iter().enumerate().take(place.0 + 1);
        let before_done = stages
            .filter_map(|(stage, planned)| {
                let mut down = planned.rungs.iter().rev().map(|rung| (stage, *rung));
                down.find(|before| *before != place && reaches(*before, place))
            })
            .all(|before| self.is_done(before));
        if before_done {
            CellStatus::Open
        } else {
            CellStatus::Closed
        }
    }

    fn is_done(&self, cell: CellPlace) -> bool {
        self.counted.iter().any(|clear| reaches(cell, *clear))
    }

    /// True for a clear cell.
    pub(super) fn is_clear(&self, plan: &Plan, key: CellKey) -> bool {
        self.status(plan, key) == CellStatus::Clear
    }
}

/// The cleared cells that count. A cell cleared in free play always counts. A climbed cell counts
/// unless a cell below it on the climb has become un-cleared; then it is closed but keeps its
/// marks. A rung or stage that was added later was never cleared, so it closes nothing.
fn counted(plan: &Plan, history: &History) -> Vec<CellPlace> {
    let mut placed: Vec<CellPlace> = Vec::new();
    let mut climbed: Vec<(CellPlace, Option<Order>)> = Vec::new();
    let mut lost: Vec<(CellPlace, Option<Order>)> = Vec::new();
    for (key, cell) in history.cells() {
        for (stage, planned) in plan.stages.iter().enumerate() {
            if !planned.has(*key) {
                continue;
            }
            let place = (stage, key.rung);
            if cell.tally.reached_freely {
                placed.push(place);
            } else if cell.tally.reached {
                climbed.push((place, cell.once));
            } else if cell.once.is_some() && planned.rungs.contains(&key.rung) {
                lost.push((place, cell.once));
            }
        }
    }
    lost.retain(|(cell, _)| !placed.iter().any(|clear| reaches(*cell, *clear)));
    let stands = |(cell, reached): &(CellPlace, Option<Order>)| {
        !lost
            .iter()
            .any(|(gone, once)| reaches(*gone, *cell) && once < reached)
    };
    let climbed = climbed.iter().filter(|clear| stands(clear));
    placed.extend(climbed.map(|(cell, _)| *cell));
    placed
}
