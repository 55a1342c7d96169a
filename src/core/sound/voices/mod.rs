//! The sounds themselves, each built once for a sample rate and then only rendered.
//!
//! Every voice has `new` (allocates), `reset`, and `render` (adds to a chunk of at most 64
//! frames). Knows notes, pitches and levels; knows nothing of beats and of when anything sounds.

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

/// The most frames rendered at once: fundsp's own block (`MAX_BUFFER_SIZE`).
pub(super) const CHUNK: usize = fundsp::MAX_BUFFER_SIZE;

/// The peaks the voices are scaled to, so that all of them at full level add up to less than 1 and
/// nothing has to limit the mix. Chosen: the drones lie 16 and 13 dB below the chanter, as they
/// must for gracenotes to be heard; the clicks stand above it.
pub(super) mod peak {
    /// Peak of the chanter, its tables' overshoot between points included.
    pub(in crate::sound) const CHANTER: f32 = 0.32;
    /// Peak of one of the two tenor drones.
    pub(in crate::sound) const TENOR: f32 = 0.05;
    /// Peak of the bass drone.
    pub(in crate::sound) const BASS: f32 = 0.07;
    /// Peak of an accented click; one click sounds at a time.
    pub(in crate::sound) const CLICK: f32 = 0.42;
    /// Peak of a cue.
    pub(in crate::sound) const CUE: f32 = 0.08;
    /// All of them at once.
    pub(in crate::sound) const ALL: f32 = CHANTER + 2.0 * TENOR + BASS + CLICK + CUE;
}

// Full scale is 1: the mix cannot clip whatever the levels are, since each is at most 1.
const _: () = assert!(peak::ALL < 1.0);
