//! The instrument: nine notes, eight holes, two tables of tuning.
//!
//! Knows the chart of fingers and the ratios of pitch. Knows no gracenote groups, no time and no
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
