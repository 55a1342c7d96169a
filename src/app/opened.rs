//! A drill as the shell read it, with what the journal has of it.

use crate::drill::Drill;
use crate::planning::Criterion;
use crate::practice::{CellKey, Entry, Rung, StagePrint};
use uuid::Uuid;

/// The cell that homework is to reach.
#[derive(Debug, Clone, PartialEq)]
pub struct HomeworkGoal {
    /// Its stage, from 0.
    pub stage: usize,
    /// Its rung.
    pub rung: Rung,
    /// The homework's file.
    pub file: String,
    /// What counts as reached, where it is not the drill's own number in a row.
    pub until: Option<Criterion>,
}

/// A drill as the shell read it.
#[derive(Debug, Clone)]
pub struct OpenedDrill {
    /// The name it is called by.
    pub name: String,
    /// The drill.
    pub drill: Drill,
    /// What the journal has of its stages.
    pub entries: Vec<Entry>,
    /// The last marks and measures of its stages, with what was measured.
    pub lately: Vec<Entry>,
    /// Stages the journal knows under this name, of whatever music.
    pub played: Vec<StagePrint>,
    /// The cell to begin in: the one asked for, or the one in which the last session ended.
    pub place: Option<CellKey>,
    /// What homework asks for, where it was opened as homework.
    pub goal: Option<HomeworkGoal>,
    /// Stage to begin with, from 0, when it was asked for on the command line.
    pub stage: Option<usize>,
    /// Rung to begin on, when it was asked for on the command line.
    pub rung: Option<Rung>,
    /// What the program says once the drill is open.
    pub says: Option<String>,
    /// A fresh name for the session.
    pub session: Uuid,
}

impl OpenedDrill {
    /// A drill that nobody has played and of which no place is asked for; its session has no name.
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
