//! gracerung: metronome-locked drills for pipers.
//!
//! The rooms, lowest first; a room imports only rooms above it in this list:
//! those of the core (`gracerung-core`, whose rooms are named here as if they were our own),
//! planning and engraving, sheets, exchange, homework and discrimination, the app, the screen and the device and
//! the journal, the commands. A test reads the `use` lines and holds this.

pub use gracerung_core::{
    chanter, decoding, drill, listening, movement, practice, rhythm, score, settings, sound,
    timeline, units, wording,
};

pub mod app;
pub mod commands;
pub mod discrimination;
pub mod engraving;
pub mod exchange;
pub mod homework;
pub mod journal;
pub mod live;
pub mod planning;
pub mod screen;
pub mod sheet;
