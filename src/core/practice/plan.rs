//! What is practised and how one moves through it: stages, ladder, route.
//!
//! Knows stages by fingerprint only; knows no marks.

use super::StagePrint;
use super::cold::asked_cold;
use super::verdict::Thresholds;
pub use crate::drill::{Advance, Route, StepBack};
use crate::units::Bpm;
use serde::{Deserialize, Serialize};

/// A cell of the board wherever it is kept: the music of a stage at an exact tempo. By value and
/// not by place, so that a rung or a stage put in between moves no mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct CellKey {
    /// The fingerprint of the stage's written music.
    pub stage: StagePrint,
    /// The tempo, exact.
    pub tempo: Bpm,
}

/// What is practised and how. Any value is valid: with no stage or no rung there is no board and
/// nothing happens.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// The drill's name, as the journal writes it; never what a mark is found by.
    pub drill: String,
    /// The stages in the drill's order.
    pub stages: Vec<StagePrint>,
    /// The ladder, strictly rising.
    pub rungs: Vec<Bpm>,
    /// Clean repetitions in a row that clear a cell; 0 is read as 1.
    pub clean: u32,
    /// Which cell comes next.
    pub route: Route,
    /// Whether play moves on by itself.
    pub advance: Advance,
    /// Whether play steps back by itself.
    pub step_back: StepBack,
    /// Three not clean in a row stop play, unless it steps back by itself.
    pub stop_rule: bool,
    /// The stages that are played in real time: every fourth rung of these is asked cold.
    pub real_time: Vec<StagePrint>,
    /// An unmarked repetition is assumed clean when it has ended.
    pub hands_free: bool,
    /// What the microphone heard marks the repetition.
    pub by_ear: bool,
    /// The player says that nothing we play reaches the microphone.
    pub headphones: bool,
    /// How what was heard is judged.
    pub thresholds: Thresholds,
}

impl Plan {
    /// A plan with the usual choices: five clean in a row, across, by itself, marks by hand.
    pub fn new(drill: &str, stages: Vec<StagePrint>, rungs: Vec<Bpm>) -> Self {
        Self {
            drill: drill.to_owned(),
            stages,
            rungs,
            clean: 5,
            route: Route::default(),
            advance: Advance::default(),
            step_back: StepBack::default(),
            stop_rule: false,
            real_time: Vec::new(),
            hands_free: false,
            by_ear: false,
            headphones: false,
            thresholds: Thresholds::default(),
        }
    }

    /// How many clean in a row clear a cell now.
    pub fn needed(&self) -> u32 {
        self.clean.max(1)
    }

    /// The stage's place in the drill, from 0; the first where two have the same music.
    pub fn stage_index(&self, stage: StagePrint) -> Option<usize> {
        self.stages.iter().position(|known| *known == stage)
    }

    /// The key of a cell by its place in the grid.
    pub fn key(&self, stage: usize, rung: usize) -> Option<CellKey> {
        Some(CellKey {
            stage: *self.stages.get(stage)?,
            tempo: *self.rungs.get(rung)?,
        })
    }

    /// True for a cell that counts as held only after a clean cold try: the top of its stage, and in
    /// real time every fourth rung.
    pub fn asks_cold(&self, cell: CellKey) -> bool {
        self.stage_index(cell.stage).is_some()
            && self
                .rungs
                .iter()
                .position(|rung| *rung == cell.tempo)
                .is_some_and(|rung| {
                    let real_time = self.real_time.contains(&cell.stage);
                    asked_cold(rung, self.rungs.len(), real_time)
                })
    }

    /// Every cell of the grid in the order of the route.
    pub fn in_route_order(&self) -> Vec<CellKey> {
        let across = self
            .rungs
            .iter()
            .flat_map(|tempo| self.stages.iter().map(move |stage| (*stage, *tempo)));
        let up = self
            .stages
            .iter()
            .flat_map(|stage| self.rungs.iter().map(move |tempo| (*stage, *tempo)));
        let pairs: Vec<(StagePrint, Bpm)> = match self.route {
            Route::Across => across.collect(),
            Route::Up => up.collect(),
        };
        pairs
            .into_iter()
            .map(|(stage, tempo)| CellKey { stage, tempo })
            .collect()
    }

    /// The step back from a cell: across, the stage before and from the first stage a rung down;
    /// up, a rung down and from the lowest rung the stage before. Nothing from the first cell.
    pub fn step_back_from(&self, cell: CellKey) -> Option<CellKey> {
        let stage_before = self
            .stage_index(cell.stage)
            .and_then(|stage| stage.checked_sub(1))
            .and_then(|before| self.stages.get(before))
            .map(|stage| CellKey {
                stage: *stage,
                ..cell
            });
        let rung_down =
            super::ladder::below(&self.rungs, cell.tempo).map(|tempo| CellKey { tempo, ..cell });
        match self.route {
            Route::Across => stage_before.or(rung_down),
            Route::Up => rung_down.or(stage_before),
        }
    }
}
