//! What is drawn of a take.

use crate::chanter::Note;
use crate::practice::PointingHeard;

/// A note in time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimedNote {
    /// Which row.
    pub note: Note,
    /// Start, seconds of the take.
    pub start_s: f64,
    /// End, seconds of the take.
    pub end_s: f64,
}

/// A fault and its place.
#[derive(Debug, Clone, PartialEq)]
pub struct FaultMark {
    /// The row it is ringed on.
    pub note: Note,
    /// Seconds of the take.
    pub at_s: f64,
    /// What is said of it.
    pub words: String,
    /// How long the note lasted and how long it is written, milliseconds, where that is the fault.
    pub lengths_ms: Option<(f64, f64)>,
}

/// A repetition that was found.
#[derive(Debug, Clone, PartialEq)]
pub struct Round {
    /// Its first beat, seconds of the take.
    pub start_s: f64,
    /// Its length, seconds.
    pub length_s: f64,
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
    /// The length of a beat, seconds; none without a drill.
    pub beat_s: Option<f64>,
}
