//! The cold try: the first repetition of a day, without the reference and without run-up, and what
//! it shows of a cell.
//!
//! Five clean repetitions in a row after twenty other tries do not show that a cell is learnt. A
//! cleared cell is *held* when its first try on another day is clean. That first tries on another
//! day tell more than the last ones of a session is common practice. Which cells need a cold try,
//! and how, is chosen. Knows tries and marks; knows no journal, no session and no clock.

use super::StagePrint;
use super::cell::CellKey;
use super::entry::Mark;
use super::rung::{Rung, reaches};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// In a stage in real time one rung out of this many needs a cold try.
const EVERY: usize = 4;

/// True when a rung (from 0) needs a cold try: the top rung of a stage, and every fourth rung in
/// real time.
pub fn asked_cold(rung: usize, rungs: usize, real_time: bool) -> bool {
    rung + 1 == rungs || (real_time && (rung + 1).is_multiple_of(EVERY))
}

/// The first repetition of a drill on a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Try {
    /// The player's local calendar day, in days since 1970-01-01.
    pub day: i64,
    /// The cell that was played.
    pub cell: CellKey,
    /// True when the reference was silent and nothing was played shortly before.
    pub alone: bool,
    /// The mark it got, and whether that was only assumed; none when it was not marked.
    pub said: Option<(Mark, bool)>,
}

/// Whether a cell is held.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub enum Held {
    /// The cell is not held.
    #[default]
    No,
    /// The cell is held by a cold try whose clean mark was only assumed.
    Assumed,
    /// The cell is held by a cold try that was marked clean.
    Said,
}

impl Held {
    /// True when the cell is held, with a given or an assumed mark.
    pub fn is_held(self) -> bool {
        self != Self::No
    }
}

/// What a cell's cold tries show. The last one that was marked decides.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct ColdTries {
    /// Whether the cell is held.
    pub held: Held,
    /// The day of the last cold try, marked or not, in days since 1970-01-01; none without one.
    pub last: Option<i64>,
}

/// The first try of each day in the music of these stages. `tries` must be in fold order.
pub fn first_of_each_day(tries: impl IntoIterator<Item = Try>, stages: &[StagePrint]) -> Vec<Try> {
    let mut days = BTreeSet::new();
    tries
        .into_iter()
        .filter(|one| stages.contains(&one.cell.stage) && days.insert(one.day))
        .collect()
}

/// What the first tries of each day show of a cell that became clear on the day `cleared`.
pub fn cold_tries(cell: CellKey, cleared: i64, first: &[Try]) -> ColdTries {
    let mut found = ColdTries::default();
    for one in first {
        if one.cell != cell || !one.alone || one.day <= cleared {
            continue;
        }
        found.last = Some(one.day);
        match one.said {
            Some((Mark::Clean, false)) => found.held = Held::Said,
            Some((Mark::Clean, true)) => found.held = Held::Assumed,
            Some((Mark::NotClean, _)) => found.held = Held::No,
            None => {}
        }
    }
    found
}

/// A cell that needs a cold try and was cleared on an earlier day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Candidate {
    /// The index of its stage in the drill, from 0.
    pub stage: usize,
    /// Its rung.
    pub rung: Rung,
    /// What its cold tries show.
    pub tries: ColdTries,
}

