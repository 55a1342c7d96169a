//! Sound: the voices, their mix, and the one renderer of timelines, for a device or for a file.
//!
//! Knows samples, frames and timelines. Knows no device, no thread, no file system and no clock: a
//! caller who asks for frames gets the next ones.

#[cfg(test)]
mod audibility;
mod bounce;
#[cfg(test)]
mod fixture;
mod mix;
mod orders;
mod renderer;
mod replay;
mod transport;
mod voices;

pub use bounce::{Bounce, BounceError};
pub use mix::{Bus, Levels, Sound};
pub use orders::{Command, Entrance, Load, RendererReport, Timed, When};
pub use renderer::{Controls, Renderer};
pub use replay::{at_rate, beside, half_speed, level_out};
pub use voices::{ClickSound, Cue};
