//! The records of what happened, and their places in a journal.
//!
//! Knows what an entry reports; knows nothing of how it is stored.

use super::cell::CellKey;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// When something happened, by the two clocks that the shell reads.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Moment {
    /// Universal time in microseconds since 1970-01-01. The clock may be set back.
    pub utc_us: i64,
    /// The local time's offset from universal time in seconds, east positive.
    pub offset_s: i32,
    /// Milliseconds on a clock that never goes back and also runs while nothing plays. For sound it
    /// is the moment at which the sound is *heard*, with the output latency taken into account; for
    /// a press it is the moment of the press.
    pub heard_ms: i64,
}

/// The local calendar day in days since 1970-01-01, from universal time in microseconds and the
/// offset in seconds.
pub fn local_day(utc_us: i64, offset_s: i32) -> i64 {
    utc_us
        .div_euclid(1_000_000)
        .saturating_add(i64::from(offset_s))
        .div_euclid(86_400)
}

/// The judgement of a repetition.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Mark {
    /// It was clean.
    Clean,
    /// It was not clean.
    NotClean,
}

/// Who gave the mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum By {
    /// A key.
    Key,
    /// A pedal.
    Pedal,
    /// The verdict of the microphone.
    Ear,
    /// Nobody: in hands-free practice an unmarked repetition is assumed clean.
    Assumed,
}

impl By {
    /// True for a key or a pedal. A mark that the player gives overrules all others.
    pub fn is_hand(self) -> bool {
        matches!(self, Self::Key | Self::Pedal)
    }
}

/// The permanent identity of a record: the session that made it and its number in that session,
/// from 0. It is known before the record is stored, so that an undo can name a mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct RecordId {
    /// The session.
    pub session: Uuid,
    /// The record's number in the session, from 0.
    pub number: u64,
}

/// What a record reports.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// A session began, in the record's cell.
    Began,
    /// Play is in the record's cell, or moves there at the next boundary of a repetition.
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
        /// The judgement that the mark gives.
        mark: Mark,
        /// How many clean repetitions in a row cleared a cell when the mark was made.
        needed: u32,
        /// True when the cell was closed and was played freely when the repetition began.
        free: bool,
    },
    /// A mark in the record's cell was undone.
    Undo {
        /// The mark that was undone.
        mark: RecordId,
    },
    /// A repetition in the record's cell reached its closing note, the first of its drill on that
    /// day. Journals before format 2 have no such record.
    Tried {
        /// The repetition's number in the session.
        repetition: u64,
        /// True when the reference was silent in it and nothing of the drill was played shortly
        /// before.
        alone: bool,
    },
    /// A repetition in the record's cell reached its closing note with all of its music hidden and
    /// without the reference. Journals before format 6 have no such record.
    ByHeart {
        /// The repetition's number in the session.
        repetition: u64,
    },
    /// A repetition was measured, but the measurement did not mark it.
    Measured {
        /// The repetition's number in the session.
        repetition: u64,
    },
    /// The listener practised hearing faults in the record's cell. The result is a
    /// [`Discrimination`](super::Discrimination) in the measures. It marks nothing.
    Discriminated,
    /// The player's own words, beside a mark or for the teacher.
    Word {
        /// The mark that the words belong to; none when they are for the teacher.
        about: Option<RecordId>,
        /// The words.
        text: String,
    },
}

/// Something that happened, before it has a place in a journal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Record {
    /// Its permanent identity.
    pub id: RecordId,
    /// Universal time in microseconds since 1970-01-01, never earlier than that of the record
    /// before.
    pub utc_us: i64,
    /// The local time's offset from universal time in seconds, east positive.
    pub offset_s: i32,
    /// What it reports.
    pub kind: Kind,
    /// The drill's name when it was written.
    pub drill: String,
    /// The cell it is about.
    pub cell: Option<CellKey>,
    /// Who gave the mark; none for records that are not marks.
    pub by: Option<By>,
    /// The [`Thresholds`](super::Thresholds) by which it was judged, as JSON.
    pub thresholds: Option<String>,
    /// The raw [`Measurement`](super::Measurement) as JSON, so that later thresholds can judge it
    /// again. For [`Kind::Discriminated`] it is the result. For [`Kind::Paused`] and
    /// [`Kind::Ended`] it is how long sound ran, `{"heard_ms":90000}`.
    pub measures: Option<String>,
    /// The program's version.
    pub version: String,
}

impl Record {
    /// The player's local calendar day, in days since 1970-01-01.
    pub fn day(&self) -> i64 {
        local_day(self.utc_us, self.offset_s)
    }
}

/// A record with its place in a journal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Entry {
    /// The journal that first stored it.
    pub journal: Uuid,
    /// Its number in that journal, from 1; unique together with the journal.
    pub seq: u64,
    /// The record.
    #[serde(flatten)]
    pub record: Record,
}

impl Entry {
    /// The order in which entries are folded: by time, then journal, then number.
    pub fn order(&self) -> (i64, Uuid, u64) {
        (self.record.utc_us, self.journal, self.seq)
    }
}
