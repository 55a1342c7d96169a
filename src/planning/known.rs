//! A drill as planning knows it: its stages, its rungs and its names.

use super::digest::{CellDays, Digest, day_of};
use crate::practice::{
    Candidate, CellKey, CellPlace, ColdTries, PlannedStage, Route, Rung, StagePrint, cold_tries,
    in_route_order, reaches,
};
use crate::units::Beats;
use jiff::civil::Date;

/// A drill as planning knows it.
#[derive(Debug, Clone, PartialEq)]
pub struct Known {
    /// The name it is opened by.
    pub name: String,
    /// Its title.
    pub title: String,
    /// Its stages, each with its rungs.
    pub stages: Vec<PlannedStage>,
    /// Their names.
    pub stage_names: Vec<String>,
    /// Beats of one repetition with its breath, for each stage.
    pub beats: Vec<Beats>,
    /// Clean ones in a row that clear a cell.
    pub clean: u32,
    /// Which cell comes next.
    pub route: Route,
}

impl Known {
    /// The fingerprints of its stages' music.
    pub fn prints(&self) -> Vec<StagePrint> {
        self.stages.iter().map(|stage| stage.print).collect()
    }

    /// The cells that are asked cold and were cleared before a date, with what their cold tries come
    /// to.
    pub(super) fn cold_cells(&self, digest: &Digest, date: Date) -> Vec<Candidate> {
        let first = digest.first_tries(&self.prints());
        let asked = |place: &CellPlace| self.stages[place.0].asks_cold(place.1);
        self.route()
            .into_iter()
            .filter(asked)
            .filter_map(|(stage, rung)| {
                let key = CellKey {
                    stage: self.stages[stage].print,
                    rung,
                };
                let cleared = digest.cell(key)?.cleared.filter(|day| *day < date)?;
                let tries: ColdTries = cold_tries(key, day_of(cleared), &first);
                Some(Candidate { stage, rung, tries })
            })
            .collect()
    }

    /// The stage, from 0, that a cell belongs to, also between its rungs.
    pub fn stage_of(&self, cell: CellKey) -> Option<usize> {
        self.stages.iter().position(|stage| stage.has(cell))
    }

    /// `half beats at 52`, `closing up at 104 ms`.
    pub fn cell_name(&self, (stage, rung): CellPlace) -> String {
        let stage = self.stage_names.get(stage).map_or("", String::as_str);
        format!("{stage} at {}", rung.spoken())
    }

    pub(super) fn days<'digest>(
        &self,
        digest: &'digest Digest,
        (stage, rung): CellPlace,
    ) -> Option<&'digest CellDays> {
        let stage = self.stages.get(stage)?.print;
        digest.cell(CellKey { stage, rung })
    }

    /// Every cell, in the order of the route.
    pub(super) fn route(&self) -> Vec<CellPlace> {
        let rungs: Vec<Vec<Rung>> = self
            .stages
            .iter()
            .map(|stage| stage.rungs.clone())
            .collect();
        in_route_order(&rungs, self.route)
    }

    /// The first cell of the route that is not clear and lies before no clear one.
    pub(super) fn frontier(&self, digest: &Digest) -> Option<CellPlace> {
        let route = self.route();
        let is_clear = |place: &CellPlace| {
            let days = self.days(digest, *place);
            days.is_some_and(|days| days.cleared.is_some())
        };
        let clear: Vec<CellPlace> = route.iter().copied().filter(is_clear).collect();
        let done = |place: &CellPlace| clear.iter().any(|clear| reaches(*place, *clear));
        route.into_iter().find(|place| !done(place))
    }

    pub(super) fn name_of(&self, place: CellPlace) -> String {
        format!("{}, {}", self.title, self.cell_name(place))
    }
}
