//! The core of gracerung: what is played and what is heard. It knows no device, terminal, clock or
//! database, and nothing of paper or of other programs' files.
//!
//! The rooms, lowest first; a room imports only rooms above it in this list:
//! words and quantities, the chanter and rhythm, movements, drills, settings, the score and
//! practice, the timeline, sound, decoding and listening. A test reads the `use` lines and holds this.
//!
//! It is a package of its own so that it is built while the libraries of the screen, of paper and of
//! the database still are.

pub mod chanter;
pub mod decoding;
pub mod drill;
pub mod listening;
pub mod movement;
pub mod practice;
pub mod rhythm;
pub mod score;
pub mod settings;
pub mod sound;
pub mod timeline;
pub mod units;
pub mod wording;
