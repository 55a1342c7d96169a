//! Metre and written note values.
//!
//! Knows how a bar is counted and how a length is written. Knows no tempo and no notes.

mod duration;
mod metre;

pub use duration::{NoteValue, WrittenLength};
pub use metre::{Metre, MetreError};
