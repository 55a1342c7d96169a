//! gracerung: metronome-locked drills for pipers.
//!
//! The rooms, lowest first; a room imports only rooms above it in this list:
//! words and quantities, the chanter and rhythm, movements, drills and settings, the score and
//! practice, the timeline, sound and listening and paper, the app, the screen and the device and
//! the journal, the commands. A test reads the `use` lines and holds this.

pub mod app;
pub mod chanter;
pub mod commands;
pub mod drill;
pub mod engraving;
pub mod exchange;
pub mod homework;
pub mod journal;
pub mod listening;
pub mod live;
pub mod movement;
pub mod planning;
pub mod practice;
pub mod rhythm;
pub mod score;
pub mod screen;
pub mod settings;
pub mod sheet;
pub mod sound;
pub mod timeline;
pub mod units;
pub mod wording;
