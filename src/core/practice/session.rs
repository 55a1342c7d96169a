//! The state that exists only while a session runs: where play is, what sounds, what can be marked.

use super::cell::CellKey;
use super::entry::Mark;
use uuid::Uuid;

/// Whether sound is running.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Phase {
    /// No sound is running.
    Still,
    /// Sound is running.
    Playing,
    /// The player paused it.
    Paused,
    /// It stopped automatically after three repetitions in a row that were not clean, and offers
    /// other ways on.
    Offering,
    /// It paused automatically, because six assumed repetitions passed without a sign of the
    /// player.
    NobodyThere,
}

/// A repetition that is sounding or has sounded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Repetition {
    pub(super) id: u64,
    pub(super) cell: CellKey,
    pub(super) free: bool,
    pub(super) reference: bool,
    /// True when something of the drill was played before it, on the same day or shortly before.
    pub(super) run_up: bool,
    /// True when it is the cold try of its cell.
    pub(super) cold: bool,
    /// True when the computer was late with its sound, so that it takes no mark.
    pub(super) late: bool,
    /// When its closing note was heard, in milliseconds; none while it still sounds.
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

/// A visit: the time that play stays in one cell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Visit {
    pub(super) cell: CellKey,
    /// True when the player chose the cell while it was closed, or stepped back within such a
    /// visit.
    pub(super) freely: bool,
    /// True when the cell was already clear at the beginning of the visit.
    pub(super) was_clear: bool,
    /// True when a full row of clean repetitions moves play on, although the cell was clear before.
    pub(super) leads_on: bool,
    /// The number of the first repetition that can belong to this visit.
    pub(super) first: u64,
}

/// A running session.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Session {
    pub(super) id: Uuid,
    pub(super) records: u64,
    pub(super) phase: Phase,
    /// When sound began to run, in milliseconds on the clock that never jumps; none while there is
    /// no sound.
    pub(super) sounds_since: Option<i64>,
    pub(super) visit: Option<Visit>,
    /// The cells cleared one after the other on the way to the present cell, the oldest first.
    pub(super) path: Vec<CellKey>,
    pub(super) wish: Option<CellKey>,
    pub(super) step_back_taken: bool,
    pub(super) advance_asked: bool,
    pub(super) next_repetition: u64,
    pub(super) sounding: Option<Repetition>,
    /// Repetitions that reached their closing note, the oldest first.
    pub(super) closed: Vec<Repetition>,
    /// A press means no repetition before this one: it was played before play began anew.
    pub(super) presses_from: u64,
    pub(super) last_press: Option<(Mark, i64)>,
    pub(super) assumed_in_a_row: u32,
    /// The repetition number and the cell of this session's cold try; none without one.
    pub(super) cold: Option<(u64, CellKey)>,
    /// The number of the first repetition whose mark can stop play. Earlier ones that were not
    /// clean have stopped it already.
    pub(super) slips_from: u64,
    /// The cell that was last recorded as the place of play.
    pub(super) written_place: Option<CellKey>,
}

/// How many closed repetitions are kept for late marks. 64 are more than two minutes of playing
/// with the shortest bars; a verdict comes within half a bar.
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

    /// The repetition that a press at a moment belongs to: the last one whose closing note had been
    /// heard.
    pub(super) fn closed_by(&self, heard_ms: i64) -> Option<Repetition> {
        self.closed
            .iter()
            .rev()
            .find(|one| one.closed_ms.is_some_and(|closed| closed <= heard_ms))
            .copied()
    }

    /// The repetition that a press at a moment (in milliseconds) means: the one with this number,
    /// or otherwise the last closed one. Once a repetition of another cell sounds, a press without
    /// a number no longer means the closed one.
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
