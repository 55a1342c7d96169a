//! The instrument: nine notes, eight holes, and two tuning tables.
//!
//! Knows the fingering chart and the pitch ratios. Knows no groups of gracenotes, no time and no
//! sound.

mod fingering;
mod note;
mod tuning;

pub use fingering::{
    Crossing, CrossingKind, Finger, Hole, PIBROCH_HIGH_G, Shape, crossing, gracenote_finger,
    gracenote_sounds, note_of_shape, notes_a_gracenote_can_stand_on, strike_finger,
};
pub use note::{NOTES, Note, NoteError};
pub use tuning::{Instrument, Tuning, TuningTable};
