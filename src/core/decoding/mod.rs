//! The bytes of a recording -> mono samples, as a stream.
//!
//! It knows wav, flac, mp3, ogg and m4a, and nothing of notes, files by name or devices. `container` goes
//! through the structure of a file before a decoder trusts its numbers; `recording` decodes.

mod container;
mod recording;

pub use recording::{Recording, RecordingError, is_decoding};
