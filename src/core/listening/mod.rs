//! Samples -> what was heard -> aligned with the timeline -> measured.
//!
//! It measures and never judges; it knows no device, no file name and no clock.
//!
//! # How notes are heard
//! The sound is brought to 50 samples for each hertz of low A (`intake`), so that low A lies at one
//! place for every chanter. A small network, trained on nothing but random synthesis, gives each
//! frame of 1 ms the probabilities of nine notes and none (`gracerung_net`). A path with one price
//! for a change makes segments of them (`path`); `ear` measures each segment's pitch and level, to
//! which the network is blind on purpose (`pitch`). `hearing` tells notes in seconds, `recording` and
//! `attending` hear a file and a microphone with it, and `low_a` finds low A where nobody gave it.
//! `align` and `measuring` compare what was heard with a score.
//!
//! # Measures and conventions
//! Seconds count from the first sample of what was pushed. A frame stands for its [`HOP`] samples, and
//! an onset lies where two notes are as likely as each other, which is finer than a frame. Cents are
//! against the tuning that is listened with. Levels are dB of full scale, a full-scale sine at −3.
//! `training/README.md` says how the network was trained, what it reaches and what was tried.
//!
//! [`HOP`]: gracerung_net::HOP

mod align;
#[cfg(test)]
mod align_laws;
mod attending;
#[cfg(test)]
mod by_hand;
mod choosing;
mod document;
mod due;
mod ear;
mod heard;
mod hearing;
mod intake;
mod kept;
mod lead;
mod low_a;
mod measuring;
mod pairing;
mod path;
mod piece;
mod pitch;
mod recording;
mod round_trip;
mod spectrum;
mod tape;
mod twice;
mod vote;

pub use align::{Alignment, Repetition, align};
pub use attending::{
    AROUND_S, Attended, Attention, Cut, EVEN_S, HeardNow, HeldNote, LONGEST_S, SoundTrouble,
};
pub use choosing::{Agreement, SEARCHED_S, sure_low_a};
pub use document::{
    FaultRow, ListenDocument, NoiseRow, NoteRow, RepetitionRow, ScoreRow, ShapeRow, listen_document,
};
pub use heard::{HeardKind, HeardNote};
pub use hearing::Listener;
pub use intake::RateError;
pub use measuring::number;
pub use piece::{Expected, ExpectedStage};
pub use recording::{Hearing, Remark, hear, hear_piece};
pub use round_trip::{EARLY_S, LATE_S, SWEEP_S, Spread, find_sweep, spread, sweep};
