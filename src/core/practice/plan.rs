//! What is practised, and how play moves through it: stages, ladder, route.
//!
//! Knows stages by fingerprint only; knows no marks.

use super::StagePrint;
use super::cell::CellKey;
use super::cold::asked_cold;
use super::ladder::climbs;
use super::rung::{CellPlace, Rung};
use super::verdict::Thresholds;
use crate::drill::Drill;
pub use crate::drill::{Advance, Route, StepBack};
use crate::units::Bpm;

/// A stage and what it is practised at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlannedStage {
    /// The fingerprint of its written music.
    pub print: StagePrint,
    /// Its own rungs, strictly rising in the order they are climbed: all tempi or all lengths.
    pub rungs: Vec<Rung>,
    /// True where it is played in real time: then every fourth rung is asked cold.
    pub real_time: bool,
}

impl PlannedStage {
    /// The stages of a drill, whose music has these fingerprints.
    pub fn all(drill: &Drill, prints: Vec<StagePrint>) -> Vec<Self> {
        let stages = drill.stages.iter().zip(climbs(drill));
        let stages = prints.into_iter().zip(stages);
        stages
            .map(|(print, (stage, rungs))| Self {
                print,
                rungs,
                real_time: !stage.is_slow(),
            })
            .collect()
    }

    /// The tempi that some stages stand at, in no order.
    pub fn tempi(stages: &[Self]) -> Vec<Bpm> {
        let rungs = stages.iter().flat_map(|stage| &stage.rungs);
        rungs.map(|rung| rung.tempo()).collect()
    }

    /// True where the movement is opened: its rungs are lengths.
    pub fn is_opened(&self) -> bool {
        self.rungs.iter().any(|rung| rung.is_opened())
    }

    /// True for a rung that counts as held only after a clean cold try: the last, and in real time
    /// every fourth.
    pub fn asks_cold(&self, rung: Rung) -> bool {
        let place = self.rungs.iter().position(|known| *known == rung);
        place.is_some_and(|place| asked_cold(place, self.rungs.len(), self.real_time))
    }

    /// True for a cell of this stage, also between its rungs.
    pub fn has(&self, cell: CellKey) -> bool {
        self.print == cell.stage && self.is_opened() == cell.rung.is_opened()
    }
}

/// What is practised and how. Any value is valid: with no stage or no rung there is no board and
/// nothing happens.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// The drill's name, as the journal writes it; never what a mark is found by.
    pub drill: String,
    /// The stages in the drill's order, each with its rungs.
    pub stages: Vec<PlannedStage>,
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
    /// An unmarked repetition is assumed clean when it has ended.
    pub hands_free: bool,
    /// What the microphone heard marks the repetition.
    pub by_ear: bool,
    /// The player says that nothing we play reaches the microphone.
    pub headphones: bool,
    /// How what was heard is judged.
    pub thresholds: Thresholds,
}

/// Where a cell stands on a route: earlier cells compare less.
type OnRoute = (Option<Bpm>, usize, Rung);

fn on_route(route: Route, (stage, rung): CellPlace) -> OnRoute {
    match route {
        Route::Across => (Some(rung.tempo()), stage, rung),
        Route::Up => (None, stage, rung),
    }
}

/// Every cell of some stages' rungs in the order of a route. On the route across, all cells at a
/// tempo come stage by stage, then those at the next tempo; on the route up, the stages come one
/// after the other.
pub fn in_route_order(rungs: &[Vec<Rung>], route: Route) -> Vec<CellPlace> {
    let all = rungs.iter().enumerate();
    let mut places: Vec<CellPlace> = all
        .flat_map(|(stage, rungs)| rungs.iter().map(move |rung| (stage, *rung)))
        .collect();
    places.sort_by_key(|place| on_route(route, *place));
    places
}

