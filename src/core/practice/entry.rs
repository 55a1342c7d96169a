//! The records of what happened, and their places in a journal.
//!
//! Knows what an entry says; knows nothing of how it is stored.

use super::cell::CellKey;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// When something happened, on the two clocks the shell reads for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Moment {
    /// Universal time in microseconds since 1970; may be set back.
    pub utc_us: i64,
    /// The local time's offset from universal time in seconds, east positive.
    pub offset_s: i32,
    /// Milliseconds on a clock that never goes back and runs on while nothing plays. What sounds
    /// is told at the moment it is *heard*, output latency taken off; a press at the moment it is
    /// made.
    pub heard_ms: i64,
}

/// The calendar day at a place, counted from 1970, from universal time in microseconds and the
/// offset in seconds.
pub fn local_day(utc_us: i64, offset_s: i32) -> i64 {
    utc_us
        .div_euclid(1_000_000)
        .saturating_add(i64::from(offset_s))
        .div_euclid(86_400)
}

/// What a mark says of a repetition.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Mark {
    /// It was clean.
    Clean,
    /// It was not clean.
    NotClean,
}

/// Who said it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum By {
    /// A key.
    Key,
    /// A pedal.
    Pedal,
    /// The microphone's verdict.
    Ear,
    /// Nobody: in hands-free practice an unmarked repetition is assumed clean.
    Assumed,
}

impl By {
    /// True for a key and a pedal: what the player said overrules the rest.
    pub fn is_hand(self) -> bool {
        matches!(self, Self::Key | Self::Pedal)
    }
}

/// The name of a record for ever: the session that made it and its number there, from 0. Known
/// before the record is stored, so that an undo can name a mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct RecordId {
    /// The session.
    pub session: Uuid,
    /// The record's number in it.
    pub number: u64,
}

/// What a record says.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// A session began, in the record's cell.
    Began,
    /// The record's cell is where play is, or moves at the next boundary of a repetition.
    Place,
    /// Sound began to run.
    Playing,
    /// Sound was stopped.
    Paused,
    /// The session was left.
    Ended,
    /// A repetition in the record's cell was marked.
    Mark {
        /// The repetition's number in the session.
        repetition: u64,
        /// What the mark says.
        mark: Mark,
        /// How many clean in a row cleared a cell when it was said.
        needed: u32,
        /// The cell was closed and played freely when the repetition began.
        free: bool,
    },
    /// A mark in the record's cell was taken back.
    Undo {
        /// The mark.
        mark: RecordId,
    },
    /// A repetition in the record's cell came to its closing note, the first of its drill on that
    /// day. Journals from before format 2 have none.
    Tried {
        /// The repetition's number in the session.
        repetition: u64,
        /// The reference was silent in it, and nothing of the drill was played shortly before.
        alone: bool,
    },
    /// A repetition in the record's cell came to its closing note, all of its music hidden and
    /// without reference. Journals from before format 6 have none.
    ByHeart {
        /// The repetition's number in the session.
        repetition: u64,
    },
    /// A repetition was measured without being marked by it.
    Measured {
        /// The repetition's number in the session.
        repetition: u64,
    },
    /// The listener told clean from faulty, in the record's cell: what it came to is a
    /// [`Discrimination`](super::Discrimination) in the measures. Marks nothing.
    Discriminated,
    /// The player's own words, beside a mark or for the teacher.
    Word {
        /// The mark they stand beside.
        about: Option<RecordId>,
        /// The words.
        text: String,
    },
}

/// One thing that happened, before it has a place in a journal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Record {
    /// Its name for ever.
    pub id: RecordId,
    /// Universal time in microseconds since 1970, never below that of the record before.
    pub utc_us: i64,
    /// The local time's offset in seconds, east positive.
    pub offset_s: i32,
    /// What it says.
    pub kind: Kind,
    /// The drill's name when it was written.
    pub drill: String,
    /// The cell it is about.
    pub cell: Option<CellKey>,
    /// Who said it.
    pub by: Option<By>,
    /// The [`Thresholds`](super::Thresholds) it was judged by, as JSON.
    pub thresholds: Option<String>,
    /// The raw [`Measurement`](super::Measurement), as JSON, so that a later threshold can judge
    /// again; of [`Kind::Discriminated`] what was found; of [`Kind::Paused`] and [`Kind::Ended`] for
    /// how long sound had run, `{"heard_ms":90000}`.
    pub measures: Option<String>,
    /// The program's version.
    pub version: String,
}

impl Record {
    /// The player's own calendar day, counted from 1970.
    pub fn day(&self) -> i64 {
        local_day(self.utc_us, self.offset_s)
    }
}

/// A record with its place in a journal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Entry {
    /// The journal that first stored it.
    pub journal: Uuid,
    /// Its number there, from 1; unique with the journal.
    pub seq: u64,
    /// What it says.
    #[serde(flatten)]
    pub record: Record,
}

impl Entry {
    /// The order in which entries are folded: time, then journal, then number.
    pub fn order(&self) -> (i64, Uuid, u64) {
        (self.record.utc_us, self.journal, self.seq)
    }
}
