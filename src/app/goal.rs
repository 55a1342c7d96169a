//! What homework asks of a drill, and whether it is reached.

use crate::planning::{Criterion, Digest, Said};
use crate::practice::{CellKey, Entry, Mark, Rung};

/// What homework asks for.
#[derive(Debug, Clone)]
pub struct Goal {
    /// The cell to be reached.
    pub(super) cell: CellKey,
    /// The homework's file.
    pub(super) file: String,
    /// The criterion that must be met, where it is not the drill's own number in a row.
    pub(super) until: Option<Criterion>,
    /// The marks of the cells that reach it.
    said: Vec<Said>,
    /// True once it was met, at the start or since.
    met: bool,
}

/// True where a rung reaches what is asked: as quick or quicker, as short or shorter.
fn reaches(asked: Rung, rung: Rung) -> bool {
    match (asked.tone(), rung.tone()) {
        (Some(asked), Some(tone)) => tone <= asked,
        (None, None) => rung.tempo() >= asked.tempo(),
        _ => false,
    }
}

/// The fields, to be read; only this room changes them.
impl Goal {
    /// The cell to be reached.
    pub fn cell(&self) -> CellKey {
        self.cell
    }

    /// The homework's file.
    pub fn file(&self) -> &str {
        &self.file
    }

    /// What counts as reached, where it is not the drill's own number in a row.
    pub fn until(&self) -> Option<Criterion> {
        self.until
    }
}

impl Goal {
    /// A goal, with what the journal has of its stage.
    pub(super) fn new(
        cell: CellKey,
        file: &str,
        until: Option<Criterion>,
        entries: &[Entry],
    ) -> Self {
        let mut goal = Self {
            cell,
            file: file.to_owned(),
            until,
            said: Vec::new(),
            met: false,
        };
        goal.take_in(entries);
        goal
    }

    /// True for a cell with which it is reached.
    pub(super) fn is_reached_with(&self, cell: CellKey) -> bool {
        cell.stage == self.cell.stage && reaches(self.cell.rung, cell.rung)
    }

    /// Takes in new marks; true where they meet what is asked for the first time.
    pub(super) fn take_in(&mut self, entries: &[Entry]) -> bool {
        let Some(until) = self.until else {
            return false;
        };
        for entry in entries {
            let ours = entry
                .record
                .cell
                .is_none_or(|cell| self.is_reached_with(cell));
            self.said.extend(Said::of(entry).filter(|_| ours));
        }
        let digest = Digest::of(self.said.iter().copied());
        let met = digest.cells().any(|(_, days)| {
            let marks: Vec<Mark> = days.marks.iter().map(|(_, mark)| *mark).collect();
            until.met(&marks).is_some()
        });
        let first = met && !self.met;
        self.met |= met;
        first
    }

    /// `, 9 of 10`: what is asked beside the cell; empty where it is what the drill asks.
    pub fn until_words(&self) -> String {
        self.until
            .map_or_else(String::new, |until| format!(", {until}"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::practice::{By, Kind, Record, RecordId, StagePrint};
    use crate::units::Bpm;
    use uuid::Uuid;

    /// The goal "2 of 3" is met by the third mark of three, once, and by marks of the quicker rungs
    /// of its stage alone.
    #[test]
    fn a_criterion_is_met_by_the_mark_that_meets_it() {
        let rung = |tempo| Rung::Tempo(Bpm::whole(tempo).expect("a tempo"));
        let cell = |stage, tempo| CellKey {
            stage: StagePrint(stage),
            rung: rung(tempo),
        };
        let mut number = 0;
        let mut mark = |cell, mark| {
            number += 1;
            Entry {
                journal: Uuid::nil(),
                seq: number,
                record: Record {
                    id: RecordId {
                        session: Uuid::nil(),
                        number,
                    },
                    utc_us: number as i64 * 1_000_000,
                    offset_s: 0,
                    kind: Kind::Mark {
                        repetition: number,
                        mark,
                        needed: 5,
                        free: false,
                    },
                    drill: String::new(),
                    cell: Some(cell),
                    by: Some(By::Key),
                    thresholds: None,
                    measures: None,
                    version: String::new(),
                },
            }
        };
        let until = Criterion::parse("2 of 3").ok();
        let mut goal = Goal::new(cell(1, 60), "week.yaml", until, &[]);
        let slow = [Mark::Clean; 3].map(|one| mark(cell(1, 56), one));
        let other = [Mark::Clean; 3].map(|one| mark(cell(2, 60), one));
        assert!(!goal.take_in(&slow) && !goal.take_in(&other));
        assert!(!goal.take_in(&[mark(cell(1, 63), Mark::Clean)]));
        assert!(!goal.take_in(&[mark(cell(1, 63), Mark::NotClean)]));
        assert!(goal.take_in(&[mark(cell(1, 63), Mark::Clean)]));
        assert!(!goal.take_in(&[mark(cell(1, 63), Mark::Clean)]), "once");
    }
}
