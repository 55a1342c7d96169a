//! The voices. Each is built once for a sample rate; after that it is only rendered.
//!
//! Every voice has `new` (allocates), `reset`, and `render` (adds to a chunk of at most 64 frames).
//! Knows notes, pitches and levels. Knows no beats and not when anything sounds.

mod chanter;
mod click;
mod cue;
mod drones;
mod ramp;
mod reed;
mod struck;

pub(super) use chanter::Chanter;
pub use click::ClickSound;
pub(super) use click::{Clicks, Weight};
pub use cue::Cue;
pub(super) use cue::Cues;
pub(super) use drones::Drones;
pub(super) use ramp::Ramp;

/// The most frames rendered at once: the block size of fundsp (`MAX_BUFFER_SIZE`).
pub(super) const CHUNK: usize = fundsp::MAX_BUFFER_SIZE;

/// The peaks to which the voices are scaled. At full level their sum is less than 1, so the mix
/// needs no limiter. Chosen: the drones are 16 and 13 dB below the chanter, so that gracenotes are
/// heard; the clicks stand above the chanter.
pub(super) mod peak {
    /// Peak of the chanter, including the overshoot of its tables between points.
    pub(in crate::sound) const CHANTER: f32 = 0.32;
    /// Peak of one of the two tenor drones.
    pub(in crate::sound) const TENOR: f32 = 0.05;
    /// Peak of the bass drone.
    pub(in crate::sound) const BASS: f32 = 0.07;
    /// Peak of an accented click; one click sounds at a time.
    pub(in crate::sound) const CLICK: f32 = 0.42;
    /// Peak of a cue.
    pub(in crate::sound) const CUE: f32 = 0.08;
    /// The sum of all peaks.
    pub(in crate::sound) const ALL: f32 = CHANTER + 2.0 * TENOR + BASS + CLICK + CUE;
}

// Full scale is 1. Each level is at most 1, so the mix cannot clip at any setting.
const _: () = assert!(peak::ALL < 1.0);
