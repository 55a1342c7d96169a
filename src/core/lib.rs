//! The core of gracerung: what is played and what is heard. It knows no device, terminal, clock or
//! database, and nothing of paper or of other programs' files.
//!
//! The rooms, lowest floor first; a room imports only rooms of lower floors. A test reads the `use`
//! lines and holds this.
//!
//! It is a package of its own so that it is built while the libraries of the screen, of paper and of
//! the database still are.

// floor 0
pub mod units;
pub mod wording;

// floor 1
pub mod chanter;
pub mod rhythm;

// floor 2
pub mod movement;

// floor 3
pub mod drill;

// floor 4
pub mod practice;
pub mod score;
pub mod settings;

// floor 5
pub mod timeline;

// floor 6
pub mod decoding;
pub mod listening;
pub mod sound;
