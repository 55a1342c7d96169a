//! A score at a tempo and a sample rate: what sounds at which frame.
//!
//! One cycle (a repetition and its breath) is laid out in exact beats; the frame of an event in any
//! later cycle is computed from its exact moment, never added up. Knows no device and no sound.

mod clicks;
mod crowding;
mod document;
mod event;
mod lay;
#[cfg(test)]
mod opening_laws;
mod pointing;
#[cfg(test)]
mod pointing_laws;

pub use document::{TimelineDocument, TimelineRow, document};
pub use event::{EventKind, Placed, SoundPart, Sounded, Timeline, TimelineEvent};
pub use lay::{Layout, lay};
pub use pointing::{PointedPair, kept_round};
