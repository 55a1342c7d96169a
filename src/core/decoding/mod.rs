//! Decodes the bytes of a recording into a stream of mono samples.
//!
//! Knows wav, flac, mp3, ogg and m4a. Knows no notes, no file names and no devices. `container`
//! checks the structure of a file before a decoder trusts its numbers; `recording` decodes.

mod container;
mod recording;

pub use recording::{Recording, RecordingError, is_decoding};
