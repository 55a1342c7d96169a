//! Practice: the ladder of tempi, the board of cells, and what a mark does to them.
//!
//! Knows stages by the fingerprint of their music and tempi by their value. Knows no clock (time
//! comes in with each event), no sound, no file and no screen.

mod fingerprint;
pub mod ladder;

pub use fingerprint::{StagePrint, StagePrintError};
