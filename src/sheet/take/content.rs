//! The content of a picture of a recording.

use crate::chanter::Note;
use crate::practice::PointingHeard;
use crate::units::{Milliseconds, Seconds};

/// A note with its times.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimedNote {
    /// The note, which decides the row.
    pub note: Note,
    /// When the note begins in the recording.
    pub start: Seconds,
    /// When the note ends in the recording.
    pub end: Seconds,
}

/// A fault with its place.
#[derive(Debug, Clone, PartialEq)]
pub struct FaultMark {
    /// The row on which the fault is ringed.
    pub note: Note,
    /// When the fault occurs in the recording.
    pub at: Seconds,
    /// The words about the fault.
    pub words: String,
    /// The played and the written length of the note, where its length is the fault.
    pub lengths: Option<(Milliseconds, Milliseconds)>,
}

/// A repetition that was found in the recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Round {
    /// When the first beat of the repetition occurs in the recording.
    pub start: Seconds,
    /// The length of the repetition in seconds.
    pub length: Seconds,
    /// The words above the repetition.
    pub words: String,
}

/// The pairs of dotted notes, or of snaps, of a repetition.
#[derive(Debug, Clone, PartialEq)]
pub struct PairsPlayed {
    /// The words above the pairs.
    pub words: String,
    /// The ratios that were heard.
    pub heard: PointingHeard,
}

/// The content of a picture. Every list but the faults is in order of time.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Take {
    /// The title of the first page.
    pub title: String,
    /// The source of the recording, shown below the title.
    pub source: Option<String>,
    /// The notes that were heard.
    pub heard: Vec<TimedNote>,
    /// The notes that were expected; empty without a drill.
    pub expected: Vec<TimedNote>,
    /// The repetitions; empty without a drill.
    pub rounds: Vec<Round>,
    /// The faults, in any order.
    pub faults: Vec<FaultMark>,
    /// The pointing of pairs in each repetition, where the music has a wanted ratio.
    pub pointing: Vec<PairsPlayed>,
    /// The length of a beat in seconds; none without a drill.
    pub beat: Option<Seconds>,
}
