//! A drill that the shell has read, with its entries from the journal.

use crate::drill::Drill;
use crate::planning::Criterion;
use crate::practice::{CellKey, Entry, Rung, StagePrint};
use uuid::Uuid;

/// The cell that homework asks the player to reach.
#[derive(Debug, Clone, PartialEq)]
pub struct HomeworkGoal {
    /// The stage of the cell, from 0.
    pub stage: usize,
    /// The rung of the cell.
    pub rung: Rung,
    /// The name of the homework file.
    pub file: String,
    /// The criterion that must be met; none where the drill's own number of clean repetitions in a
    /// row counts.
    pub until: Option<Criterion>,
}

/// A drill that the shell has read.
#[derive(Debug, Clone)]
pub struct OpenedDrill {
    /// The name by which the drill was opened.
    pub name: String,
    /// The drill.
    pub drill: Drill,
    /// The journal's entries for the drill's stages.
    pub entries: Vec<Entry>,
    /// The latest marks and measurements of the drill's stages.
    pub lately: Vec<Entry>,
    /// The stages that the journal knows under this name, including those whose music has changed
    /// since.
    pub played: Vec<StagePrint>,
    /// The cell to begin in: the cell that was asked for, or the one in which the last session
    /// ended.
    pub place: Option<CellKey>,
    /// The homework's goal, where the drill was opened as homework.
    pub goal: Option<HomeworkGoal>,
    /// The stage to begin with, from 0, where the command line names one.
    pub stage: Option<usize>,
    /// The rung to begin on, where the command line names one.
    pub rung: Option<Rung>,
    /// A sentence that is shown once the drill is open.
    pub says: Option<String>,
    /// A new identifier for this session.
    pub session: Uuid,
}

impl OpenedDrill {
    /// A drill without journal entries and without a place to begin in. Its session identifier is
    /// nil.
    pub fn new(name: &str, drill: Drill) -> Self {
        Self {
            name: name.to_owned(),
            drill,
            entries: Vec::new(),
            lately: Vec::new(),
            played: Vec::new(),
            place: None,
            goal: None,
            stage: None,
            rung: None,
            says: None,
            session: Uuid::nil(),
        }
    }
}
