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

#[cfg(test)]
mod tests {
    use super::*;

    /// 20 ms are a noise and 21 a gracenote; a gracenote of 25 to 60 ms [M] is one, also where it is held
    /// for twice as long, and a crotchet is none.
    #[test]
    fn a_sound_looks_like_what_it_is_by_its_length() {
        let kind = |ms: f64| {
            let start = Seconds(3.0);
            HeardNote::known(Note::LowA, start, Seconds(3.0 + ms / 1e3)).kind()
        };
        for (ms, expected) in [
            (5.0, HeardKind::Crossing),
            (20.0, HeardKind::Crossing),
            (21.0, HeardKind::Gracenote),
            (25.0, HeardKind::Gracenote),
            (60.0, HeardKind::Gracenote),
            (120.0, HeardKind::Gracenote),
            (250.0, HeardKind::Melody),
            (1000.0, HeardKind::Melody),
        ] {
            assert_eq!(kind(ms), expected, "{ms}");
        }
    }
}