/// The cell of a drill to try cold next. From each stage it takes the highest candidate, unless a
/// held cell of this stage or a later one stands for it. Of these it chooses the one not tried for
/// longest, and of equal ones that of the latest stage.
pub fn next_cold(candidates: &[Candidate]) -> Option<Candidate> {
    let stands_for = |one: &Candidate, other: &Candidate| {
        one.tries.held.is_held() && reaches((other.stage, other.rung), (one.stage, one.rung))
    };
    let highest = |one: &&Candidate| {
        candidates
            .iter()
            .all(|other| other.stage != one.stage || other.rung <= one.rung)
    };
    candidates
        .iter()
        .filter(highest)
        .filter(|one| !candidates.iter().any(|held| stands_for(held, one)))
        .min_by_key(|one| (one.tries.last, std::cmp::Reverse((one.stage, one.rung))))
        .copied()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Bpm;

    fn cell(stage: u128, tempo: i128) -> CellKey {
        CellKey {
            stage: StagePrint(stage),
            rung: Rung::Tempo(Bpm::whole(tempo).expect("a tempo")),
        }
    }

    fn tried(day: i64, mark: Option<Mark>) -> Try {
        Try {
            day,
            cell: cell(1, 60),
            alone: true,
            said: mark.map(|mark| (mark, false)),
        }
    }

    #[test]
    fn the_top_is_asked_cold_and_in_real_time_every_fourth() {
        let asked = |rungs: usize, real_time: bool| -> Vec<usize> {
            (0..rungs)
                .filter(|rung| asked_cold(*rung, rungs, real_time))
                .map(|rung| rung + 1)
                .collect()
        };
        assert_eq!(asked(13, false), [13]);
        assert_eq!(asked(13, true), [4, 8, 12, 13]);
        assert_eq!(asked(1, true), [1]);
        assert!(asked(0, true).is_empty());
    }

    /// A try on the day of clearing shows no more than the five clean repetitions that cleared the
    /// cell.
    #[test]
    fn a_try_of_another_day_decides_and_the_last_of_them() {
        let (clean, not) = (Some(Mark::Clean), Some(Mark::NotClean));
        let held = |tries: &[Try]| cold_tries(cell(1, 60), 10, tries).held.is_held();
        assert!(!held(&[]));
        assert!(!held(&[tried(10, clean)]), "the day it was cleared");
        assert!(held(&[tried(11, clean)]));
        assert!(!held(&[tried(11, not)]));
        assert!(held(&[tried(11, not), tried(12, clean)]));
        assert!(!held(&[tried(11, clean), tried(40, not)]));
        assert!(
            held(&[tried(11, clean), tried(40, None)]),
            "nothing was said"
        );
        let with_reference = Try {
            alone: false,
            ..tried(11, clean)
        };
        assert!(!held(&[with_reference]));
    }

    #[test]
    fn an_earlier_repetition_of_the_drill_that_day_is_a_run_up() {
        let other = Try {
            cell: cell(2, 50),
            ..tried(11, None)
        };
        let stages = [StagePrint(1), StagePrint(2)];
        let both = [other, tried(11, Some(Mark::Clean))];
        let first = first_of_each_day(both, &stages);
        assert_eq!(first, [other]);
        assert_eq!(cold_tries(cell(1, 60), 10, &first), ColdTries::default());
        let alone = first_of_each_day(both, &stages[..1]);
        assert!(cold_tries(cell(1, 60), 10, &alone).held.is_held());
    }

    #[test]
    fn the_hardest_is_asked_first_and_a_held_one_stands_for_what_lies_before_it() {
        let candidate = |stage: usize, tempo: i128, held: Held, last: Option<i64>| Candidate {
            stage,
            rung: Rung::Tempo(Bpm::whole(tempo).expect("a tempo")),
            tries: ColdTries { held, last },
        };
        let next = |candidates: &[Candidate]| {
            next_cold(candidates).map(|one| (one.stage, one.rung.to_string()))
        };
        let two = [
            candidate(0, 80, Held::No, None),
            candidate(3, 62, Held::No, None),
            candidate(3, 56, Held::No, None),
        ];
        assert_eq!(next(&two), Some((3, "62".to_owned())));
        // A cell whose cold try failed yesterday comes after one that was not tried for longer.
        let turned = [two[0], candidate(3, 62, Held::No, Some(20))];
        assert_eq!(next(&turned), Some((0, "80".to_owned())));
        let held = candidate(3, 80, Held::Said, Some(20));
        assert_eq!(next(&[two[0], held]), None);
        let slower = candidate(3, 62, Held::Said, Some(20));
        assert_eq!(next(&[two[0], slower]), Some((0, "80".to_owned())));
        assert_eq!(next(&[]), None);
    }
}
