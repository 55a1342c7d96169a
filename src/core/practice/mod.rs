//! Practice: the rungs of the ladder, the board of cells, what a mark changes, and how a measured
//! repetition is judged.
//!
//! A pure state machine: [`step`] takes a state and an event and gives the next state and the
//! records to write; [`replay`] folds a journal's entries into a state. Knows stages by the
//! fingerprint of their music and rungs by their value. Knows no clock (time comes in with each
//! event), no sound, no file and no screen.

mod board;
#[cfg(test)]
mod board_laws;
mod cell;
#[cfg(test)]
mod climb_laws;
mod cold;
#[cfg(test)]
mod cold_laws;
mod difference;
mod entry;
mod event;
mod fingerprint;
mod history;
pub mod ladder;
mod measurement;
mod plan;
mod rung;
mod session;
mod state;
mod step;
#[cfg(test)]
mod stop_laws;
mod verdict;

pub use board::{Board, Cell, CellStatus};
pub use cell::CellKey;
pub use cold::{
    Candidate, ColdTries, Held, Try, asked_cold, cold_tries, first_of_each_day, next_cold,
};
pub use difference::{Difference, Discrimination, Trial};
pub use entry::{By, Entry, Kind, Mark, Moment, Record, RecordId, local_day};
pub use event::{Event, Hand, LATE, News, NotByEar, UNSURE};
pub use fingerprint::{StagePrint, StagePrintError};
pub use history::Tally;
pub use measurement::{ExtraNote, Measurement, NoteKind, NoteMeasure, PairWanted};
pub use plan::{Advance, Plan, PlannedStage, Route, StepBack, in_route_order};
pub use rung::{CellPlace, Rung, RungError, reaches};
pub use session::Phase;
pub use state::{NOT_CLEAN_IN_A_ROW, State, edited, replay, replay_all};
pub use step::{ASSUMED_IN_A_ROW, HELD_MS, Meant, step};
pub use verdict::{
    Fault, FaultKind, PairPlayed, PointingHeard, Thresholds, ToneShape, Verdict, judge,
};
