//! One stage, resolved, in musical time: which notes sound, in which order, written how long, and
//! what each gracenote is for.
//!
//! Knows no tempo and no sample rate. Sound, screen, paper and listening all start here, so a
//! movement is resolved once and they agree on the names of notes.

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
