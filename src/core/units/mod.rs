//! The basic quantities, one newtype each, so that a beat is never added to a frame.
//!
//! Knows nothing of music beyond the beat, and nothing of sound beyond the sample.

mod fraction;
mod measured;
mod middle;
mod sound;
mod time;

pub use fraction::{Fraction, FractionError, parse_fraction, spell_fraction, write_fraction};
pub use measured::{Milliseconds, Seconds};
pub use middle::median;
pub use sound::{Cents, Decibels, FullScale, Gain, Hertz};
pub use time::{Beats, Bpm, BpmError, CommonPart, Frames, Millis, SampleRate};
