//! What is practised, and how play moves through it: stages, rungs and route.
//!
//! Identifies stages by fingerprint only; knows no marks.

use super::StagePrint;
use super::cell::CellKey;
use super::cold::asked_cold;
use super::ladder::climbs;
use super::rung::{CellPlace, Rung};
use super::verdict::Thresholds;
use crate::drill::Drill;
pub use crate::drill::{Advance, Route, StepBack};
use crate::units::Bpm;

/// A stage and the rungs on which it is practised.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlannedStage {
    /// The fingerprint of its written music.
    pub print: StagePrint,
    /// Its own rungs, strictly rising in the order in which they are climbed: all tempi, or all
    /// lengths.
    pub rungs: Vec<Rung>,
    /// True when it is played in real time. Then every fourth rung needs a cold try.
    pub real_time: bool,
}

impl PlannedStage {
    /// The stages of a drill; `prints` are the fingerprints of their music in the same order.
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

    /// The tempi at which these stages are practised, in no particular order.
    pub fn tempi(stages: &[Self]) -> Vec<Bpm> {
        let rungs = stages.iter().flat_map(|stage| &stage.rungs);
        rungs.map(|rung| rung.tempo()).collect()
    }

    /// True when the movement is opened, so that its rungs are lengths of tones.
    pub fn is_opened(&self) -> bool {
        self.rungs.iter().any(|rung| rung.is_opened())
    }

    /// True for a rung that is held only after a clean cold try: the last rung, and in real time
    /// every fourth.
    pub fn asks_cold(&self, rung: Rung) -> bool {
        let place = self.rungs.iter().position(|known| *known == rung);
        place.is_some_and(|place| asked_cold(place, self.rungs.len(), self.real_time))
    }

    /// True for a cell of this stage, including cells between its rungs.
    pub fn has(&self, cell: CellKey) -> bool {
        self.print == cell.stage && self.is_opened() == cell.rung.is_opened()
    }
}

/// What is practised and how. Any value is valid: without a stage or a rung the board is empty and
/// nothing happens.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// The drill's name in the journal. Marks are never found by it.
    pub drill: String,
    /// The stages in the drill's order, each with its rungs.
    pub stages: Vec<PlannedStage>,
    /// Clean repetitions in a row that clear a cell; 0 is read as 1.
    pub clean: u32,
    /// Which cell comes next.
    pub route: Route,
    /// Whether play moves on automatically.
    pub advance: Advance,
    /// Whether play steps back automatically.
    pub step_back: StepBack,
    /// True when three repetitions in a row that are not clean stop play, unless it steps back
    /// automatically.
    pub stop_rule: bool,
    /// True when an unmarked repetition is assumed clean at its end.
    pub hands_free: bool,
    /// True when the microphone's measurement marks the repetition.
    pub by_ear: bool,
    /// True when the player declares that the microphone hears none of the program's sound.
    pub headphones: bool,
    /// The limits by which a measurement is judged.
    pub thresholds: Thresholds,
}

/// The position of a cell on a route; an earlier cell compares less.
type OnRoute = (Option<Bpm>, usize, Rung);

fn on_route(route: Route, (stage, rung): CellPlace) -> OnRoute {
    match route {
        Route::Across => (Some(rung.tempo()), stage, rung),
        Route::Up => (None, stage, rung),
    }
}

/// Every cell of these stages in the order of a route. On the route across, all cells at one tempo
/// come stage by stage, then those at the next tempo. On the route up, the stages come one after
/// the other.
pub fn in_route_order(rungs: &[Vec<Rung>], route: Route) -> Vec<CellPlace> {
    let all = rungs.iter().enumerate();
    let mut places: Vec<CellPlace> = all
        .flat_map(|(stage, rungs)| rungs.iter().map(move |rung| (stage, *rung)))
        .collect();
    places.sort_by_key(|place| on_route(route, *place));
    places
}

impl Plan {
    /// A plan with the usual choices: five clean repetitions in a row, the route across, moving on
    /// automatically, marks by hand.
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

