//! Notes heard, as values: all that alignment, measures and verdict know of the sound. Whatever
//! hears (the ear in this room, a test that plays exact notes) gives a row of them in order of time,
//! each with its note, its start and end and how sure it is.

use crate::chanter::Note;
use crate::units::{Cents, FullScale, Seconds};
use serde::Serialize;

/// Longest crossing noise, seconds: gracenotes begin at 20 ms (common practice, no source).
const CROSSING: f64 = 0.0205;
/// Longest gracenote, seconds: three times what is usual, so that a slow one is still one.
const GRACENOTE: f64 = 0.160;

/// What a note heard looks like when no score says what it was meant to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum HeardKind {
    /// Longer than any gracenote.
    Melody,
    /// As long as a gracenote or a tone inside a movement.
    Gracenote,
    /// Too short for a gracenote.
    Crossing,
}

/// A note heard.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeardNote {
    /// Which of the nine.
    pub note: Note,
    /// Start, seconds from the first sample.
    pub start_s: f64,
    /// End, seconds from the first sample.
    pub end_s: f64,
    /// How sure it is: the mean probability that the network gave it, 0 to 1.
    pub confidence: f64,
    /// Level: of its harmonics where it was held, of all sound where it was short;
    /// none where only the second hearing told it.
    pub level: Option<FullScale>,
    /// How far the pitch lies off the tuning that was listened with; none for a short note.
    pub cents: Option<Cents>,
    /// False for a noise too short to be told from another note.
    pub named: bool,
}

impl HeardNote {
    /// A note that is known exactly and not heard: what an instrument or a test says it played.
    pub fn known(note: Note, start: Seconds, end: Seconds) -> Self {
        Self {
            note,
            start_s: start.0,
            end_s: end.0,
            confidence: 1.0,
            level: None,
            cents: None,
            named: true,
        }
    }

    /// How long it sounds.
    pub fn length(&self) -> Seconds {
        Seconds(self.end_s - self.start_s)
    }

    /// What it looks like by its length.
    pub fn kind(&self) -> HeardKind {
        let length = self.length().0;
        if length <= CROSSING {
            HeardKind::Crossing
        } else if length <= GRACENOTE {
            HeardKind::Gracenote
        } else {
            HeardKind::Melody
        }
    }
}