impl Plan {
    /// A plan with the usual choices: five clean in a row, across, by itself, marks by hand.
    pub fn new(drill: &str, stages: Vec<PlannedStage>) -> Self {
        Self {
            drill: drill.to_owned(),
            stages,
            clean: 5,
            route: Route::default(),
            advance: Advance::default(),
            step_back: StepBack::default(),
            stop_rule: false,
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

    /// The limits that a repetition of a cell is judged by: those of the player, as they are at the
    /// cell's place on the drill's ladder.
    pub fn thresholds_of(&self, cell: CellKey) -> Thresholds {
        self.thresholds
            .on(cell.rung, &PlannedStage::tempi(&self.stages))
    }

    /// The place in the drill, from 0, of a cell's stage; the first where two have the same music
    /// and the same kind of rungs. A stage of the drill that has the very rung comes first.
    pub fn stage_of(&self, cell: CellKey) -> Option<usize> {
        let exact = |stage: &PlannedStage| stage.has(cell) && stage.rungs.contains(&cell.rung);
        let exact = self.stages.iter().position(exact);
        exact.or_else(|| self.stages.iter().position(|stage| stage.has(cell)))
    }

    /// The fingerprints of the stages' music.
    pub fn prints(&self) -> Vec<StagePrint> {
        self.stages.iter().map(|stage| stage.print).collect()
    }

    /// True where the plan has the music.
    pub fn has_print(&self, print: StagePrint) -> bool {
        self.stages.iter().any(|stage| stage.print == print)
    }

    /// The key of a cell by its place in the grid: a stage and one of its rungs, both from 0.
    pub fn key(&self, stage: usize, rung: usize) -> Option<CellKey> {
        let stage = self.stages.get(stage)?;
        Some(CellKey {
            stage: stage.print,
            rung: *stage.rungs.get(rung)?,
        })
    }

    /// True for a cell that counts as held only after a clean cold try: the top of its stage, and in
    /// real time every fourth rung.
    pub fn asks_cold(&self, cell: CellKey) -> bool {
        let stage = self.stage_of(cell).and_then(|stage| self.stages.get(stage));
        stage.is_some_and(|stage| stage.asks_cold(cell.rung))
    }

    /// The key of a stage, from 0, on any rung.
    fn on(&self, stage: usize, rung: Rung) -> Option<CellKey> {
        Some(CellKey {
            stage: self.stages.get(stage)?.print,
            rung,
        })
    }

    /// A stage, from 0, on the rung that is nearest to another stage's: the same tempo as far as its
    /// ladder goes; where it opens the movement its first length, unless the other is a length too.
    pub fn in_stage(&self, stage: usize, near: Rung) -> Option<CellKey> {
        let planned = self.stages.get(stage)?;
        let (first, last) = (*planned.rungs.first()?, *planned.rungs.last()?);
        let rung = match (planned.is_opened(), near) {
            (true, near) if planned.rungs.contains(&near) => near,
            (true, _) => first,
            (false, near) => Rung::Tempo(near.tempo()).clamp(first, last),
        };
        self.on(stage, rung)
    }

    /// The rung of the same stage above a cell, or nothing at the top; for a cell between rungs the
    /// next one up.
    pub fn above(&self, cell: CellKey) -> Option<CellKey> {
        let stage = self.stages.get(self.stage_of(cell)?)?;
        let rung = *stage.rungs.iter().find(|rung| **rung > cell.rung)?;
        Some(CellKey { rung, ..cell })
    }

    /// The rung of the same stage below a cell, or nothing at the bottom; for a cell between rungs
    /// the next one down.
    pub fn below(&self, cell: CellKey) -> Option<CellKey> {
        let stage = self.stages.get(self.stage_of(cell)?)?;
        let rung = *stage.rungs.iter().rev().find(|rung| **rung < cell.rung)?;
        Some(CellKey { rung, ..cell })
    }

    /// Where a cell stands on the route; nothing for a stage the plan does not have.
    pub(super) fn on_route(&self, cell: CellKey) -> Option<OnRoute> {
        Some(on_route(self.route, (self.stage_of(cell)?, cell.rung)))
    }

    /// Every cell of the grid in the order of the route.
    pub fn in_route_order(&self) -> Vec<CellKey> {
        let rungs: Vec<Vec<Rung>> = self
            .stages
            .iter()
            .map(|stage| stage.rungs.clone())
            .collect();
        in_route_order(&rungs, self.route)
            .into_iter()
            .filter_map(|(stage, rung)| self.on(stage, rung))
            .collect()
    }

    /// The step back from a cell; none from the first cell. On the route across it is the stage
    /// before at the same tempo, or else one rung down. On the route up, and for an opened
    /// movement, it is one rung down, or else the stage before.
    pub fn step_back_from(&self, cell: CellKey) -> Option<CellKey> {
        let down = self.below(cell);
        if self.route == Route::Up || cell.rung.is_opened() {
            return down.or_else(|| self.stage_before(cell));
        }
        let before = self.stage_before(cell);
        let as_quick = before.filter(|before| before.rung.tempo() == cell.rung.tempo());
        as_quick.or(down).or(before)
    }

    /// The stage before, as near to a cell's tempo as its ladder comes. Where it opens the movement
    /// its last length sounds like real time, so the length before that is the easier one.
    fn stage_before(&self, cell: CellKey) -> Option<CellKey> {
        let before = self.stage_of(cell)?.checked_sub(1)?;
        let planned = self.stages.get(before)?;
        if !planned.is_opened() {
            return self.in_stage(before, cell.rung);
        }
        let easier = planned.rungs.iter().rev().nth(1).or(planned.rungs.last());
        self.on(before, *easier?)
    }
}
