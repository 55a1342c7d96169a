//! Plays on a device, or silently without one: the keeper thread, the clock of what is heard, and
//! silent play.
//!
//! This is the only room that knows the sound library and real time. It knows no drill, no board
//! and no screen: it plays timelines and reports what is heard.

mod clock;
mod device;
mod input;
mod keeper;
mod output;
mod playback;
mod player;
mod priority;
mod quiet;
mod silent;

pub use device::{
    Asked, DEFAULT_BUFFER, DeviceError, FoundDevice, LARGEST_BUFFER, MICROPHONE_BUFFER, list,
    list_microphones,
};
pub use input::{GAP_BLOCKS, Microphone};
pub use playback::{Playback, Stereo};
pub use player::{DeviceState, Heard, Player, Position};
pub use priority::{Priority, priority};
pub use quiet::{Quiet, unquiet};