    /// How many clean repetitions in a row clear a cell in this plan.
    pub fn needed(&self) -> u32 {
        self.clean.max(1)
    }

    /// The limits by which a repetition of a cell is judged: the player's limits adjusted to the
    /// cell's place on the drill's ladder.
    pub fn thresholds_of(&self, cell: CellKey) -> Thresholds {
        self.thresholds
            .on(cell.rung, &PlannedStage::tempi(&self.stages))
    }

    /// The index of a cell's stage in the drill, from 0. When several stages have the same music
    /// and the same kind of rungs, a stage with exactly this rung comes first, then the first of
    /// them.
    pub fn stage_of(&self, cell: CellKey) -> Option<usize> {
        let exact = |stage: &PlannedStage| stage.has(cell) && stage.rungs.contains(&cell.rung);
        let exact = self.stages.iter().position(exact);
        exact.or_else(|| self.stages.iter().position(|stage| stage.has(cell)))
    }

    /// The fingerprints of the stages' music.
    pub fn prints(&self) -> Vec<StagePrint> {
        self.stages.iter().map(|stage| stage.print).collect()
    }

    /// True when a stage of the plan has this music.
    pub fn has_print(&self, print: StagePrint) -> bool {
        self.stages.iter().any(|stage| stage.print == print)
    }

    /// The key of a cell by its indices in the grid: stage and rung, both from 0; none when there
    /// is no such cell.
    pub fn key(&self, stage: usize, rung: usize) -> Option<CellKey> {
        let stage = self.stages.get(stage)?;
        Some(CellKey {
            stage: stage.print,
            rung: *stage.rungs.get(rung)?,
        })
    }

    /// True for a cell that is held only after a clean cold try: the top of its stage, and in real
    /// time every fourth rung.
    pub fn asks_cold(&self, cell: CellKey) -> bool {
        let stage = self.stage_of(cell).and_then(|stage| self.stages.get(stage));
        stage.is_some_and(|stage| stage.asks_cold(cell.rung))
    }

    /// The key of a stage (from 0) on any rung; none when there is no such stage.
    fn on(&self, stage: usize, rung: Rung) -> Option<CellKey> {
        Some(CellKey {
            stage: self.stages.get(stage)?.print,
            rung,
        })
    }

    /// The cell of a stage (from 0) on the rung nearest to a rung of another stage: the same tempo,
    /// as far as the ladder goes. A stage that opens the movement is entered at its first length,
    /// unless `near` is also a length.
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

    /// The next rung above a cell in the same stage; none at the top. A cell may lie between rungs.
    pub fn above(&self, cell: CellKey) -> Option<CellKey> {
        let stage = self.stages.get(self.stage_of(cell)?)?;
        let rung = *stage.rungs.iter().find(|rung| **rung > cell.rung)?;
        Some(CellKey { rung, ..cell })
    }

    /// The next rung below a cell in the same stage; none at the bottom. A cell may lie between
    /// rungs.
    pub fn below(&self, cell: CellKey) -> Option<CellKey> {
        let stage = self.stages.get(self.stage_of(cell)?)?;
        let rung = *stage.rungs.iter().rev().find(|rung| **rung < cell.rung)?;
        Some(CellKey { rung, ..cell })
    }

    /// Where a cell stands on the route; none when the plan does not have its stage.
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
    /// before at the same tempo or, without such a stage, one rung down. On the route up, and for
    /// an opened movement, it is one rung down or, without a lower rung, the stage before.
    pub fn step_back_from(&self, cell: CellKey) -> Option<CellKey> {
        let down = self.below(cell);
        if self.route == Route::Up || cell.rung.is_opened() {
            return down.or_else(|| self.stage_before(cell));
        }
        let before = self.stage_before(cell);
        let as_quick = before.filter(|before| before.rung.tempo() == cell.rung.tempo());
        as_quick.or(down).or(before)
    }

    /// The stage before, on the rung nearest to a cell's tempo. When that stage opens the movement,
    /// its last length sounds like real time, so the length before the last is taken as the easier
    /// one.
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
