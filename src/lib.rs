//! gracerung: metronome-locked drills for pipers.
//!
//! The rooms, lowest floor first; a room imports only rooms of lower floors. Those of the core
//! (`gracerung-core`) are named here as if they were our own. A test reads the `use` lines and holds
//! this.

pub use gracerung_core::{
    chanter, decoding, drill, listening, movement, practice, rhythm, score, settings, sound,
    timeline, units, wording,
};

// floor 5
pub mod engraving;
pub mod planning;

// floor 6
pub mod discrimination;
pub mod exchange;
pub mod homework;
pub mod sheet;

// floor 7
pub mod app;

// floor 8
pub mod journal;
pub mod live;
pub mod screen;

// floor 9
mod services;

// floor 10
pub mod commands;
