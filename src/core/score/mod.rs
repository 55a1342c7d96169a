//! One resolved stage in musical time: the notes that sound, their order, their written lengths,
//! and the role of each gracenote.
//!
//! Knows no tempo and no sample rate. Sound, screen, paper and listening all start from a score. So
//! each movement is resolved once, and all of them use the same names for notes.

mod found;
#[cfg(test)]
mod laws;
mod notes;
mod resolve;
mod time;

pub use found::{Found, movements};
pub use notes::{NoteId, Score, ScoreBar, ScoreGrace, ScoreGroup, ScoreNote};
pub use resolve::{resolve_music, written_text};
pub use time::where_time_comes_from;
