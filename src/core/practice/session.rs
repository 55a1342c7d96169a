//! What is true only while a session runs: where play is, what sounds, what can be marked.

use super::cell::CellKey;
use super::entry::Mark;
use uuid::Uuid;

/// Whether sound runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Phase {
    /// No sound runs.
    Still,
    /// Sound runs.
    Playing,
    /// It was paused by the player.
    Paused,
    /// It stopped by itself after three not clean in a row, and offers other ways on.
    Offering,
    /// It was paused because six assumed repetitions went by with nobody there.
    NobodyThere,
}

/// A repetition that sounds or sounded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Repetition {
    pub(super) id: u64,
    pub(super) cell: CellKey,
    pub(super) free: bool,
    pub(super) reference: bool,
    /// Something of the drill was played before it, that day or just before.
    pub(super) run_up: bool,
    /// True where it is the cold try of its cell.
    pub(super) cold: bool,
    /// The computer was late with its sound: it takes no mark.
    pub(super) late: bool,
    /// When its closing note was heard, milliseconds; nothing while it still sounds.
    pub(super) closed_ms: Option<i64>,
}

/// Why play is in its cell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Reason {
    /// The player chose it.
    Chosen,
    /// A step back led there.
    Back,
    /// The route led there.
    Route,
    /// The cell it came from was un-cleared.
    Return,
}

/// A stay in a cell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Visit {
    pub(super) cell: CellKey,
    /// The player chose it while it was closed, or stepped back within such a stay.
    pub(super) freely: bool,
    /// The cell was clear when the stay began.
    pub(super) was_clear: bool,
    /// A full streak moves play on to the next cell, although this cell was clear before.
    pub(super) leads_on: bool,
    /// The first repetition that can belong to this stay.
    pub(super) first: u64,
}

/// A running session.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Session {
    pub(super) id: Uuid,
    pub(super) records: u64,
    pub(super) phase: Phase,
    /// When sound began to run, on the clock that never jumps, milliseconds.
    pub(super) sounds_since: Option<i64>,
    pub(super) visit: Option<Visit>,
    /// Cells cleared one after the other on the way here, oldest first.
    pub(super) path: Vec<CellKey>,
    pub(super) wish: Option<CellKey>,
    pub(super) step_back_taken: bool,
    pub(super) advance_asked: bool,
    pub(super) next_repetition: u64,
    pub(super) sounding: Option<Repetition>,
    /// Repetitions that came to their closing note, oldest first.
    pub(super) closed: Vec<Repetition>,
    /// A press means no repetition before this one: it was played before play began anew.
    pub(super) presses_from: u64,
    pub(super) last_press: Option<(Mark, i64)>,
    pub(super) assumed_in_a_row: u32,
    /// The cold try of this session and its cell.
    pub(super) cold: Option<(u64, CellKey)>,
    /// Repetitions before this one that were not clean have stopped play already and do not stop it
    /// again.
    pub(super) slips_from: u64,
    /// The place that was last written down.
    pub(super) written_place: Option<CellKey>,
}

/// How many closed repetitions a late mark can still name. 64: at the shortest bars more than
/// two minutes of playing; a verdict comes within half a bar.
const REMEMBERED: usize = 64;

impl Session {
    pub(super) fn new(id: Uuid) -> Self {
        Self {
            id,
            records: 0,
            phase: Phase::Still,
            sounds_since: None,
            visit: None,
            path: Vec::new(),
            wish: None,
            step_back_taken: false,
            advance_asked: false,
            next_repetition: 0,
            sounding: None,
            closed: Vec::new(),
            presses_from: 0,
            last_press: None,
            assumed_in_a_row: 0,
            cold: None,
            slips_from: 0,
            written_place: None,
        }
    }

    pub(super) fn close(&mut self, repetition: Repetition) {
        if self.closed.len() == REMEMBERED {
            self.closed.remove(0);
        }
        self.closed.push(repetition);
    }

    pub(super) fn closed(&self, id: u64) -> Option<Repetition> {
        self.closed.iter().rev().find(|one| one.id == id).copied()
    }

    /// The repetition a press at a moment belongs to: the last whose closing note had been heard.
    pub(super) fn closed_by(&self, heard_ms: i64) -> Option<Repetition> {
        self.closed
            .iter()
            .rev()
            .find(|one| one.closed_ms.is_some_and(|closed| closed <= heard_ms))
            .copied()
    }

    /// The repetition that a press means, at a moment in milliseconds: the one with this number, else
    /// the last one closed. Once another cell's repetition sounds, it no longer means the one before.
    pub(super) fn pressed(&self, number: Option<u64>, heard_ms: i64) -> Option<Repetition> {
        match number {
            Some(id) => self.closed(id),
            None => self
                .closed_by(heard_ms)
                .filter(|last| last.id >= self.presses_from)
                .filter(|last| self.sounding.is_none_or(|now| now.cell == last.cell)),
        }
    }
}
