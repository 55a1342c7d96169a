//! The values that a picture of a take is drawn from.

use crate::chanter::Note;
use crate::practice::PointingHeard;
use crate::units::{Milliseconds, Seconds};

/// A note in time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimedNote {
    /// The note, which is its row.
    pub note: Note,
    /// Where it begins in the take.
    pub start: Seconds,
    /// Where it ends.
    pub end: Seconds,
}

/// A fault and its place.
#[derive(Debug, Clone, PartialEq)]
pub struct FaultMark {
    /// The row it is ringed on.
    pub note: Note,
    /// Where it stands in the take.
    pub at: Seconds,
    /// The words about it.
    pub words: String,
    /// How long the note lasted and how long it is written, where that is the fault.
    pub lengths: Option<(Milliseconds, Milliseconds)>,
}

/// A repetition that was found.
#[derive(Debug, Clone, PartialEq)]
pub struct Round {
    /// Where its first beat lies in the take.
    pub start: Seconds,
    /// Its length.
    pub length: Seconds,
    /// What stands at its head.
    pub words: String,
}

/// The dots or the snaps of a repetition.
#[derive(Debug, Clone, PartialEq)]
pub struct PairsPlayed {
    /// What stands over them.
    pub words: String,
    /// Their ratios.
    pub heard: PointingHeard,
}

/// What is drawn of a take. Every list in order of time.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Take {
    /// The head of the first page.
    pub title: String,
    /// What it was read from, said below the head.
    pub source: Option<String>,
    /// The notes heard.
    pub heard: Vec<TimedNote>,
    /// The notes expected; empty without a drill.
    pub expected: Vec<TimedNote>,
    /// The repetitions; empty without a drill.
    pub rounds: Vec<Round>,
    /// The faults, in any order.
    pub faults: Vec<FaultMark>,
    /// How the pairs were pointed, where they say how they are wanted.
    pub pointing: Vec<PairsPlayed>,
    /// The length of a beat; none without a drill.
    pub beat: Option<Seconds>,
}
